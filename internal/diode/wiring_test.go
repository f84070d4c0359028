package diode_test

import (
	"fmt"
	"math"
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

func ExampleInfer() {
	for _, voltage := range []float64{0, 0.74, 0.99} { // not read, then as two panels may show
		in, err := diode.Infer(diode.CommonPrior(), []diode.CoveredReading{oneOfFour(0.74, voltage)})
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

func ExampleNextReading() {
	readings := []diode.CoveredReading{oneOfFour(0.74, 0)}
	next, err := diode.NextReading(diode.CommonPrior(), readings)
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
