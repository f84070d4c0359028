package demo

import (
	"math"
	"time"

	"evensun/internal/fieldtest"
)

// A fault is what a tester gets wrong: rules are those made for it. spoil returns false
// where a session has nothing to get wrong.
type fault struct {
	name  string
	gross bool
	rules []string
	spoil func(*event) bool
}

// faults returns what goes wrong in the spoiled world.
func faults() []fault {
	return []fault{
		{"volts and amps swapped", true, []string{"current_above_isc"}, each(swapVoltsAmps)},
		{"decimal slip of a current", true, []string{"unit_slip"}, once(scaledCurrent(10))},
		{"decimal slip of a power beside volts and amps", true, []string{"unit_slip"}, once(scaledPower(10, true))},
		{"decimal slip of a power alone", true, []string{"power_above_diode_bound", "power_above_rating", "power_above_sun"}, once(scaledPower(10, false))},
		{"decimal slip of a voltage", true, []string{"voltage_above_voc"}, once(scaledVoltage(10))},
		{"milliamps as amps", true, []string{"unit_slip"}, each(scaledCurrent(1000))},
		{"kilowatts as watts beside volts and amps", true, []string{"power_not_v_times_i"}, each(scaledPower(0.001, true))},
		{"kilowatts as watts alone", true, nil, each(scaledPower(0.001, false))},
		{"degrees Fahrenheit as Celsius", true, []string{"unit_slip"}, fahrenheitAir},
		{"UTC offset four hours wrong", true, []string{"sun_below_horizon"}, hours(4)},
		{"morning as evening", true, []string{"sun_below_horizon"}, hours(12)},
		{"name of a panel a third larger or more", true, []string{"result_far_below_rating"}, wrongPanel(1.33, 10)},
		{"name of a panel a quarter smaller or more", true, []string{"result_above_rating"}, wrongPanel(0.1, 0.75)},
		{"battery full", true, []string{"throttled_by_battery", "off_maximum_power"}, batteryFull},
		{"covered panel taken as uncovered", true, []string{"result_far_below_rating"}, uncovered},
		{"cover on the wrong reading", true, []string{"covered_above_uncovered"}, coverSwapped},
		{"cover forgotten", true, []string{"retention_above_bound"}, coverForgotten},
		{"controller without tracker", false, []string{"not_a_tracker"}, withoutTracker},
		{"light meter in the shade of the panel", false, []string{"current_irradiance_conflict", "irradiance_below_clear_sky"}, meterShaded},
		{"decimal slip of the light meter", true, []string{"irradiance_above_clear_sky"}, lightSlip},
		{"panel's back in Fahrenheit as Celsius", true, []string{"unit_slip"}, back(func(c float64) float64 { return 1.8*c + 32 })},
		{"panel's back with a decimal slip", true, []string{"cell_temperature_implausible"}, back(func(c float64) float64 { return c / 10 })},
		{"wind with a decimal slip", false, []string{"unit_slip"}, func(e *event) bool { return scaled(&e.reported.Weather.WindSpeedMS, 10) }},
		{"wind in km/h as m/s", false, nil, func(e *event) bool { return scaled(&e.reported.Weather.WindSpeedMS, 3.6) }},
		{"compass the wrong way round", false, []string{"sun_behind_panel"}, turnedRound},
		{"open circuit read under load", false, []string{"open_circuit_low"}, loaded},
		{"sweep with two points exchanged", false, []string{"sweep_not_monotonic"}, sweepMixedUp},
		{"cable in centimetres as metres", false, []string{"cable_loss_large"}, func(e *event) bool { return scaled(&e.rig.Cable.LengthM, 100) && *e.rig.Cable.LengthM > 0 }},
		{"battery of 24 V stated for 12 V", false, []string{"headroom_conflict"}, func(e *event) bool { return scaled(&e.rig.BatteryVoltageV, 2) }},
		{"flat and tilted exchanged", false, []string{"flat_ratio_conflict"}, flatSwapped},
		{"nameplate's Vmp and Voc swapped", false, []string{"nameplate_order", "fill_factor_impossible"}, nameplate(func(m *fieldtest.PanelModel) { m.Nameplate.VmpV, m.Nameplate.VocV = m.Nameplate.VocV, m.Nameplate.VmpV })},
		{"nameplate's rating with a decimal slip", false, []string{"nameplate_power_mismatch", "efficiency_above_limit"}, nameplate(func(m *fieldtest.PanelModel) { m.Nameplate.PmaxW = new(10 * *m.Nameplate.PmaxW) })},
		{"nameplate's coefficient in percent", false, []string{"nameplate_coefficients"}, nameplate(func(m *fieldtest.PanelModel) { m.Nameplate.GammaPmaxPerK = new(100 * *m.Nameplate.GammaPmaxPerK) })},
		{"nameplate's cells of one string of two", false, []string{"nameplate_cells"}, nameplate(func(m *fieldtest.PanelModel) { m.Nameplate.CellsInSeries = new(18) })},
		{"panel's area with a decimal slip", false, []string{"size_inconsistent"}, nameplate(func(m *fieldtest.PanelModel) { m.Size.PanelAreaM2 = new(*m.Size.PanelAreaM2 / 10) })},
		{"panel's mass in grams as kilograms", false, []string{"size_inconsistent"}, nameplate(func(m *fieldtest.PanelModel) { m.Size.MassKg = new(6000.0) })},
	}
}

