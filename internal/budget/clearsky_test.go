package budget_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"evensun/internal/budget"
	"evensun/internal/reftest"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

type clearSkyIn struct {
	PowerW    float64    `json:"power_indicated_w"`
	UTC       time.Time  `json:"utc"`
	Latitude  float64    `json:"latitude_deg"`
	Longitude float64    `json:"longitude_deg"`
	AltitudeM float64    `json:"altitude_m"`
	AirC      float64    `json:"air_temperature_for_refraction_c"`
	DeltaTS   float64    `json:"delta_t_s"`
	Inputs    []inputRow `json:"inputs"`
	Seed      uint64     `json:"monte_carlo_seed"`
	Trials    int        `json:"monte_carlo_trials"`
}

var clearSkyOrder = []string{"P", "Pres", "Prep", "I", "R", "m", "TL", "model", "sky", "tilt", "azim", "rho", "iam", "spec", "Ta", "W", "Tmod", "gamma", "e_dev", "meth"}

// scene is the sky of the case; TL, tilt, azimuth and albedo are inputs.
func (in clearSkyIn) scene() sky.Scene {
	place := sun.At(in.Latitude, in.Longitude, in.AltitudeM)
	place.AirC, place.DeltaTS = in.AirC, in.DeltaTS
	site := sky.NewSite(in.Latitude, in.AltitudeM)
	return sky.Scene{Site: site, Sun: sky.NewSun(sun.Position(in.UTC, place), sun.Extraterrestrial(sun.DayOfYear(in.UTC)), &site)}
}

// estimated is the measurement model of a reading without irradiance sensor: the
// light by the clear-sky chain, the cell temperature by King's open rack with a
// polymer back; x in the order of clearSkyOrder.
func estimated(in clearSkyIn) func(x []float64) float64 {
	s := in.scene()
	return func(x []float64) float64 {
		s.LinkeTurbidity, s.GroundAlbedo = x[6], x[11]
		s.Plane = sky.NewPlane(x[9], x[10], 0.16)
		light := sky.ClearSkyPlane(&s)
		g := light.POAWM2() * (1 + x[7]) * (1 + x[8])
		effective := light.EffectiveWM2 * (1 + x[7]) * (1 + x[8]) * (1 + x[12]) * (1 + x[13])
		cellC := x[14] + g*(math.Exp(-3.56-0.075*x[15])+3.0/1000) + x[16]
		p := (in.PowerW*(1+x[0])+x[1])*(1+x[2]) + x[3]*x[3]*x[4]
		return p / x[5] * 1000 / effective / ((1 + x[17]*(cellC-25)) * (lowLight(effective) + x[18])) * (1 + x[19])
	}
}

func clearSkyCases(t *testing.T) []reftest.Case[clearSkyIn] {
	t.Helper()
	cases := reftest.Cases[clearSkyIn](t, uncertaintyFile, "clear_sky_estimate")
	for _, c := range cases {
		var names []string
		for _, r := range c.In.Inputs {
			names = append(names, r.Name)
		}
		if !slices.Equal(names, clearSkyOrder) {
			t.Fatalf("%s: inputs %v, want %v", c.Name, names, clearSkyOrder)
		}
	}
	return cases
}

func TestClearSkyBudgets(t *testing.T) {
	t.Parallel()
	for _, c := range clearSkyCases(t) {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			inputs := inputsOf(t, c.In.Inputs)
			checkBudget(t, c, estimated(c.In), inputs)
			checkMonteCarlo(t, c, monteCarlo(estimated(c.In), inputs, c.In.Seed, c.In.Trials))
		})
	}
}

// The interval that Combine takes for an estimated irradiance, on the logarithm,
// lies closer to the sample's at both ends than the symmetric one.
func TestLogarithmicIntervalIsCloserToMonteCarlo(t *testing.T) {
	t.Parallel()
	for _, c := range clearSkyCases(t) {
		var b budget.Budget
		evaluate(&b, estimated(c.In), inputsOf(t, c.In.Inputs))
		r := b.Combine(true)
		symmetric := budget.Linear(r.Value, r.Standard, r.Coverage)
		sample, ok := c.Out["monte_carlo"].(map[string]any)
		if !ok {
			t.Fatalf("%s: no Monte Carlo digits", c.Name)
		}
		for _, end := range []struct {
			name               string
			taken, alternative float64
		}{{"lower_w", r.Lower, symmetric.Lower}, {"upper_w", r.Upper, symmetric.Upper}} {
			want, ok := sample[end.name].(float64)
			if !ok || !(math.Abs(end.taken-want) < math.Abs(end.alternative-want)) {
				t.Errorf("%s %s: %v on the logarithm, %v symmetric, sample %v", c.Name, end.name, end.taken, end.alternative, want)
			}
		}
	}
}

// Panel B eight minutes after panel A of the haze budget, under the same sky.
func TestContrastUnderHaze(t *testing.T) {
	t.Parallel()
	type in struct {
		Shared []string `json:"shared"`
		Own    []string `json:"own"`
		Extra  float64  `json:"extra_reading_relative"`
	}
	haze := clearSkyCases(t)[1].In
	later := haze
	later.PowerW, later.UTC = 119, haze.UTC.Add(8*time.Minute)
	inputsA := inputsOf(t, haze.Inputs)
	inputsB := slices.Clone(inputsA)
	inputsB[3].value, inputsB[3].width = 6.5, 0.012*6.5
	inputsB[17].value = -0.0030
	var a, b budget.Budget
	powerA := evaluateLogarithm(&a, estimated(haze), inputsA)
	powerB := evaluateLogarithm(&b, estimated(later), inputsB)
	for _, c := range reftest.Cases[in](t, uncertaintyFile, "contrast") {
		if len(c.In.Shared)+len(c.In.Own) != len(clearSkyOrder) {
			t.Fatalf("%s: %d inputs, want %d", c.Name, len(c.In.Shared)+len(c.In.Own), len(clearSkyOrder))
		}
		drift := math.Log(poaOf(later, inputsB) / poaOf(haze, inputsA))
		got := budget.Contrast(&a, &b, 0.3*math.Abs(drift)+c.In.Extra, func(p budget.Part) bool {
			return slices.Contains(c.In.Shared, p.Name)
		})
		c.Check(t, "stc_power_a_w", powerA)
		c.Check(t, "stc_power_b_w", powerB)
		c.Check(t, "ratio", got.Ratio)
		c.Check(t, "u_shared_relative", got.Shared)
		c.Check(t, "u_own_relative", got.Own)
		c.Check(t, "drift_log_ratio", drift)
		c.Check(t, "u_drift_relative", got.Drift)
		c.Check(t, "u_ratio_relative", got.Standard)
		c.Check(t, "covariance_relative", got.Covariance)
	}
}

// poaOf is the irradiance on the plane at the inputs' values.
func poaOf(in clearSkyIn, inputs []input) float64 {
	s := in.scene()
	s.LinkeTurbidity, s.GroundAlbedo = inputs[6].value, inputs[11].value
	s.Plane = sky.NewPlane(inputs[9].value, inputs[10].value, 0.16)
	return sky.ClearSkyPlane(&s).POAWM2()
}
