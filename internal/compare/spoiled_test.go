package compare_test

import (
	"context"
	"math"
	"sync"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/seedrand"
)

// spoilCells moves each cell of a clean trial, by chance as often as the share, by 15 to
// 50 %, up or down.
func spoilCells(tr trial, seed uint64, share float64) trial {
	r := seedrand.New(seed ^ 0x5b01)
	shifts := map[[2]int32]float64{}
	for k := range tr.table.Value {
		cell := [2]int32{tr.table.Session[k], tr.table.Panel[k]}
		shift, ok := shifts[cell]
		if !ok {
			if r.Uniform() < share {
				shift = 0.15 + 0.35*r.Uniform()
				if r.Uniform() < 0.5 {
					shift = -shift
				}
			}
			shifts[cell] = shift
		}
		tr.table.Value[k] += shift
	}
	return tr
}

// A spoiledTally sums what trials with spoiled cells show.
type spoiledTally struct {
	trials, passes, unset, told, pairs, covered int
	squares                                     float64
}

func (a *spoiledTally) add(tb testing.TB, tr trial, seed uint64) {
	tb.Helper()
	f, err := compare.Estimate(context.Background(), tr.table, serviceOptions())
	if err != nil {
		tb.Fatal(err)
	}
	c, err := f.Contrast(0, 1)
	if err != nil {
		tb.Fatal(err)
	}
	family, err := ranks.New(f.Mu, f.Covariance(), c.Dof)
	if err != nil {
		tb.Fatal(err)
	}
	critical := family.CriticalValue(0.95, 1000, seedrand.New(seed))
	a.trials++
	a.passes += f.Passes
	if !f.Converged {
		a.unset++
	}
	for i := range tr.truth {
		for j := range i {
			c, err := f.Contrast(i, j)
			if err != nil {
				tb.Fatal(err)
			}
			truth := tr.truth[i] - tr.truth[j]
			a.pairs++
			a.squares += (c.Estimate - truth) * (c.Estimate - truth)
			if lo, hi := c.Interval(0.95); lo <= truth && truth <= hi {
				a.covered++
			}
			if math.Abs(family.Studentised(i, j)) > critical {
				a.told++
			}
		}
	}
}

func spoiled(tb testing.TB, count int, share float64) spoiledTally {
	tb.Helper()
	parts := make([]spoiledTally, count)
	var wait sync.WaitGroup
	for part := range 2 {
		wait.Go(func() {
			for i := part; i < count; i += 2 {
				seed := 71000 + uint64(i)
				parts[i].add(tb, spoilCells(drawTrial(seed, false), seed, share), seed)
			}
		})
	}
	wait.Wait()
	var a spoiledTally
	for _, b := range parts {
		a.trials, a.passes, a.unset = a.trials+b.trials, a.passes+b.passes, a.unset+b.unset
		a.told, a.pairs, a.covered, a.squares = a.told+b.told, a.pairs+b.pairs, a.covered+b.covered, a.squares+b.squares
	}
	return a
}

// TestSpoiledCells: with a tenth of the cells off by 15 to 50 % nearly as many pairs are told
// apart as with none, 0.61 against 0.63 of 200 trials; with a fifth still most, 0.52. Where
// variances were freed before the weights had settled it was 0.58 and 0.09. The bounds leave
// room for few trials.
func TestSpoiledCells(t *testing.T) {
	t.Parallel()
	count := max(24, *trials)
	for share, least := range map[float64]float64{0: 0.55, 0.1: 0.53, 0.2: 0.35} {
		a := spoiled(t, count, share)
		told, covered := float64(a.told)/float64(a.pairs), float64(a.covered)/float64(a.pairs)
		t.Logf("%.0f %% spoiled: rms error %.4f, coverage %.3f, told apart %.3f, passes %.1f, not settled %d of %d",
			100*share, math.Sqrt(a.squares/float64(a.pairs)), covered, told, float64(a.passes)/float64(a.trials), a.unset, a.trials)
		if told < least || covered < 0.9 {
			t.Errorf("%.0f %% spoiled: told apart %.3f, want %.2f; coverage %.3f", 100*share, told, least, covered)
		}
	}
}
