package audit

import (
	"math"
	"testing"

	"evensun/internal/compare"
)

func queued(inSE, t float64, topped bool) doubt {
	d := newDoubt(opinionOff)
	d.t, d.impact = t, impact{panel: "x", inSE: inSE, topped: topped}
	return d
}

// The queue is ordered by what a verdict would change, then by improbability; the band
// follows from the place alone.
func TestQueueOrder(t *testing.T) {
	t.Parallel()
	fine := queued(2, 20, true)
	fine.fine = true
	order := []doubt{ // the most important first
		queued(2, 9, true), queued(1, 5, true), queued(0.95, 30, true), queued(0.6, 3.6, true), queued(0.5, 16, true),
		queued(0.5, 15, true), queued(0.9, 9, false), queued(0.2, 20, true), fine, queued(0.05, 8, true), queued(0, 4, false),
	}
	for i := 1; i < len(order); i++ {
		if a, b := order[i-1].priority(), order[i].priority(); a <= b {
			t.Errorf("place %d has priority %.2f, the one below %.2f", i, a, b)
		}
	}
	if top := order[0].priority(); top < 90 || top > 100 {
		t.Errorf("priority of the first = %v, want 90 to 100", top)
	}
	for _, c := range []struct {
		priority float64
		band     string
	}{{0, "low"}, {29.99, "low"}, {30, "medium"}, {69.99, "medium"}, {70, "high"}, {100, "high"}} {
		if got := bandOf(c.priority); got != c.band {
			t.Errorf("band of %v = %s, want %s", c.priority, got, c.band)
		}
	}
}

// What a doubt without a figure would change is taken as half a standard error.
func TestQueueWithoutImpact(t *testing.T) {
	t.Parallel()
	d := newDoubt(copiedSession)
	d.strength = copiedStrength
	if got := d.change(); got != unknownChange/2 {
		t.Errorf("change of a copied session = %v, want %v", got, unknownChange/2)
	}
	d.impact.topped = true
	if got := d.change(); got != unknownChange {
		t.Errorf("change of one that many see = %v, want %v", got, unknownChange)
	}
}

// The limits of the scores, each alone, on both sides.
func TestFineScores(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		zPrime, zeta, en float64
		want             bool
	}{
		{1.99, -1.99, 0.99, true}, {-2, 0, 0, false}, {2.01, 0, 0, false}, {0, 2, 0, false}, {0, -2.01, 0, false}, {0, 0, 1, false}, {0, 0, -1.01, false},
	} {
		d := deviation{zPrime: c.zPrime, zeta: c.zeta, en: c.en}
		if got := d.fine(); got != c.want {
			t.Errorf("scores %v, %v, %v fine: %v, want %v", c.zPrime, c.zeta, c.en, got, c.want)
		}
	}
}

// deleted is Student's t of an externally studentised mean. Worked for five testers of whom
// one has z' = 1.5: 1.5 sqrt(3/(4 - 2.25)) = 1.963961, two-sided p with 3 degrees of freedom
// 0.144355 (R: 2*pt(-1.963961012, 3)).
func TestDeletedForm(t *testing.T) {
	t.Parallel()
	for _, z := range []float64{1.5, -1.5} {
		d := deviation{zPrime: z}
		deleted(&d, 5)
		if want := math.Copysign(1.963961, z); math.Abs(d.t-want) > 1e-6 || math.Abs(d.p-0.144355) > 1e-4 {
			t.Errorf("z' %v: t %v, p %v; want %v and 0.144355", z, d.t, d.p, want)
		}
	}
	for testers, judged := range map[int]bool{3: false, 4: true} {
		d := deviation{zPrime: 1}
		if deleted(&d, testers); math.IsNaN(d.t) == judged {
			t.Errorf("%d testers: t = %v, want one: %v", testers, d.t, judged)
		}
	}
	d := deviation{zPrime: 2.5} // beyond sqrt(n-1) = 2 what is left counts as 0.001
	if deleted(&d, 5); math.Abs(d.t-2.5*math.Sqrt(3/1e-3)) > 1e-9 {
		t.Errorf("z' beyond its bound: t = %v", d.t)
	}
}

// A family of tests is cut at a false discovery rate of 5 % and, where there is a t, at its
// least size: one test on either side of each.
func TestDiscovered(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p, t float64
		want int
	}{{0.0499, 9, 1}, {0.0501, 9, 0}, {0.001, 3.51, 1}, {0.001, 3.5, 0}, {0.001, -3.51, 1}, {0.001, math.NaN(), 1}} {
		d := newDoubt(rigOffset)
		d.p, d.t = c.p, c.t
		if got := len(discovered([]doubt{d}, leastT)); got != c.want {
			t.Errorf("p %v, t %v: %d found, want %d", c.p, c.t, got, c.want)
		}
	}
	// Of ten tests the smallest p is held to 0.05/10 (Benjamini and Hochberg 1995, eq. 1).
	for first, want := range map[float64]int{0.0049: 1, 0.0051: 0} {
		tests := make([]doubt, 10)
		for i := range tests {
			tests[i] = newDoubt(rigOffset)
			tests[i].p = 0.9
		}
		tests[3].p = first
		if got := len(discovered(tests, 0)); got != want {
			t.Errorf("smallest of ten p = %v: %d found, want %d", first, got, want)
		}
	}
}

// The two-sided p of 1.959964 is 0.05, of t 2.570582 with 5 degrees of freedom too.
func TestProbabilities(t *testing.T) {
	t.Parallel()
	for _, z := range []float64{1.959964, -1.959964} {
		if got := normalP(z); math.Abs(got-0.05) > 1e-6 {
			t.Errorf("normalP(%v) = %v, want 0.05", z, got)
		}
	}
	for _, x := range []float64{2.570582, -2.570582} {
		if got := compare.StudentP(x, 5); math.Abs(got-0.05) > 1e-6 {
			t.Errorf("studentP(%v, 5) = %v, want 0.05", x, got)
		}
	}
	d := newDoubt(patternOff)
	d.p = 0.05
	if got := d.size(); math.Abs(got-1.959964) > 1e-6 {
		t.Errorf("size of a test with p 0.05 = %v, want 1.959964", got)
	}
}

// Slips by their factor, within 6 % of the logarithm on both sides.
func TestSlips(t *testing.T) {
	t.Parallel()
	for _, factor := range []float64{10, 0.1, 2, 0.5, 0.75, 2.0 / 3} {
		for _, off := range []float64{-0.0599, 0.0599} {
			if factor == 2.0/3 && off > 0 || factor == 0.75 && off < 0 {
				continue // the two are nearer to each other
			}
			if slip(math.Log(factor)+off) == "" {
				t.Errorf("a factor of %v, off by %v, is named nothing", factor, off)
			}
		}
		if factor == 2.0/3 || factor == 0.75 {
			continue
		}
		for _, off := range []float64{-0.0601, 0.0601} {
			if s := slip(math.Log(factor) + off); s != "" {
				t.Errorf("a factor of %v, off by %v, is named: %s", factor, off, s)
			}
		}
	}
}
