package normalise

import (
	"math"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/sky"
	"evensun/internal/stc"
	"evensun/internal/sun"
)

// row is a set of named numbers of a derivation; what is not a number is left out.
type row map[string]any

func numbers(pairs ...any) row {
	m := row{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if x, ok := pairs[i+1].(float64); ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
			continue
		}
		m[pairs[i].(string)] = pairs[i+1]
	}
	return m
}

// derivation writes down every step that applied, in computing order, with the very
// numbers that were used.
func (s *setup) derivation(r *reading) []fieldtest.Step {
	var d steps
	s.stepsOfSky(&d, r)
	s.stepsOfLight(&d, r)
	r.stepOfTemperature(&d)
	d.add("limits", MethodVersion, "package limits: each finding names its own source", row{},
		row{"checked": r.report.Checked(), "skipped": r.report.Skipped()})
	if r.point.indicatedW > 0 {
		s.stepsOfPower(&d, r)
	}
	s.stepOfShading(&d, r)
	s.stepOfFlat(&d, r)
	if r.reason == "" {
		s.stepOfUncertainty(&d, r)
	}
	return d
}

// steps is a derivation being written.
type steps []fieldtest.Step

func (d *steps) add(step, model, source string, in, out row) {
	*d = append(*d, fieldtest.Step{Step: step, Model: model, Source: source, Inputs: in, Outputs: out})
}

func (s *setup) stepsOfSky(d *steps, r *reading) {
	site := &s.session.Site
	d.add("sun_position", "nrel_spa", "I. Reda, A. Andreas, NREL/TP-560-34302 (2008)",
		numbers("utc", r.takenAt.UTC().Format("2006-01-02T15:04:05.999999Z"), "latitude_deg", site.LatitudeDeg, "longitude_deg", site.LongitudeDeg,
			"altitude_m", s.place.AltitudeM, "delta_t_s", sun.DefaultDeltaTS),
		numbers("zenith_deg", r.angles.ZenithDeg, "apparent_zenith_deg", r.angles.ApparentZenithDeg, "azimuth_deg", r.angles.AzimuthDeg))
	d.add("extraterrestrial", "spencer_1971", "J. Spencer, Search 2 (1971) 172; E_sc 1361 W/m2, Kopp & Lean (2011)",
		numbers("solar_constant_w_m2", sun.SolarConstantWM2),
		numbers("day_of_year", float64(sun.DayOfYear(r.takenAt)), "normal_w_m2", r.sun.ExtraterrestrialWM2))
	d.add("air_mass", "kasten_young_1989", "F. Kasten, A. Young, Applied Optics 28 (1989) 4735; ISO 2533 for the pressure",
		numbers("apparent_zenith_deg", r.angles.ApparentZenithDeg, "altitude_m", s.place.AltitudeM),
		numbers("relative", r.sun.AirMass, "absolute", r.sun.AirMassAbsolute, "pressure_pa", s.place.PressureRatio*sun.StandardPressurePa))
	d.add("clear_sky", "ineichen_perez_2002", "P. Ineichen, R. Perez, Solar Energy 73 (2002) 151",
		numbers("linke_turbidity_low", s.turbidity.Low, "linke_turbidity_high", s.turbidity.High, "altitude_m", s.place.AltitudeM),
		numbers("ghi_w_m2", r.clear.GHIWM2, "dni_w_m2", r.clear.DNIWM2, "dhi_w_m2", r.clear.DHIWM2, "linke_turbidity", s.turbidity.Middle()))
}

func (s *setup) stepsOfLight(d *steps, r *reading) {
	horizontal := r.clear.Horizontal
	if r.origin == fieldtest.OriginFromGHI {
		horizontal = r.split.Horizontal
		d.add("decomposition", "erbs_1982", "D. Erbs, S. Klein, J. Duffie, Solar Energy 28 (1982) 293",
			numbers("ghi_w_m2", r.ghiWM2, "apparent_zenith_deg", r.angles.ApparentZenithDeg),
			numbers("ghi_w_m2", r.split.GHIWM2, "dni_w_m2", r.split.DNIWM2, "dhi_w_m2", r.split.DHIWM2,
				"clearness_index", r.split.ClearnessIndex, "diffuse_fraction", r.split.DiffuseFraction))
	}
	if r.planeKnown() {
		s.stepsOfPlane(d, r, horizontal)
	}
	outputs := numbers("front_w_m2", r.point.frontWM2, "rear_w_m2", r.rearWM2, "effective_w_m2", r.point.effectiveWM2())
	d.add("effective_irradiance", string(r.origin), "IEC TS 60904-1-2:2024 for the rear; measured irradiance is used as read",
		numbers("poa_w_m2", r.point.poaWM2, "origin", string(r.origin), "incidence_weight", r.iamWeight, "bifaciality", r.rated.bifaciality), outputs)
	if k := s.highSite; r.origin == fieldtest.OriginClearSky && k != 1 {
		(*d)[len(*d)-1].Inputs["high_site_factor"] = k
	}
	if a := assumption(r); a != "" {
		(*d)[len(*d)-1].Inputs["assumes"] = a
	}
}

