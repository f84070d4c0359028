package stc_test

import (
	"math"
	"testing"

	"evensun/internal/reftest"
	"evensun/internal/stc"
)

const (
	translationFile = "physics/translation.json"
	wiringFile      = "physics/wiring_loss.json"
)

// translationIn holds the inputs of all translation cases.
type translationIn struct {
	PowerW   float64 `json:"power_w"`
	VoltageV float64 `json:"voltage_v"`
	CurrentA float64 `json:"current_a"`
	IscA     float64 `json:"isc_a"`
	PoaWM2   float64 `json:"poa_w_m2"`
	TargetG  float64 `json:"poa_target_w_m2"`
	CellC    float64 `json:"cell_temperature_c"`
	TargetC  float64 `json:"cell_temperature_target_c"`
	Gamma    float64 `json:"gamma_pmax_per_k"`
	LowLight string  `json:"low_light"`
	AlphaA   float64 `json:"alpha_isc_a_per_k"`
	BetaV    float64 `json:"beta_voc_v_per_k"`
	Alpha    float64 `json:"alpha_isc_per_k"`
	Beta     float64 `json:"beta_voc_per_k"`
	Series   float64 `json:"series_resistance_ohm"`
	Kappa    float64 `json:"kappa_ohm_per_k"`
	VocSTC   float64 `json:"voc_stc_v"`
	B1       float64 `json:"b1"`
	B2       float64 `json:"b2"`
	Cells    int     `json:"cells_in_series"`
}

func (in translationIn) at() stc.Conditions {
	return stc.Conditions{PoaWM2: in.PoaWM2, CellC: in.CellC}
}

func TestSimplePower(t *testing.T) {
	t.Parallel()
	for _, c := range reftest.Cases[translationIn](t, translationFile, "simple") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			var low stc.LowLight
			if c.In.LowLight == "huld_2025" {
				low = stc.DefaultLowLight()
			}
			efficiency := low.Efficiency(c.In.PoaWM2)
			c.Check(t, "relative_efficiency", efficiency)
			c.Check(t, "stc_power_w", stc.SimplePower(c.In.PowerW, c.In.at(), c.In.Gamma, efficiency))
		})
	}
}

func TestProceduresOnAPoint(t *testing.T) {
	t.Parallel()
	procedures := map[string]func(in translationIn) stc.Procedure{
		"iec60891_procedure1": func(in translationIn) stc.Procedure {
			return procedure1{IscA: in.IscA, AlphaAPerK: in.AlphaA, BetaVPerK: in.BetaV, SeriesOhm: in.Series, KappaOhmPerK: in.Kappa}
		},
		"iec60891_procedure2_2021": func(in translationIn) stc.Procedure {
			return procedure2{VocSTCV: in.VocSTC, AlphaPerK: in.Alpha, BetaPerK: in.Beta, B1: in.B1, B2: in.B2, SeriesOhm: in.Series, KappaOhmPerK: in.Kappa}
		},
		"iec60891_procedure4": func(in translationIn) stc.Procedure {
			return stc.Procedure4{IscA: in.IscA, AlphaAPerK: in.AlphaA, SeriesOhm: in.Series, CellsInSeries: in.Cells, Technology: "mono_perc"}
		},
	}
	for model, procedure := range procedures {
		for _, c := range reftest.Cases[translationIn](t, translationFile, model) {
			t.Run(c.Name, func(t *testing.T) {
				t.Parallel()
				to := stc.Conditions{PoaWM2: c.In.TargetG, CellC: c.In.TargetC}
				got, err := translatePoint(stc.Point{VoltageV: c.In.VoltageV, CurrentA: c.In.CurrentA}, c.In.at(), to, procedure(c.In))
				if err != nil {
					t.Fatal(err)
				}
				c.Check(t, "voltage_v", got.VoltageV)
				c.Check(t, "current_a", got.CurrentA)
				c.Check(t, "power_w", got.PowerW())
			})
		}
	}
}

func TestDefaultLowLight(t *testing.T) {
	t.Parallel()
	for _, c := range reftest.Cases[translationIn](t, translationFile, "low_light_huld_2025") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			c.Check(t, "relative_efficiency", stc.DefaultLowLight().Efficiency(c.In.PoaWM2))
		})
	}
}

func TestWiring(t *testing.T) {
	t.Parallel()
	type in struct {
		Gauge      float64 `json:"awg"`
		LengthM    float64 `json:"length_m"`
		AreaMM2    float64 `json:"cross_section_mm2"`
		ConductorC float64 `json:"conductor_c"`
		Pairs      int     `json:"connector_pairs"`
		CurrentA   float64 `json:"current_a"`
		PowerW     float64 `json:"power_w"`
		Efficiency float64 `json:"converter_efficiency"`
		SelfW      float64 `json:"self_consumption_w"`
	}
	for _, c := range reftest.Cases[in](t, wiringFile, "awg") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			area := stc.AWGToMM2(c.In.Gauge)
			if got := stc.MM2ToAWG(area); math.Abs(got-c.In.Gauge) > 1e-9 {
				t.Errorf("MM2ToAWG(%v) = %v, want %v", area, got, c.In.Gauge)
			}
			c.Check(t, "cross_section_mm2", area)
			c.Check(t, "resistance_mohm_per_m_20c", 1000*stc.CopperOhmM(20)/(area*1e-6))
		})
	}
	for _, c := range reftest.Cases[in](t, wiringFile, "cable") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			cable := stc.Cable{LengthM: c.In.LengthM, AreaMM2: c.In.AreaMM2, ConductorC: c.In.ConductorC, ConnectorPairs: c.In.Pairs}
			ohm := cable.ResistanceOhm()
			c.Check(t, "resistance_ohm", ohm)
			c.Check(t, "loss_w", stc.AtTerminals(0, c.In.CurrentA, ohm))
		})
	}
	for _, c := range reftest.Cases[in](t, wiringFile, "battery_side") {
		t.Run(c.Name, func(t *testing.T) {
			t.Parallel()
			c.Check(t, "terminal_power_w", stc.FromBattery(c.In.PowerW, c.In.Efficiency, c.In.SelfW))
		})
	}
}
