package budget_test

import (
	"math"
	"testing"

	"evensun/internal/budget"
	"evensun/internal/reftest"
)

const uncertaintyFile = "physics/uncertainty.json"

type inputRow struct {
	Name         string   `json:"name"`
	Value        float64  `json:"value"`
	Distribution string   `json:"distribution"`
	Width        float64  `json:"width"`
	Scope        string   `json:"scope"`
	Degrees      *float64 `json:"degrees_of_freedom"`
}

func inputsOf(t testing.TB, rows []inputRow) []input {
	t.Helper()
	distributions := map[string]distribution{"normal": normal, "rectangular": rectangular, "triangular": triangular}
	scopes := map[string]budget.Scope{}
	for _, s := range allScopes() {
		scopes[s.String()] = s
	}
	var inputs []input
	for _, r := range rows {
		d, known := distributions[r.Distribution]
		s, placed := scopes[r.Scope]
		if !known || !placed {
			t.Fatalf("input %s: unknown distribution %q or scope %q", r.Name, r.Distribution, r.Scope)
		}
		in := input{name: r.Name, value: r.Value, width: r.Width, distribution: d, scope: s, degreesOfFreedom: budget.CertainDegreesOfFreedom}
		if r.Degrees != nil {
			in.degreesOfFreedom = *r.Degrees
		}
		inputs = append(inputs, in)
	}
	return inputs
}

func allScopes() []budget.Scope {
	return []budget.Scope{budget.Reading, budget.Session, budget.Rig, budget.Model, budget.Common}
}

type meteredIn struct {
	PowerW float64    `json:"power_indicated_w"`
	PoaWM2 float64    `json:"poa_indicated_w_m2"`
	BackC  float64    `json:"back_temperature_c"`
	Inputs []inputRow `json:"inputs"`
	Seed   uint64     `json:"monte_carlo_seed"`
	Trials int        `json:"monte_carlo_trials"`
}

// lowLight is the default e(G): Huld et al. with the 2025 coefficients.
func lowLight(poaWM2 float64) float64 {
	l := math.Log(poaWM2 / 1000)
	return 1 + (-0.006756-0.016444*l)*l
}

// metered is the measurement model of a reading with an irradiance sensor and a
// temperature sensor on the back; x in the order of the reference file.
func metered(in meteredIn) func(x []float64) float64 {
	return func(x []float64) float64 {
		p := (in.PowerW*(1+x[0])+x[1])*(1+x[2]) + x[3]*x[3]*x[4]
		g := (in.PoaWM2 + x[7]) * (1 + x[6]) * (1 + x[8]) * (1 + x[9]) * (1 + x[10])
		cellC := in.BackC + x[11] + x[12] + x[13]*g/1000
		return p / x[5] * 1000 / g / ((1 + x[14]*(cellC-25)) * (lowLight(g) + x[15])) * (1 + x[16])
	}
}

func TestMeteredBudget(t *testing.T) {
	t.Parallel()
	for _, c := range reftest.Cases[meteredIn](t, uncertaintyFile, "metered_back_sensor") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			inputs := inputsOf(t, c.In.Inputs)
			if inputs[0].name != "P" || inputs[5].name != "m" || inputs[16].name != "meth" || len(inputs) != 17 {
				t.Fatalf("the inputs of the file are not in the order of the model")
			}
			checkBudget(t, c, metered(c.In), inputs)
			checkMonteCarlo(t, c, monteCarlo(metered(c.In), inputs, c.In.Seed, c.In.Trials))
		})
	}
}

func checkBudget[In any](t *testing.T, c reftest.Case[In], f func([]float64) float64, inputs []input) {
	t.Helper()
	var b budget.Budget
	evaluate(&b, f, inputs)
	r := b.Combine(false)
	linear := budget.Linear(r.Value, r.Standard, r.Coverage)
	c.Check(t, "stc_power_w", r.Value)
	c.Check(t, "standard_w", r.Standard)
	c.Check(t, "effective_dof", r.Effective)
	c.Check(t, "coverage_factor", r.Coverage)
	c.Check(t, "interval_lower_w", linear.Lower)
	c.Check(t, "interval_upper_w", linear.Upper)
	for _, s := range allScopes() {
		wantIn(t, c.Out, "uncertainty_parts", s.String(), r.Of(s))
	}
	for i, p := range b.Parts() {
		wantIn(t, c.Out, "contributions_w", p.Name, p.Contribution)
		wantIn(t, c.Out, "sensitivities", p.Name, p.Contribution/inputs[i].standard())
	}
}

// wantIn compares with a number inside an expected object, at the file's default
// tolerance of 1e-6 relative; a scope that the file does not name must be 0.
func wantIn(t *testing.T, out map[string]any, object, member string, got float64) {
	t.Helper()
	members, ok := out[object].(map[string]any)
	if !ok {
		t.Fatalf("no object %q in the expected outputs", object)
	}
	want, stated := members[member].(float64)
	if !stated && object != "uncertainty_parts" {
		t.Fatalf("no %s.%s in the expected outputs", object, member)
	}
	if math.Abs(got-want) > 1e-6*math.Abs(want) {
		t.Errorf("%s.%s = %v, want %v within 1e-6 relative", object, member, got, want)
	}
}

// checkMonteCarlo compares at the 1e-9 relative of the file: the same stream
// gives the same digits.
func checkMonteCarlo[In any](t *testing.T, c reftest.Case[In], s sample) {
	t.Helper()
	want, ok := c.Out["monte_carlo"].(map[string]any)
	if !ok {
		t.Fatal("no Monte Carlo digits in the expected outputs")
	}
	for name, got := range map[string]float64{"mean_w": s.Mean, "standard_w": s.Standard, "lower_w": s.Lower, "upper_w": s.Upper} {
		w, ok := want[name].(float64)
		if !ok || !(math.Abs(got-w) <= 1e-9*w) {
			t.Errorf("Monte Carlo %s = %.9f, want %.9f", name, got, w)
		}
	}
}

func TestWelchSatterthwaite(t *testing.T) {
	t.Parallel()
	type in struct {
		Contributions []float64  `json:"contributions"`
		Degrees       []*float64 `json:"degrees_of_freedom"`
	}
	for _, c := range reftest.Cases[in](t, uncertaintyFile, "welch_satterthwaite") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			var b budget.Budget
			b.Reset(100)
			for i, u := range c.In.Contributions {
				nu := budget.CertainDegreesOfFreedom
				if c.In.Degrees[i] != nil {
					nu = *c.In.Degrees[i]
				}
				b.Add("part", budget.Rig, u, nu)
			}
			r := b.Combine(false)
			c.Check(t, "combined", r.Standard)
			c.Check(t, "effective_dof", r.Effective)
			c.Check(t, "coverage_factor", r.Coverage)
		})
	}
}
