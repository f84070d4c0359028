package normalise

import (
	"math"
	"time"

	"evensun/internal/budget"
	"evensun/internal/fieldtest"
	"evensun/internal/limits"
	"evensun/internal/sky"
	"evensun/internal/stc"
	"evensun/internal/sun"
)

// Altitudes in m that stand in for a missing one.
const (
	usualAltitudeM   = 300  // for estimates, rectangular +- 300 m (common practice, no source)
	lenientAltitudeM = 1500 // for limits: thinner air lets more light through
)

// setup holds what all readings of one session share.
type setup struct {
	session *fieldtest.Session
	rig     rigFacts

	track        sun.Track
	place        sky.Site
	lenientPlace sky.Site // for limits
	highSite     float64  // expectation of a clear sky's light over that of its model
	placeDeg     float64  // standard uncertainty of the sun's place from rounding

	condition  fieldtest.SkyCondition
	turbidity  sky.Turbidity
	albedo     float64
	albedoHalf float64
	altitudeU  float64 // standard uncertainty of the altitude in m, 0 where given

	moved   sky.Scene           // the scene of a reading with one input moved; reused
	weather limits.WeatherInput // of the session, slips of the unit set right
	shared  limits.Report       // about what its readings share

	limits   limits.Settings
	defaults []string // what the session did not say
}

// rigFacts is a rig with class defaults in place of what it does not state.
type rigFacts struct {
	kind        fieldtest.RigKind
	side        fieldtest.Side
	meter       budget.Electrical
	oneDisplay  bool
	cableKnown  bool
	cableOhm    float64
	converter   float64
	stated      bool // the converter's efficiency is stated
	batteryV    float64
	maxCurrentA float64
	maxPowerW   float64
}

// newSetup prepares a session.
func newSetup(in *Input, opts *Options) setup {
	s := setup{session: &in.Session, limits: opts.Limits, condition: in.Session.Sky.Condition}
	s.rig = s.rigOf(&in.Rig)
	site := &in.Session.Site
	altitude, lenient := usualAltitudeM*1.0, lenientAltitudeM*1.0
	if site.AltitudeM != nil {
		altitude, lenient = *site.AltitudeM, *site.AltitudeM
	} else {
		s.altitudeU = usualAltitudeM / math.Sqrt(3)
		s.byDefault("altitude 300 m")
	}
	s.place = sky.NewSite(site.LatitudeDeg, altitude)
	s.lenientPlace = sky.NewSite(site.LatitudeDeg, lenient)
	s.track = sun.NewTrack(sun.At(site.LatitudeDeg, site.LongitudeDeg, altitude), in.Session.StartedAt, sessionEnd(&in.Session))
	s.highSite = 1 - highSiteHalf(altitude)
	s.placeDeg = roundingU(site.PlaceRoundingDeg)
	s.skyDefaults()
	weather := &in.Session.Weather
	s.weather = limits.Weather(&limits.WeatherInput{AirC: number(weather.AirTemperatureC), WindMS: number(weather.WindSpeedMS)}, &s.shared)
	return s
}

// byDefault notes what was taken in place of something not given.
func (s *setup) byDefault(what string) { s.defaults = append(s.defaults, what) }

// skyDefaults settles turbidity and albedo.
func (s *setup) skyDefaults() {
	if s.condition == "" {
		s.condition = fieldtest.UnknownSky
		s.byDefault("sky unknown")
	}
	s.turbidity = sky.TurbidityOf(s.condition, &s.place)
	if linke := s.session.Sky.LinkeTurbidity; linke != nil {
		s.turbidity = sky.TurbidityGiven(*linke)
	}
	site := &s.session.Site
	row := budget.ClearSkyOf(s.condition, false)
	s.albedo, s.albedoHalf = sky.AlbedoOf(site.Ground), row.AlbedoHalfWidth
	if site.GroundAlbedo != nil {
		s.albedo = *site.GroundAlbedo
	}
}

// clouded tells whether the tester saw clouds.
func (s *setup) clouded() bool {
	return s.condition.Clouded()
}

func sessionEnd(s *fieldtest.Session) time.Time {
	end := s.StartedAt
	if s.EndedAt != nil && s.EndedAt.After(end) {
		end = *s.EndedAt
	}
	for i := range s.Readings {
		if at := s.Readings[i].TakenAt; at != nil && at.After(end) {
			end = *at
		}
	}
	return end
}

// roundingU is the standard uncertainty of the sun's place, in degrees, that a
// rounded place leaves.
func roundingU(rounding *float64) float64 {
	switch {
	case rounding == nil || *rounding >= 0.1:
		return budget.PlaceTenthDeg
	case *rounding > 0:
		return budget.PlaceHundredthDeg
	}
	return 0
}

// rigOf joins what a rig states with its class.
func (s *setup) rigOf(r *fieldtest.Rig) rigFacts {
	f := rigFacts{
		kind: r.Kind, side: r.PowerReadAt,
		meter: budget.ElectricalOf(r.Instrument), oneDisplay: r.Instrument != fieldtest.ClampMeter && r.Instrument != fieldtest.BenchMeter,
		batteryV: number(r.BatteryVoltageV), maxCurrentA: number(r.MaxCurrentA), maxPowerW: number(r.MaxPowerW),
		converter: stc.ConverterEfficiency,
	}
	if r.Instrument == "" || r.Instrument == fieldtest.OtherInstrument {
		s.byDefault("instrument of unknown class")
	}
	stateAccuracy(&f.meter, r)
	if r.ConverterEfficiency != nil {
		f.converter, f.stated = *r.ConverterEfficiency, true
	}
	if r.Cable.LengthM != nil && (r.Cable.CrossSectionMM2 != nil || *r.Cable.LengthM == 0) {
		f.cableKnown = true
		f.cableOhm = cableOhm(&r.Cable)
	} else {
		s.byDefault("cable loss 2 %")
	}
	return f
}

// stateAccuracy puts a rig's stated accuracy (rectangular half-width in percent) and
// display steps in place of its class.
func stateAccuracy(m *budget.Electrical, r *fieldtest.Rig) {
	percent := func(stated *float64, class *float64) {
		if stated != nil {
			*class = *stated / 100 / math.Sqrt(3)
		}
	}
	percent(r.Accuracy.VoltagePercent, &m.RigVoltage)
	percent(r.Accuracy.CurrentPercent, &m.RigCurrent)
	percent(r.Accuracy.PowerPercent, &m.RigPower)
	step := func(stated *float64, class *float64) {
		if stated != nil {
			*class = *stated
		}
	}
	step(r.Resolution.VoltageV, &m.StepV)
	step(r.Resolution.CurrentA, &m.StepA)
	step(r.Resolution.PowerW, &m.StepW)
}

// cableOhm is the resistance of a described cable, both ways.
func cableOhm(c *fieldtest.Cable) float64 {
	if *c.LengthM == 0 {
		return 0
	}
	cable := stc.Cable{LengthM: *c.LengthM, AreaMM2: *c.CrossSectionMM2, ConductorC: stc.DefaultConductorC}
	if c.ConnectorPairs != nil {
		cable.ConnectorPairs = *c.ConnectorPairs
	}
	return cable.ResistanceOhm()
}

func zeroIfMissing(x float64) float64 {
	if isGiven(x) {
		return x
	}
	return 0
}