// each spoils all operating points, once the first that can be.
func each(how func(*fieldtest.Reading) bool) func(*event) bool {
	return func(e *event) bool { return spoilt(e, how, len(e.reported.Readings)) }
}

func once(how func(*fieldtest.Reading) bool) func(*event) bool {
	return func(e *event) bool { return spoilt(e, how, 1) }
}

func spoilt(e *event, how func(*fieldtest.Reading) bool, most int) bool {
	done := 0
	for i := range e.reported.Readings {
		r := &e.reported.Readings[i]
		if done < most && r.Kind == fieldtest.OperatingPoint && r.Arrangement != fieldtest.Covered && how(r) {
			done++
		}
	}
	return done > 0
}

func swapVoltsAmps(r *fieldtest.Reading) bool {
	r.VoltageV, r.CurrentA = r.CurrentA, r.VoltageV
	return r.VoltageV != nil && r.CurrentA != nil
}

func scaledCurrent(by float64) func(*fieldtest.Reading) bool {
	return func(r *fieldtest.Reading) bool { return scaled(&r.CurrentA, by) }
}

func scaledVoltage(by float64) func(*fieldtest.Reading) bool {
	return func(r *fieldtest.Reading) bool { return scaled(&r.VoltageV, by) }
}

// scaledPower scales a power, of a reading with or without volts and amps.
func scaledPower(by float64, checked bool) func(*fieldtest.Reading) bool {
	return func(r *fieldtest.Reading) bool {
		return checked == (r.VoltageV != nil && r.CurrentA != nil) && scaled(&r.PowerW, by)
	}
}

func scaled(x **float64, by float64) bool {
	if *x == nil {
		return false
	}
	*x = new(tidy(by * **x))
	return true
}

func fahrenheitAir(e *event) bool {
	fahrenheit(e.scene, &e.reported)
	return true
}

// hours shifts the clock towards the far side of noon, so that the mistake is never
// a mirror image of the truth.
func hours(n int) func(*event) bool {
	return func(e *event) bool {
		by := time.Duration(n) * time.Hour
		if e.plan.fromNoonMin < 0 {
			by = -by
		}
		shift(&e.reported, by)
		return true
	}
}

// wrongPanel names another panel, whose rating is that of the true one times low to high,
// the nearest first.
func wrongPanel(low, high float64) func(*event) bool {
	return func(e *event) bool {
		name := e.reported.Readings[0].Panel.Model
		other, nearest := "", math.Inf(1)
		for slug, m := range e.models {
			ratio := *m.Nameplate.PmaxW / *e.models[name].Nameplate.PmaxW
			if off := math.Abs(math.Log(ratio)); ratio >= low && ratio <= high && off < nearest {
				other, nearest = slug, off
			}
		}
		for k := range e.reported.Readings {
			if r := &e.reported.Readings[k]; r.Panel.Model == name && other != "" {
				r.Panel.Model, r.Panel.Nameplate = other, nil
			}
		}
		return other != ""
	}
}

// batteryFull lets the last reading be throttled: the voltage climbs, the current falls.
func batteryFull(e *event) bool {
	r := &e.reported.Readings[len(e.reported.Readings)-1]
	if e.plan.sky.Clouded() || r.Kind != fieldtest.OperatingPoint || e.rig.Kind == fieldtest.Microinverter || e.rig.Kind == fieldtest.ElectronicLoad {
		return false
	}
	which := e.plan.panels[0]
	is := e.at(*r.TakenAt, fieldtest.Tilted, 1)
	e.read(r, which, 0.97*e.openV(which, is), 0.45*e.terminalW(which, is)/e.vmpV(which, is))
	return true
}