// assumption is what the light of a reading without result was reckoned for, empty where
// it is that of the reading.
func assumption(r *reading) string {
	switch {
	case r.origin == fieldtest.OriginMeasured:
		return ""
	case !r.planeKnown():
		return "a panel that faces the sun"
	case r.reason == skyNotClear:
		return "a sky without clouds"
	}
	return ""
}

func (s *setup) stepsOfPlane(d *steps, r *reading, horizontal sky.Horizontal) {
	d.add("incidence", "spherical", "cos th = cos b cos z + sin b sin z cos(A - Ap)",
		numbers("tilt_deg", r.tiltDeg, "azimuth_deg", r.azimuthDeg), numbers("angle_deg", r.plane.IncidenceDeg(&r.sun)))
	if r.origin == fieldtest.OriginMeasured && r.iamWeight == 1 {
		return // nothing of the sky enters the result
	}
	d.add("transposition", "hay_davies_1980", "J. Hay, J. Davies (1980); beside it R. Perez et al., Solar Energy 44 (1990) 271",
		numbers("ground_albedo", s.albedo, "origin", string(r.origin)),
		numbers("beam_w_m2", r.light.BeamWM2, "sky_diffuse_w_m2", r.light.SkyDiffuseWM2(), "ground_w_m2", r.light.GroundWM2, "poa_w_m2", r.light.POAWM2(),
			"poa_perez_w_m2", r.light.BeamWM2+sky.Perez(horizontal, &r.sun, &r.plane)+r.light.GroundWM2))
	ground := r.modifier.Ground
	if r.tiltDeg == 0 {
		ground = missing // it sees none
	}
	d.add("incidence_modifier", "martin_ruiz_2001", "N. Martin, J. Ruiz, Sol. Energy Mater. Sol. Cells 70 (2001) 25; IEC 61853-3",
		numbers("a_r", sky.CleanGlass),
		numbers("beam", r.modifier.Beam, "sky", r.modifier.Sky, "ground", ground))
}

func (s *setup) stepsOfPower(d *steps, r *reading) {
	p := &r.point
	d.add("wiring", string(r.sideOfRead), "IEC 60028 copper; converter and connector figures are common practice, no source",
		numbers("current_a", p.currentA, "converter_efficiency", p.converter, "self_consumption_w", p.selfW, "side_factor", p.side, "cable_loss_share", p.cableLoss),
		numbers("measured_power_w", p.indicatedW, "resistance_ohm", p.cableOhm, "terminal_power_w", p.terminalW()))
	if r.sweep.leftOut > 0 {
		d.add("sweep_points", "mm_estimate", "V. J. Yohai, Annals of Statistics 15 (1987) 642; limits are common practice, no source",
			numbers("points", float64(len(r.sweep.kept.VoltageV)+r.sweep.leftOut)), numbers("left_out", float64(r.sweep.leftOut)))
	}
	if r.reason != "" {
		return
	}
	gamma := p.gammaPerK
	if r.method == string(stc.MethodSimple) {
		d.add("low_light", "huld_form_2025", "A. Chatzipanagi et al., Prog. Photovolt. 33 (2025) 905, without temperature terms",
			numbers("effective_w_m2", p.effectiveWM2()), numbers("relative_efficiency", p.relativeEfficiency()))
	} else { // a whole curve needs neither low-light model nor coefficient of power
		gamma = missing
		d.add("curve_translation", r.method, "IEC 60891:2021 (form from open implementations)",
			s.inputsOfCurve(r),
			numbers("isc_a", r.sweep.iscA, "voc_v", r.sweep.vocV, "imp_a", r.sweep.translated.CurrentA, "vmp_v", r.sweep.translated.VoltageV,
				"pmp_w", r.sweep.translated.PowerW(), "fill_factor", r.sweep.pmpW/(r.sweep.iscA*r.sweep.vocV)))
	}
	d.add("stc_power", r.method, "P_stc = P_term/m 1000/G_eff / ((1 + gamma (Tc - 25)) e(G_eff)); IEC 60891 in idea",
		numbers("arrangement", string(r.arrangement), "gamma_pmax_per_k", gamma, "tracker_factor", p.tracker),
		numbers("power_before_tracker_w", p.beforeTrackerW(), "power_w", r.value, "share_of_rating", r.shareOfRating()))
}

