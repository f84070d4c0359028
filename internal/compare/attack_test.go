package compare_test

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/seedrand"
	"evensun/internal/standing"
)

// drawAttack returns n honest testers with 5 sessions of 5 of 12 panels and then,
// as tester n, one with 1,000 invented sessions that lift the true sixth panel and
// sink the true first by the shift, with a scatter of 0.2 % and a claimed 0.8 %.
func drawAttack(seed uint64, n int, shift float64) (tr trial, lifted, sunk int) {
	r := seedrand.New(seed)
	for range 12 {
		tr.truth = append(tr.truth, 0.05*r.Normal())
	}
	all := make([]int, 12)
	for i := range all {
		all[i] = i
	}
	slices.SortFunc(all, func(a, b int) int {
		if tr.truth[a] > tr.truth[b] {
			return -1
		}
		return 1
	})
	lifted, sunk = all[5], all[0]
	for t := range n {
		bias, opinion := 0.02*r.Normal(), map[int]float64{}
		for i := range 12 {
			opinion[i] = 0.012 * r.Normal()
		}
		for j := range 5 {
			tr.session(r, t, 5*t+j, bias, all, opinion, false)
		}
	}
	for j := range 1000 {
		tr.fabricate(r, n, 5*n+j, lifted, sunk, shift)
	}
	return tr, lifted, sunk
}

func (tr *trial) fabricate(r *seedrand.Stream, t, session, lifted, sunk int, shift float64) {
	pick := choose(r, 12, 5)
	for _, i := range pick {
		y := tr.truth[i] + 0.002*r.Normal()
		if i == lifted {
			y += shift
		}
		if i == sunk {
			y -= shift
		}
		tr.add(y, 0.008*0.008, i, t, session)
	}
}

// attackOutcome tells whether a top-10 rank left its interval and by how much the
// fabricator moved lifted less sunk.
func attackOutcome(tb testing.TB, seed uint64, n int, shift float64) (out bool, pull float64) {
	tb.Helper()
	tr, lifted, sunk := drawAttack(seed, n, shift)
	honest := dropRows(tr.table, func(k int) bool { return int(tr.table.Tester[k]) == n })
	before, err := compare.Estimate(context.Background(), honest, serviceOptions().Few(n))
	if err != nil {
		tb.Fatal(err)
	}
	after, err := compare.Estimate(context.Background(), tr.table, serviceOptions().Few(n+1))
	if err != nil {
		tb.Fatal(err)
	}
	c, err := before.Contrast(lifted, sunk)
	if err != nil {
		tb.Fatal(err)
	}
	was, err := standing.New(before.Mu, before.Covariance(), c.Dof)
	if err != nil {
		tb.Fatal(err)
	}
	now, err := standing.New(after.Mu, after.Covariance(), c.Dof)
	if err != nil {
		tb.Fatal(err)
	}
	intervals, ranks := was.RankIntervals(was.CriticalValue(0.95, 1000, seedrand.New(seed))), now.Ranks()
	for i, rank := range was.Ranks() {
		if rank <= 10 && (ranks[i] < intervals[i].Lo || ranks[i] > intervals[i].Hi) {
			out = true
		}
	}
	return out, after.Mu[lifted] - after.Mu[sunk] - c.Estimate
}

// TestAttack checks that one fabricator among five or more honest testers moves no
// top-10 rank out of the interval published without him. -trials sets the trials of
// each row; the default is few, and one of them may fail.
func TestAttack(t *testing.T) {
	t.Parallel()
	count := max(4, *trials/10)
	for _, n := range []int{5, 8} {
		for _, shift := range []float64{0.03, 0.10, 0.30} {
			t.Run(fmt.Sprintf("%d_%.2f", n, shift), func(t *testing.T) {
				t.Parallel()
				outs, pulls := 0, 0.0
				for i := range count {
					out, pull := attackOutcome(t, 91000+uint64(i), n, shift)
					if out {
						outs++
					}
					pulls += pull
				}
				t.Logf("%d trials: out %d, pull %.3f", count, outs, pulls/float64(count))
				if outs > max(1, count/20) {
					t.Errorf("out in %d of %d trials", outs, count)
				}
				if mean := pulls / float64(count); mean > 0.04 {
					t.Errorf("mean pull %.3f, want at most 0.04", mean)
				}
			})
		}
	}
}
