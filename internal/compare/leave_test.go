package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
)

// TestLeaveOutAgainstRefit leaves every tester out by the formula and by a fit
// without his rows at the same variances, on both paths.
func TestLeaveOutAgainstRefit(t *testing.T) {
	t.Parallel()
	small, everythingIn := drawSynthetic(size{Panels: 30, Testers: 9, Sessions: 60, Readings: 6}, 11, 0).Table, invented(5, true)
	for name, table := range map[string]compare.Table{"small": small, "everything": everythingIn} {
		for _, limit := range []int{0, 3} {
			theta := compare.Theta{4e-4, 9e-4, 1.4e-4, 6e-5, 4e-5, 5e-5, 1e-4}
			opt := compare.Options{Random: fiveTerms, Start: &theta, Hold: true, DenseLimit: limit}
			if table.Minutes != nil {
				opt.Random = append([]compare.Term{compare.Drift}, everything...)
			}
			checkLeaveOut(t, name, table, opt)
		}
	}
}

func checkLeaveOut(t *testing.T, name string, table compare.Table, opt compare.Options) {
	t.Helper()
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	lost := 0
	largest, own := make([]float64, len(f.Mu)), make([]float64, len(f.Mu)) // own: by a tester of the panel
	opinions := map[[2]int32]bool{}
	for _, s := range f.Shares() {
		opinions[[2]int32{s.Tester, s.Panel}] = true
	}
	for tester := range int32(table.Testers()) {
		shift, err := f.LeaveOut(tester)
		if err != nil {
			t.Fatal(err)
		}
		rest, err := compare.Estimate(context.Background(), dropRows(table, func(k int) bool { return table.Tester[k] == tester }), opt)
		if err != nil {
			t.Fatal(err)
		}
		for i, got := range shift {
			if i >= len(rest.Mu) || math.IsNaN(rest.Mu[i]) {
				lost++
				if !math.IsNaN(got) {
					t.Errorf("%s: panel %d without tester %d shifts by %v, want NaN", name, i, tester, got)
				}
				continue
			}
			near(t, name+" shift", got, f.Mu[i]-rest.Mu[i], 1e-8)
			largest[i] = max(largest[i], math.Abs(f.Mu[i]-rest.Mu[i]))
			if opinions[[2]int32{tester, int32(i)}] {
				own[i] = max(own[i], math.Abs(f.Mu[i]-rest.Mu[i]))
			}
		}
	}
	if name == "small" && lost == 0 {
		t.Error("no panel of a single tester among the data")
	}
	shifts, err := f.MaxShifts(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range shifts {
		if f.Dense() {
			near(t, name+" largest shift", math.Abs(s.Change), largest[i], 1e-8)
		} else if math.Abs(s.Change) > 2*own[i]+1e-3 || math.Abs(s.Change) < own[i]/2-1e-3 {
			t.Errorf("%s: sampled shift of panel %d is %v, exactly %v", name, i, s.Change, own[i])
		}
	}
}

func TestSharesAreBounded(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 12, Testers: 8, Sessions: 60, Readings: 6}, 3, 0).Table
	opt := compare.Options{Random: fiveTerms}
	f, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	before := 0.0
	sums := make([]float64, len(f.Mu))
	for _, s := range f.Shares() {
		sums[s.Panel] += s.Share
		if s.Testers >= 3 {
			before = max(before, s.Share)
		}
	}
	for i, sum := range sums {
		near(t, "sum of shares", sum, 1, 1e-9)
		_ = i
	}
	opt.MaxShare = before * 0.8
	capped, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range capped.Shares() {
		if s.Testers >= 3 && s.Share > opt.MaxShare*(1+1e-6) {
			t.Errorf("tester %d has %.4f of panel %d, want at most %.4f", s.Tester, s.Share, s.Panel, opt.MaxShare)
		}
	}
}
