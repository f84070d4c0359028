package compare_test

import (
	"context"
	"math"
	"testing"

	"evensun/internal/compare"
)

// A combination of two panels is their contrast; one against the mean of three has the
// variance that the covariance matrix gives; what all share cancels.
func TestCombinations(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 12, Testers: 9, Sessions: 60, Readings: 6}, 3, 0).Table
	for _, limit := range []int{0, 3} {
		f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, DenseLimit: limit})
		if err != nil {
			t.Fatal(err)
		}
		third := 1.0 / 3
		got, err := f.Combinations([]map[int]float64{{2: 1, 7: -1}, {2: 1 - third, 7: -third, 9: -third}, {4: 1}})
		if err != nil {
			t.Fatal(err)
		}
		want, err := f.Contrast(2, 7)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "estimate of a pair", got[0].Estimate, want.Estimate, 1e-12)
		near(t, "standard error of a pair", got[0].SE, want.SE, 1e-9)
		near(t, "degrees of freedom of a pair", got[0].Dof/want.Dof, 1, 1e-6)
		near(t, "estimate against a mean", got[1].Estimate, f.Mu[2]-(f.Mu[2]+f.Mu[7]+f.Mu[9])/3, 1e-12)
		weights, variance := map[int]float64{2: 1 - third, 7: -third, 9: -third}, 0.0
		for i, a := range weights {
			for j, b := range weights {
				variance += a * b * f.Cov(i, j)
			}
		}
		near(t, "standard error against a mean", got[1].SE, math.Sqrt(variance), 1e-9)
		near(t, "standard error of one", got[2].SE, f.SE(4), 1e-9)
		if _, err := f.Combinations([]map[int]float64{{99: 1}}); err == nil {
			t.Error("Combinations with a panel that is not there gives no error")
		}
	}
}

// Four unchecked testers, one of them with many sessions, together weigh as much on every
// panel as a checked one does in the mean, to which they are cut by one factor; on a panel
// that no other tester has read they count in full, and where they weigh less than one
// already nothing changes.
func TestUncheckedWeighTogetherAsOne(t *testing.T) {
	t.Parallel()
	var table compare.Table
	draw := drawSynthetic(size{Panels: 3, Testers: 2, Sessions: 4, Readings: 2}, 5, 0) // only for its numbers
	session := int32(0)
	add := func(tester int32, sessions int, panels ...int32) {
		for range sessions {
			for _, p := range panels {
				k := len(table.Value)
				table.Value = append(table.Value, draw.Table.Value[k%len(draw.Table.Value)])
				table.Variance = append(table.Variance, 1e-4)
				table.Panel, table.Session, table.Tester = append(table.Panel, p), append(table.Session, session), append(table.Tester, tester)
			}
			session++
		}
	}
	for tester := range int32(3) {
		add(tester, 3, 0, 1)
	}
	add(3, 20, 0, 1, 2)
	for tester := int32(4); tester < 7; tester++ {
		add(tester, 2, 0, 1, 2)
	}
	theta := compare.Theta{4e-4, 9e-4, 1.4e-4, 6e-5, 0}
	opt := compare.Options{Random: fiveTerms[:4], Start: &theta, Hold: true}
	plain, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt.Unchecked = []bool{3: true, 4: true, 5: true, 6: true}
	capped, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	before, after := sharesOf(plain), sharesOf(capped)
	for panel := range int32(2) {
		together, others := 0.0, 0.0
		for tester := range int32(7) {
			if tester < 3 {
				others += after[[2]int32{tester, panel}] / 3
			} else {
				together += after[[2]int32{tester, panel}]
			}
		}
		if ratio := together / others; !(ratio > 0.9 && ratio < 1+1e-6) {
			t.Errorf("unchecked together weigh %.4f of one checked on panel %d, want 0.9 to 1", ratio, panel)
		}
	}
	for tester := int32(3); tester < 7; tester++ {
		near(t, "share on a panel that none else read", after[[2]int32{tester, 2}], before[[2]int32{tester, 2}], 0.05)
	}
	if capped.SE(0) <= plain.SE(0) {
		t.Errorf("standard error of panel 0 = %v with the bound, %v without; want more", capped.SE(0), plain.SE(0))
	}
	opt.Unchecked = []bool{0: true, 6: false}
	same, err := compare.Estimate(context.Background(), table, opt)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "standard error where one unchecked weighs less than the mean of six", same.SE(0), plain.SE(0), 1e-6)
}

func sharesOf(f *compare.Fit) map[[2]int32]float64 {
	out := map[[2]int32]float64{}
	for _, s := range f.Shares() {
		out[[2]int32{s.Tester, s.Panel}] = s.Share
	}
	return out
}

// Known variances of sessions and rigs take part in Q: with what an hour does in them, a
// table whose hours scatter as known has a Q near its degrees of freedom, where without
// them it is far above.
func TestScatterKnowsSessionsAndRigs(t *testing.T) {
	t.Parallel()
	d := drawSynthetic(size{Panels: 10, Testers: 8, Sessions: 160, Readings: 6}, 21, 0)
	bare := d.Table
	bare.SessionVariance, bare.RigVariance, bare.Rig = nil, nil, nil
	// All that the draw varies by beside the readings, given as known of the session.
	known := bare
	known.SessionVariance = make([]float64, known.Sessions())
	for j := range known.SessionVariance {
		known.SessionVariance[j] = 4e-4 + 9e-4 + 1.44e-4 + 6.4e-5
	}
	without, err := compare.Scatter(context.Background(), bare, false)
	if err != nil {
		t.Fatal(err)
	}
	with, err := compare.Scatter(context.Background(), known, false)
	if err != nil {
		t.Fatal(err)
	}
	if without.Dof != with.Dof {
		t.Errorf("degrees of freedom = %d with, %d without known variances of sessions", with.Dof, without.Dof)
	}
	a, b := without.Q/float64(without.Dof), with.Q/float64(with.Dof)
	if !(a > 5 && b < a/3) {
		t.Errorf("Q over its degrees of freedom = %.2f with, %.2f without; want above 5 without and below a third of that with", b, a)
	}
}