// inputsOfCurve are what a procedure moved a curve with: its own resistance, or another
// sweep.
func (s *setup) inputsOfCurve(r *reading) row {
	if r.method != string(stc.MethodProcedure3) {
		return numbers("series_ohm", r.sweep.seriesOhm, "isc_a", r.sweep.iscA)
	}
	other := r.sweep.pair.partner
	return numbers("isc_a", r.sweep.iscA, "other_isc_a", other.sweep.iscA, "fraction", r.sweep.pair.fraction,
		"other_label", labelOf(&s.session.Readings[other.index], other.index),
		"other_effective_w_m2", other.point.effectiveWM2(), "other_cell_c", other.point.cellC())
}

// stepOfShading says what a covered reading tells of the wiring.
func (s *setup) stepOfShading(d *steps, r *reading) {
	if r.retention == nil || r.coverRatio.reference == nil {
		return
	}
	out := numbers("retained", r.coverRatio.retained)
	if ref := r.coverRatio.reference; isGiven(r.voltageV) && isGiven(ref.voltageV) {
		out["voltage_ratio"] = r.voltageV / ref.voltageV
	}
	out["conclusion"] = "undecided"
	if w := r.wiring; w != nil && w.ok {
		posterior := map[string]float64{}
		for i, wiring := range diode.Wirings() {
			posterior[string(wiring)] = w.inference.Posterior[i]
		}
		out["posterior"] = posterior
		out["bayes_factor"] = finiteOr(w.inference.BayesFactor, math.MaxFloat64)
		if w.inference.Conclusion != diode.Undecided {
			out["conclusion"] = string(w.inference.Conclusion)
		}
		if next := w.suggestion; next != nil {
			out["one_more_reading"] = map[string]any{
				"sections_covered": next.Cover.Covered, "transmission": next.Cover.Transmission, "with_voltage": true,
				"separates": []string{string(next.Best), string(next.Second)}, "decision_chance": next.DecisionChance,
			}
		}
	}
	d.add("shading", "wiring_posterior", "Bayes' theorem over simulated circuits; J. Bishop, Solar Cells 25 (1988) 73 for shaded cells",
		numbers("reference_label", r.retention.ReferenceLabel, "u_retained", r.coverRatio.u), out)
}

// stepOfFlat says what lying flat cost beyond the sun's angle and the usual heat.
func (s *setup) stepOfFlat(d *steps, r *reading) {
	keep := r.retention
	if keep == nil || keep.Measure != fieldtest.FlatRetention {
		return
	}
	d.add("flat", "yield_ratio", "own: measured ratio over G_eff (1 + gamma (Tc - 25)) e(G_eff) of both",
		numbers("reference_label", keep.ReferenceLabel),
		numbers("sun_part", *keep.SunPart, "heat_part", *keep.HeatPart, "retained", keep.Value, "u_retained", keep.U))
}

func finiteOr(x, other float64) float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return other
	}
	return x
}

func (s *setup) stepOfUncertainty(d *steps, r *reading) {
	parts := make([]map[string]any, 0, len(r.budget.Parts()))
	for _, p := range r.budget.Parts() {
		parts = append(parts, map[string]any{
			"name": p.Name, "standard_relative": math.Abs(p.Contribution / r.value), "sensitivity": p.Contribution, "scope": p.Scope.String(),
		})
	}
	t := &r.total
	d.add("uncertainty", "gum_first_order", "JCGM 100:2008, 5.1.3 note 2 and G.4",
		row{"value_w": r.value},
		row{"standard_w": t.Standard, "coverage_factor": t.Coverage, "effective_dof": finiteOr(t.Effective, math.MaxFloat64), "logarithmic_interval": t.Logarithmic, "parts": parts})
}