func uncovered(e *event) bool {
	for i := range e.reported.Readings {
		if r := &e.reported.Readings[i]; r.Arrangement == fieldtest.Covered {
			r.Arrangement, r.Cover = fieldtest.Tilted, nil
			return true
		}
	}
	return false
}

// coverSwapped exchanges a covered reading's values with those of its reference.
func coverSwapped(e *event) bool {
	for i := 1; i < len(e.reported.Readings); i++ {
		a, b := &e.reported.Readings[i-1], &e.reported.Readings[i]
		if b.Arrangement == fieldtest.Covered {
			exchange(a, b)
			return true
		}
	}
	return false
}

func withoutTracker(e *event) bool {
	if e.rig.Kind != fieldtest.MPPTController || e.rig.PowerReadAt != fieldtest.PanelSide {
		return false
	}
	e.rig.Kind = fieldtest.PWMController
	return spoilt(e, func(r *fieldtest.Reading) bool {
		if r.VoltageV == nil || r.CurrentA == nil {
			return false
		}
		r.VoltageV, r.CurrentA = new(tidy(*e.rig.BatteryVoltageV+0.3)), new(tidy(*r.CurrentA*1.04))
		if r.PowerW != nil {
			r.PowerW = new(math.Round(*r.VoltageV * *r.CurrentA))
		}
		return true
	}, len(e.reported.Readings))
}

func meterShaded(e *event) bool {
	if e.plan.sensor == nothing {
		return false
	}
	shadedMeter(e.scene, &e.reported)
	return true
}

func lightSlip(e *event) bool { return scaled(&e.reported.Readings[0].Irradiance.POAWM2, 10) }

// back spoils the temperatures taken behind the panels.
func back(how func(float64) float64) func(*event) bool {
	return func(e *event) bool {
		for i := range e.reported.Readings {
			r := &e.reported.Readings[i]
			if r.BackTemperatureC == nil {
				return false
			}
			r.BackTemperatureC = new(tidy(how(*r.BackTemperatureC)))
		}
		return true
	}
}

func turnedRound(e *event) bool {
	e.reported.Plane.AzimuthDeg = new(math.Mod(*e.reported.Plane.AzimuthDeg+180, 360))
	return true
}

// loaded leaves the controller connected while the open-circuit voltage is read.
func loaded(e *event) bool {
	for i := range e.reported.Readings {
		if r := &e.reported.Readings[i]; r.Kind == fieldtest.OpenCircuit {
			return scaled(&r.VoltageV, 0.8)
		}
	}
	return false
}

func sweepMixedUp(e *event) bool {
	r := &e.reported.Readings[0]
	if r.Sweep == nil {
		return false
	}
	curve := *r.Sweep
	curve.CurrentA = append([]float64(nil), curve.CurrentA...)
	last := len(curve.CurrentA) - 1
	curve.CurrentA[last-12], curve.CurrentA[last-4] = curve.CurrentA[last-4], curve.CurrentA[last-12]
	r.Sweep = &curve
	return true
}

func flatSwapped(e *event) bool {
	for i := 1; i < len(e.reported.Readings); i++ {
		if b := &e.reported.Readings[i]; b.Arrangement == fieldtest.Flat {
			exchange(&e.reported.Readings[i-1], b)
			return e.reported.Readings[i-1].Arrangement == fieldtest.Tilted
		}
	}
	return false
}

// coverForgotten reads the panel uncovered and reports it as covered.
func coverForgotten(e *event) bool {
	for i := 1; i < len(e.reported.Readings); i++ {
		a, b := &e.reported.Readings[i-1], &e.reported.Readings[i]
		if b.Arrangement == fieldtest.Covered {
			b.VoltageV, b.CurrentA, b.PowerW = a.VoltageV, a.CurrentA, a.PowerW
			return true
		}
	}
	return false
}

func exchange(a, b *fieldtest.Reading) {
	a.VoltageV, b.VoltageV = b.VoltageV, a.VoltageV
	a.CurrentA, b.CurrentA = b.CurrentA, a.CurrentA
	a.PowerW, b.PowerW = b.PowerW, a.PowerW
}

// nameplate spoils the nameplate that a session states of its first panel.
func nameplate(how func(*fieldtest.PanelModel)) func(*event) bool {
	return func(e *event) bool {
		name := e.reported.Readings[0].Panel.Model
		m := *e.models[name]
		how(&m)
		models := map[string]*fieldtest.PanelModel{}
		for slug, is := range e.models {
			models[slug] = is
		}
		models[name] = &m
		e.models = models
		for i := range e.reported.Readings {
			if p := &e.reported.Readings[i].Panel; p.Model == name {
				p.Nameplate = &m.Nameplate
			}
		}
		return true
	}
}
