package diode_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"evensun/internal/diode"
	"evensun/internal/reftest"
)

func oneOfFour(r, v float64) diode.CoveredReading {
	return diode.CoveredReading{
		Cover:    diode.Cover{Sections: 4, Covered: 1, Transmission: 0.05},
		Retained: r, URetained: 0.02, VoltageRatio: v, UVoltageRatio: 0.03,
	}
}

func ExampleLibrary_Infer() {
	for _, voltage := range []float64{0, 0.74, 0.99} { // not read, then as two panels may show
		in, err := new(diode.Library).Infer(diode.CommonPrior(), []diode.CoveredReading{oneOfFour(0.74, voltage)})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("74 %% left, voltage ratio %.2f: %s\n", voltage, in.Conclusion)
	}
	// Output:
	// 74 % left, voltage ratio 0.00: undecided
	// 74 % left, voltage ratio 0.74: series_bypass
	// 74 % left, voltage ratio 0.99: parallel
}

func ExampleLibrary_NextReading() {
	readings := []diode.CoveredReading{oneOfFour(0.74, 0)}
	next, err := nextReading(diode.CommonPrior(), readings)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("to tell %s from %s cover %d of %d, light left %.2f, and read the voltage\n",
		next.Best, next.Second, next.Cover.Covered, next.Cover.Sections, next.Cover.Transmission)
	// Output: to tell parallel from series_bypass cover 1 of 4, light left 0.05, and read the voltage
}

type wiringIn struct {
	Sections  int                `json:"sections_total"`
	Covered   int                `json:"sections_covered"`
	Retained  float64            `json:"retained"`
	URetained float64            `json:"u_retained"`
	Voltage   float64            `json:"voltage_ratio"`
	UVoltage  float64            `json:"u_voltage_ratio"`
	Prior     map[string]float64 `json:"prior"`
	Branches  map[string][]struct {
		Weight  float64  `json:"weight"`
		Mean    float64  `json:"mean"`
		SD      float64  `json:"sd"`
		Voltage *float64 `json:"voltage_mean"`
	} `json:"branches"`
}

func (in wiringIn) evidence() (diode.Shares, diode.Evidence) {
	var prior diode.Shares
	e := diode.Evidence{Reading: diode.CoveredReading{
		Cover:    diode.Cover{Sections: in.Sections, Covered: in.Covered},
		Retained: in.Retained, URetained: in.URetained, VoltageRatio: in.Voltage, UVoltageRatio: in.UVoltage,
	}}
	for k, w := range diode.Wirings() {
		prior[k] = in.Prior[string(w)]
		for _, b := range in.Branches[string(w)] {
			branch := diode.Branch{Weight: b.Weight, Mean: b.Mean, Spread: b.SD}
			if b.Voltage != nil {
				branch.VoltageMean = *b.Voltage
			}
			e.Branches[k] = append(e.Branches[k], branch)
		}
	}
	return prior, e
}

// The likelihoods that the file gives below 1e-100 need the logarithm: those are
// compared relatively, the others within the file's tolerance.
func TestInferFrom(t *testing.T) {
	t.Parallel()
	for _, c := range reftest.Cases[wiringIn](t, "physics/shading.json", "wiring_posterior") {
		t.Run(c.Name, func(t *testing.T) {
			prior, e := c.In.evidence()
			in, err := diode.InferFrom(prior, []diode.Evidence{e})
			if err != nil {
				t.Fatal(err)
			}
			likelihood, posterior := c.Out["likelihood"].(map[string]any), c.Out["posterior"].(map[string]any)
			for _, w := range diode.Wirings() {
				want := likelihood[string(w)].(float64)
				if got := in.LogLikelihood.Of(w); math.Abs(got-math.Log(want)) > 1e-9*math.Abs(math.Log(want)) {
					t.Errorf("ln L(%s) = %v, want %v", w, got, math.Log(want))
				}
				want = posterior[string(w)].(float64)
				if got := in.Posterior.Of(w); math.Abs(got-want) > 1e-9 {
					t.Errorf("posterior of %s = %v, want %v", w, got, want)
				}
			}
			if want := c.Out["undecided"].(bool); (in.Conclusion == diode.Undecided) != want {
				t.Errorf("conclusion %s at Bayes factor %v, want undecided %v", in.Conclusion, in.BayesFactor, want)
			}
		})
	}
}

