package normalise

import (
	"math"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/limits"
)

// missing stands for a quantity that was not given, in all flat structs.
var missing = math.NaN()

// isGiven tells whether a quantity was given.
func isGiven(x float64) bool { return !math.IsNaN(x) }

// given holds what a tester gave for one reading, flat, with the session's values
// filled in where the reading has none. NaN means not given.
type given struct {
	takenAt     time.Time
	timeHalfMin float64 // half-width of the instant in minutes where it was not given, else 0

	kind        fieldtest.Kind
	arrangement fieldtest.Arrangement

	voltageV, currentA, powerW float64 // panel side, or at the meter
	batteryV, batteryA         float64
	batteryProduct             bool // the power is that of the battery's volts and amperes
	side                       fieldtest.Side

	poaWM2, rearWM2, ghiWM2 float64
	sensor                  fieldtest.Sensor
	calibrated              bool
	isoClass                string

	backC      float64
	backSensor fieldtest.BackSensor
	warmUpMin  float64

	airC, windMS float64
	ownWeather   []limits.Doubt // about the weather that the reading states itself

	tiltDeg, azimuthDeg float64
	magnetic            bool
}

// metered tells whether a light meter that counts gave an irradiance: a phone is
// shown but not used.
func (g *given) metered() bool {
	return g.sensor != fieldtest.Phone && (isGiven(g.poaWM2) || isGiven(g.ghiWM2))
}

// planeKnown tells whether the plane of the panel is known.
func (g *given) planeKnown() bool { return isGiven(g.tiltDeg) && isGiven(g.azimuthDeg) }

// rated holds a nameplate, flat. NaN means not stated.
type rated struct {
	pmaxW, vocV, iscA, vmpV, impA   float64
	toleranceLo, toleranceHi        float64
	gammaPerK, betaPerK, alphaPerK  float64
	gammaStated                     bool
	cells                           float64
	noctC                           float64
	massKg, panelAreaM2, cellAreaM2 float64
	technology                      fieldtest.Technology
	bifaciality                     float64
	sections                        float64
	plate                           limits.NameplateInput // as the rules want it
}

func number(x *float64) float64 {
	if x == nil {
		return missing
	}
	return *x
}

func whole(x *int) float64 {
	if x == nil {
		return missing
	}
	return float64(*x)
}

// readingGiven flattens one reading of a session.
func (s *setup) readingGiven(r *fieldtest.Reading) given {
	plane := s.session.Plane.Over(r.Plane)
	weather, doubts := s.weather, []limits.Doubt(nil)
	if r.Weather.AirTemperatureC != nil || r.Weather.WindSpeedMS != nil {
		var report limits.Report
		own := limits.Weather(&limits.WeatherInput{AirC: number(r.Weather.AirTemperatureC), WindMS: number(r.Weather.WindSpeedMS)}, &report)
		weather, doubts = weatherOver(weather, own), report.Doubts
	}
	g := given{
		kind: r.Kind, arrangement: r.Arrangement,
		voltageV: number(r.VoltageV), currentA: number(r.CurrentA), powerW: number(r.PowerW),
		batteryV: number(r.BatteryVoltageV), batteryA: number(r.BatteryCurrentA),
		side:   s.rig.side,
		poaWM2: number(r.Irradiance.POAWM2), rearWM2: number(r.Irradiance.RearWM2), ghiWM2: number(r.Irradiance.GHIWM2),
		sensor: r.Irradiance.Sensor, isoClass: r.Irradiance.ISO9060Class,
		calibrated: r.Irradiance.Calibrated != nil && *r.Irradiance.Calibrated,
		backC:      number(r.BackTemperatureC), backSensor: r.BackTemperatureSensor,
		warmUpMin: number(r.WarmUpMin),
		airC:      weather.AirC, windMS: weather.WindMS, ownWeather: doubts,
		tiltDeg: number(plane.TiltDeg), azimuthDeg: number(plane.AzimuthDeg),
		magnetic: plane.AzimuthReference == "magnetic",
	}
	if r.PowerReadAt != "" {
		g.side = r.PowerReadAt
	}
	if g.arrangement == fieldtest.Flat {
		g.tiltDeg, g.azimuthDeg, g.magnetic = 0, 0, false
	}
	g.takenAt, g.timeHalfMin = instant(s.session, r)
	fillReadingDefaults(&g)
	return g
}

// weatherOver puts what a reading knows of its weather over the session's.
func weatherOver(session, own limits.WeatherInput) limits.WeatherInput {
	if isGiven(own.AirC) {
		session.AirC = own.AirC
	}
	if isGiven(own.WindMS) {
		session.WindMS = own.WindMS
	}
	return session
}

// fillReadingDefaults names what a tester leaves out most often.
func fillReadingDefaults(g *given) {
	if g.kind == "" {
		g.kind = fieldtest.OperatingPoint
	}
	if g.arrangement == "" {
		g.arrangement = fieldtest.Tilted
	}
	if g.sensor == "" {
		g.sensor = fieldtest.OtherSensor
	}
	if g.backSensor == "" {
		g.backSensor = fieldtest.Thermocouple
	}
	if !isGiven(g.powerW) && isGiven(g.batteryV) && isGiven(g.batteryA) && g.side == fieldtest.BatterySide {
		g.powerW, g.batteryProduct = g.batteryV*g.batteryA, true
	}
}

// instant is when a reading was taken; where that was not given, the middle of the
// session and half its length in minutes.
func instant(s *fieldtest.Session, r *fieldtest.Reading) (time.Time, float64) {
	if r.TakenAt != nil {
		return *r.TakenAt, 0
	}
	if s.EndedAt == nil {
		return s.StartedAt, 0
	}
	length := s.EndedAt.Sub(s.StartedAt)
	return s.StartedAt.Add(length / 2), length.Minutes() / 2
}

// panelRated flattens a panel model.
func panelRated(m *fieldtest.PanelModel) rated {
	n := m.Nameplate.Canonical()
	p := rated{
		pmaxW: number(n.PmaxW), vocV: number(n.VocV), iscA: number(n.IscA), vmpV: number(n.VmpV), impA: number(n.ImpA),
		toleranceLo: missing, toleranceHi: missing,
		gammaPerK: number(n.GammaPmaxPerK), betaPerK: number(n.BetaVocPerK), alphaPerK: number(n.AlphaIscPerK),
		gammaStated: n.GammaPmaxPerK != nil,
		cells:       whole(n.CellsInSeries), noctC: number(n.NOCTC),
		massKg: number(m.Size.MassKg), panelAreaM2: number(m.Size.PanelAreaM2), cellAreaM2: number(m.Size.CellAreaM2),
		technology: m.Construction.Technology, bifaciality: number(m.Construction.Bifaciality),
		sections: whole(m.Construction.Sections),
	}
	if n.Tolerance != nil {
		p.toleranceLo, p.toleranceHi = n.Tolerance[0], n.Tolerance[1]
	}
	if p.technology == "" {
		p.technology = fieldtest.UnknownTechnology
	}
	p.plate = nameplateInput(&p)
	return p
}