// The general table reproduces the worked one for a card over one of four.
func TestCommonBranchesNearWorkedTable(t *testing.T) {
	t.Parallel()
	got, err := diode.CommonBranches(diode.Cover{Sections: 4, Covered: 1, Transmission: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	_, want := reftest.Cases[wiringIn](t, "physics/shading.json", "wiring_posterior")[0].In.evidence()
	for k, w := range diode.Wirings() {
		t.Logf("%s: %+v, want %+v", w, got[k], want.Branches[k])
		if len(got[k]) != len(want.Branches[k]) {
			t.Errorf("%s: %d branches, want %d", w, len(got[k]), len(want.Branches[k]))
			continue
		}
		for j, b := range got[k] {
			v := want.Branches[k][j]
			if math.Abs(b.Weight-v.Weight) > 1e-9 || math.Abs(b.Mean-v.Mean) > 0.01 || math.Abs(b.Spread-v.Spread) > 0.01 {
				t.Errorf("%s branch %d: %+v, want %+v within 0.01", w, j, b, v)
			}
		}
	}
}

// anyReading makes a reading that passes its check.
func anyReading(n, k uint8, s, r, u, v float64) diode.CoveredReading {
	sections := 2 + 2*(int(n)%3)
	voltage := reftest.Fold(v, 0, 1.3)
	return diode.CoveredReading{
		Cover:    diode.Cover{Sections: sections, Covered: 1 + int(k)%(sections-1), Transmission: reftest.Fold(s, 0, 0.6)},
		Retained: reftest.Fold(r, 0, 1.1), URetained: reftest.Fold(u, 0, 0.1), VoltageRatio: voltage,
	}
}

// The posterior sums to 1 and follows the prior, a conclusion needs 20 to 1, the
// order of readings is nothing, and a wiring without prior is never concluded.
func FuzzInfer(f *testing.F) {
	f.Add(uint8(1), uint8(0), 0.05, 0.74, 0.02, 0.74, uint8(0), 0.1, 0.8, 0.0)
	f.Add(uint8(0), uint8(0), 0.0, 0.49, 0.05, 0.0, uint8(0), 0.3, 0.6, 1.0)
	f.Add(uint8(2), uint8(3), 0.5, 1.1, 0.0, 1.3, uint8(4), 0.6, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, n, k uint8, s, r, u, v float64, k2 uint8, s2, r2, v2 float64) {
		a, b := anyReading(n, k, s, r, u, v), anyReading(n, k2, s2, r2, u, v2)
		prior := diode.CommonPrior()
		forth, err := new(diode.Library).Infer(prior, []diode.CoveredReading{a, b})
		if err != nil {
			t.Fatalf("Infer(%+v, %+v): %v", a, b, err)
		}
		back, err := new(diode.Library).Infer(prior, []diode.CoveredReading{b, a})
		if err != nil || forth != back {
			t.Errorf("order matters: %+v, then %+v (%v)", forth, back, err)
		}
		var sum float64
		for _, p := range forth.Posterior {
			sum += p
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Errorf("posterior %v sums to %v", forth.Posterior, sum)
		}
		if forth.BayesFactor < 20 && forth.Conclusion != diode.Undecided {
			t.Errorf("%s concluded at a Bayes factor of %v", forth.Conclusion, forth.BayesFactor)
		}
		if forth.Conclusion != diode.Undecided && forth.Conclusion != forth.Best {
			t.Errorf("concluded %s, but the best is %s", forth.Conclusion, forth.Best)
		}
		for j, w := range diode.Wirings() {
			if w == forth.Best {
				prior[j] = 0
			}
		}
		without, err := new(diode.Library).Infer(prior, []diode.CoveredReading{a, b})
		if err != nil || without.Posterior.Of(forth.Best) != 0 || without.Best == forth.Best {
			t.Errorf("without prior for %s: %+v, %v", forth.Best, without, err)
		}
	})
}

// Half the panel covered and no voltage: about half the power in three wirings.
func TestHalfCoveredWithoutVoltageDecidesNothing(t *testing.T) {
	t.Parallel()
	half := diode.CoveredReading{Cover: diode.Cover{Sections: 2, Covered: 1}, Retained: 0.62, URetained: 0.001}
	readings := []diode.CoveredReading{half, half, half, half, half, half, half, half, half, half, half, half}
	in, err := new(diode.Library).Infer(diode.CommonPrior(), readings)
	if err != nil {
		t.Fatal(err)
	}
	if in.BayesFactor < 20 {
		t.Errorf("Bayes factor %v: the readings no longer reach 20, the rule is not tested", in.BayesFactor)
	}
	if in.Conclusion != diode.Undecided {
		t.Errorf("12 readings of half a panel without voltage: %s, want undecided", in.Conclusion)
	}
	half.VoltageRatio = 1
	in, err = new(diode.Library).Infer(diode.CommonPrior(), append(readings, half))
	if err != nil || in.Conclusion == diode.SeriesBypass {
		t.Errorf("voltage ratio 1: %+v, %v", in, err)
	}
}

// Each wiring's own simulated readings lead back to it, or to no conclusion where
// two wirings do the same.
func TestInferKnownPanels(t *testing.T) {
	t.Parallel()
	for _, w := range diode.Wirings() {
		for _, n := range []int{4, 6} {
			var readings []diode.CoveredReading
			for _, k := range []int{1, 2} {
				global := retained(t, w, n, k, 0.05).Global()
				readings = append(readings, diode.CoveredReading{
					Cover: diode.Cover{Sections: n, Covered: k, Transmission: 0.05}, Retained: global.Power, URetained: 0.02, VoltageRatio: global.Voltage,
				})
			}
			in, err := new(diode.Library).Infer(diode.CommonPrior(), readings)
			if err != nil || in.Best != w {
				t.Errorf("%s with %d sections: %+v, %v", w, n, in, err)
			}
			if w != diode.Series && in.Conclusion != w {
				t.Errorf("%s with %d sections: %s at a Bayes factor of %v", w, n, in.Conclusion, in.BayesFactor)
			}
		}
	}
}

func TestCommonBranchesAreProbabilities(t *testing.T) {
	t.Parallel()
	for n := 2; n <= 8; n++ {
		for k := 1; k < n; k++ {
			for _, s := range []float64{0, 0.03, 0.05, 0.5, 1} {
				all, err := diode.CommonBranches(diode.Cover{Sections: n, Covered: k, Transmission: s})
				if err != nil {
					t.Fatal(err)
				}
				for j, branches := range all {
					var sum float64
					for _, b := range branches {
						sum += b.Weight
						if b.Mean < 0 || b.Mean > 1+1e-6 || b.Spread < 0.02 {
							t.Errorf("%d of %d at %v, %s: %+v", k, n, s, diode.Wirings()[j], b)
						}
					}
					if odd := diode.Wirings()[j] == diode.TwoStrings && n%2 == 1; odd != (len(branches) == 0) || !odd && math.Abs(sum-1) > 1e-12 {
						t.Errorf("%d of %d at %v, %s: weights sum to %v over %d", k, n, s, diode.Wirings()[j], sum, len(branches))
					}
				}
			}
		}
	}
}

func TestInferRefuses(t *testing.T) {
	t.Parallel()
	good := oneOfFour(0.74, 0.74)
	for name, spoil := range map[string]func(*diode.CoveredReading){
		"Retained":      func(r *diode.CoveredReading) { r.Retained = math.NaN() },
		"URetained":     func(r *diode.CoveredReading) { r.URetained = -0.1 },
		"VoltageRatio":  func(r *diode.CoveredReading) { r.VoltageRatio = math.Inf(1) },
		"UVoltageRatio": func(r *diode.CoveredReading) { r.UVoltageRatio = math.NaN() },
		"Covered":       func(r *diode.CoveredReading) { r.Cover.Covered = 0 },
		"Transmission":  func(r *diode.CoveredReading) { r.Cover.Transmission = math.NaN() },
		"Sections":      func(r *diode.CoveredReading) { r.Cover.Sections = 100 },
	} {
		r := good
		spoil(&r)
		_, err := new(diode.Library).Infer(diode.CommonPrior(), []diode.CoveredReading{good, r})
		checkRange(t, err, name)
		_, err = nextReading(diode.CommonPrior(), []diode.CoveredReading{r})
		checkRange(t, err, name)
	}
	other := good
	other.Cover.Sections = 6
	spread := diode.Evidence{Reading: good, Branches: diode.Branches{{{Weight: 1, Mean: 0.5}}}}
	none := diode.Evidence{Reading: good}
	for _, c := range []struct {
		name string
		run  func() error
		want diode.Fault
	}{
		{"no readings", func() error { _, err := new(diode.Library).Infer(diode.CommonPrior(), nil); return err }, diode.ErrNoReadings},
		{"two panels", func() error {
			_, err := new(diode.Library).Infer(diode.CommonPrior(), []diode.CoveredReading{good, other})
			return err
		}, diode.ErrSections},
		{"no prior", func() error {
			_, err := new(diode.Library).Infer(diode.Shares{}, []diode.CoveredReading{good})
			return err
		}, diode.ErrPrior},
		{"NaN prior", func() error {
			_, err := new(diode.Library).Infer(diode.Shares{math.NaN(), 1}, []diode.CoveredReading{good})
			return err
		}, diode.ErrPrior},
		{"no branches", func() error {
			_, err := diode.InferFrom(diode.CommonPrior(), []diode.Evidence{none})
			return err
		}, diode.ErrImpossible},
		{"one wiring left", func() error {
			_, err := nextReading(diode.Shares{1}, []diode.CoveredReading{good})
			return err
		}, diode.ErrNothingLeading},
	} {
		if err := c.run(); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	_, err := diode.InferFrom(diode.CommonPrior(), []diode.Evidence{spread})
	checkRange(t, err, "Spread")
}

// A suggestion that promises a decision keeps it: readings drawn from the branches
// of the two wirings decide as often as it says, within 4 standard deviations of
// the count and 0.01 for the grid of the integral.
func TestNextReadingKeepsItsPromise(t *testing.T) {
	t.Parallel()
	const seed, runs = 20260812, 2000
	random := rand.New(rand.NewPCG(seed, 1))
	for _, first := range []diode.CoveredReading{oneOfFour(0.74, 0), oneOfFour(0.05, 0), oneOfFour(0.6, 0)} {
		prior := diode.CommonPrior()
		before, err := new(diode.Library).Infer(prior, []diode.CoveredReading{first})
		if err != nil {
			t.Fatal(err)
		}
		next, err := nextReading(prior, []diode.CoveredReading{first})
		if err != nil {
			t.Fatal(err)
		}
		branches, err := diode.CommonBranches(next.Cover)
		if err != nil {
			t.Fatal(err)
		}
		old, err := diode.CommonBranches(first.Cover)
		if err != nil {
			t.Fatal(err)
		}
		share := before.Posterior.Of(next.Best) / (before.Posterior.Of(next.Best) + before.Posterior.Of(next.Second))
		decided := 0
		for range runs {
			w := next.Second
			if random.Float64() < share {
				w = next.Best
			}
			reading := drawn(branches[slices.Index(wiringList(), w)], next.Cover, random)
			after, err := diode.InferFrom(prior, []diode.Evidence{{Reading: first, Branches: old}, {Reading: reading, Branches: branches}})
			if err != nil {
				t.Fatal(err)
			}
			factor := after.LogLikelihood.Of(next.Best) - after.LogLikelihood.Of(next.Second)
			if math.Abs(factor) >= math.Log(20) {
				decided++
			}
		}
		got := float64(decided) / runs
		t.Logf("after r %.2f: %+v, decided in %.3f", first.Retained, next, got)
		if math.Abs(got-next.DecisionChance) > 0.01+4*math.Sqrt(0.25/runs) {
			t.Errorf("seed %d: decided in %v of %d, promised %v", seed, got, runs, next.DecisionChance)
		}
		if next.ExpectedLog10 < 0 {
			t.Errorf("expected weight of evidence %v is negative", next.ExpectedLog10)
		}
	}
}

func wiringList() []diode.Wiring { w := diode.Wirings(); return w[:] }

// drawn makes a reading as the branches of one wiring would have it.
func drawn(branches []diode.Branch, cover diode.Cover, random *rand.Rand) diode.CoveredReading {
	pick := random.Float64()
	b := branches[len(branches)-1]
	for _, one := range branches {
		if pick -= one.Weight; pick < 0 {
			b = one
			break
		}
	}
	v := b.VoltageMean + random.NormFloat64()*math.Hypot(0.03, 0.03)
	if b.VoltageMean == 0 {
		v = 0.001 + 1.198*random.Float64()
	}
	r := b.Mean + random.NormFloat64()*math.Hypot(b.Spread, 0.02)
	return diode.CoveredReading{Cover: cover, Retained: math.Max(r, -0.1), URetained: 0.02, VoltageRatio: math.Min(v, 1.5)}
}

// BenchmarkNextReading counts in units of one simulation.
func BenchmarkNextReading(b *testing.B) {
	readings := []diode.CoveredReading{oneOfFour(0.74, 0)}
	for b.Loop() {
		if _, err := nextReading(diode.CommonPrior(), readings); err != nil {
			b.Fatal(err)
		}
	}
}

// nextReading is the reading that would decide after some, or why there is none.
func nextReading(prior diode.Shares, readings []diode.CoveredReading) (diode.Suggestion, error) {
	var l diode.Library
	in, err := l.Infer(prior, readings)
	if err != nil {
		return diode.Suggestion{}, err
	}
	return l.NextReading(in, readings[0].Cover.Sections)
}
