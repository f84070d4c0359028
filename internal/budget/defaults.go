package budget

import (
	"math"

	"evensun/internal/fieldtest"
)

// The tables below hold what a maker's class of instrument is worth when the rig
// states nothing better. All figures are relative standard uncertainties unless
// the name has a unit. All are common practice without a single source: makers'
// leaflets spread wider than any one figure. A stated accuracy or a certificate
// replaces the rig part.

// Electrical is what a class of electrical instrument is worth.
type Electrical struct {
	RigVoltage, RigCurrent, RigPower             float64 // shared by all its readings
	ReadingVoltage, ReadingCurrent, ReadingPower float64 // new in every reading
	ReadingCurrentA                              float64 // zero drift of a clamp, A
	StepV, StepA, StepW                          float64 // display steps; 0 where it has none
}

// ElectricalOf returns the class of an instrument by its API name: bench_meter
// (four wires, shunt), data_logger, inline_meter, controller_display,
// clamp_meter (current by clamp, voltage by hand meter); every other name gets
// the widest class.
//
// The parts are shares of the reading, or in V, A or W.
//
// Error: the parts are the statement. Source: common practice, no source.
func ElectricalOf(instrument fieldtest.Instrument) Electrical {
	switch instrument {
	case fieldtest.BenchMeter:
		return Electrical{0.0005, 0.0015, 0.0016, 0.0005, 0.0005, 0.0007, 0, 0.001, 0.001, 0.01}
	case fieldtest.DataLogger:
		return Electrical{0.002, 0.004, 0.0045, 0.001, 0.001, 0.0015, 0, 0.01, 0.01, 0.1}
	case fieldtest.InlineMeter:
		return Electrical{0.006, 0.010, 0.012, 0.002, 0.002, 0.003, 0, 0.01, 0.01, 0.1}
	case fieldtest.ControllerDisplay:
		return Electrical{0.006, 0.012, 0.015, 0.002, 0.003, 0.003, 0, 0.1, 0.1, 1}
	case fieldtest.ClampMeter:
		return Electrical{0.005, 0.015, 0.016, 0.002, 0, 0, 0.06, 0.01, 0.1, 0}
	}
	return Electrical{0.010, 0.020, 0.025, 0.003, 0.005, 0.006, 0, 0.1, 0.1, 1}
}

// PowerShares is a power's relative standard uncertainty by who shares it.
type PowerShares struct{ Rig, Reading, Step float64 }

// OfPower returns the parts of a power that the instrument shows itself. A clamp
// shows none: use OfProduct.
//
// powerW is above 0.
//
// Error: that of the class, see ElectricalOf. Source: as OfProduct.
func (e Electrical) OfPower(powerW float64) PowerShares {
	return PowerShares{Rig: e.RigPower, Reading: e.ReadingPower, Step: OfDisplay(e.StepW) / powerW}
}

// OfProduct returns the parts of a power computed as voltage times current,
// relative parts in quadrature; a clamp's zero drift counts in full. Both are above 0.
//
// Error: that of the class, see ElectricalOf.
//
// Source: JCGM 100:2008, 5.1.6.
func (e Electrical) OfProduct(voltageV, currentA float64) PowerShares {
	drift := e.ReadingCurrentA / currentA
	return PowerShares{
		Rig:     math.Hypot(e.RigVoltage, e.RigCurrent),
		Reading: math.Hypot(e.ReadingVoltage, math.Hypot(e.ReadingCurrent, drift)),
		Step:    math.Hypot(OfDisplay(e.StepV)/voltageV, OfDisplay(e.StepA)/currentA),
	}
}

// Irradiance is what a class of irradiance sensor is worth, relative.
type Irradiance struct {
	Rig      float64 // calibration
	RigPerK  float64 // 1/K, more for each kelvin away from 25 C of a sensor without temperature correction
	Spectrum float64 // session
	Reading  float64 // levelling, speed, not simultaneous
	Angular  float64 // common: weight of the incidence angle
	Usable   bool    // false: the reading counts as unmetered
}

// IrradianceOf returns the class of a sensor by its API name. calibrated says
// that a reference cell has a certificate, iso9060 is the class of a thermopile
// ("A", "B", "C", otherwise unstated), airMass the relative air mass. A phone is
// not usable, nor is a reading without sensor ("").
//
// The classes of ISO 9060:2018 name the instrument; the figures are what such an
// instrument does in the field and are not the standard's.
//
// airMass is at least 1.
//
// Error: the figures are the statement. Source: common practice, no source.
func IrradianceOf(sensor fieldtest.Sensor, calibrated bool, iso9060 string, airMass float64) Irradiance {
	switch sensor {
	case fieldtest.ReferenceCell:
		if calibrated {
			return Irradiance{Rig: 0.015, RigPerK: 0.0005, Spectrum: 0.005, Reading: 0.003, Usable: true}
		}
		return Irradiance{Rig: 0.030, RigPerK: 0.0005, Spectrum: 0.005, Reading: 0.003, Usable: true}
	case fieldtest.ReferencePanel:
		return Irradiance{Rig: 0.020, Spectrum: 0.005, Reading: 0.003, Usable: true}
	case fieldtest.ThermopilePyranometer:
		return Irradiance{Rig: thermopileRig(iso9060), Spectrum: SpectrumShare(airMass), Reading: 0.005, Angular: 0.005, Usable: true}
	case fieldtest.SiliconPyranometer:
		return Irradiance{Rig: 0.025, Spectrum: 0.015, Reading: 0.005, Angular: 0.005, Usable: true}
	case "", fieldtest.Phone:
		return Irradiance{}
	}
	return Irradiance{Rig: 0.05, Spectrum: 0.02, Reading: 0.01, Usable: true}
}

func thermopileRig(iso9060 string) float64 {
	switch iso9060 {
	case "A", "a":
		return 0.010
	case "C", "c":
		return 0.040
	}
	return 0.020
}

// SpectrumShare returns the relative standard uncertainty of a broadband
// irradiance as seen by crystalline silicon: 1.5 % up to air mass 2, 3 % up to 4,
// 6 % beyond. Double it for tandem, CIGS and amorphous panels; a silicon
// reference leaves a third.
//
// airMass is at least 1.
//
// Error: the figure is the statement. Source: common practice, no source.
func SpectrumShare(airMass float64) float64 {
	switch {
	case airMass <= 2:
		return 0.015
	case airMass <= 4:
		return 0.03
	}
	return 0.06
}

// ClearSky holds the defaults of an irradiance computed instead of measured.
type ClearSky struct {
	Model           float64 // relative, session: clear-sky and transposition model
	Sky             float64 // relative, session: state of the sky
	AzimuthDeg      float64 // session, one standard deviation
	TiltDeg         float64 // reading, one standard deviation
	AlbedoHalfWidth float64 // rectangular, session; of sky.AlbedoOf
}

// ClearSkyOf returns the defaults by the condition of the sky (clear, thin haze, haze;
// anything else counts as unknown). magnetic says that the azimuth is a compass reading
// without declination. The range of the turbidity is sky.TurbidityOf.
//
// The parts are shares of the irradiance, or in deg.
//
// Error: the figures are the statement. Source: common practice, no source.
func ClearSkyOf(condition fieldtest.SkyCondition, magnetic bool) ClearSky {
	c := ClearSky{Model: 0.04, Sky: 0.10, AzimuthDeg: 5, TiltDeg: 3, AlbedoHalfWidth: 0.1}
	switch condition {
	case fieldtest.Clear:
		c.Sky = 0.03
	case fieldtest.ThinHaze, fieldtest.Haze:
		c.Sky = 0.06
	}
	if magnetic {
		c.AzimuthDeg = 10
	}
	return c
}

// IncidenceShare returns the relative standard uncertainty of an incidence angle
// modifier of the given value: 0.25(1-iam) + 0.005. No value has been published
// for the front sheets of folding panels.
//
// iam is 0 to 1.
//
// Error: the figure is the statement. Source: common practice, no source.
func IncidenceShare(iam float64) float64 {
	return 0.25*(1-iam) + 0.005
}

// The plane and the place: standard deviations of angles in degrees.
const (
	PlaneLooseDeg     = 1.5   // reading: sensor held beside the panel, by eye
	PlaneFixedDeg     = 0.5   // reading: sensor fixed to the panel's frame
	PlaneUnknownDeg   = 10    // reading: metered, tilt or azimuth not stated
	PlaceTenthDeg     = 0.04  // session: place rounded to 0.1 degree
	PlaceHundredthDeg = 0.004 // session: place rounded to 0.01 degree
)

// Light, relative unless the name says half-width.
const (
	TurbidityStatedHalf = 0.5   // session, rectangular: turbidity that the tester states
	FromHorizontalShare = 0.06  // session: plane irradiance made from a measured horizontal one
	UnsteadyShare       = 0.01  // reading: sky not clear
	NotSimultaneous     = 0.003 // reading: flicker between power and irradiance
	RearEstimatedShare  = 0.40  // reading: of bifaciality times rear irradiance
	RearMeasuredShare   = 0.05  // reading: the same with a rear sensor
	RearOfModelShare    = 0.25  // model: of bifaciality times rear irradiance
)

// Translation.
const (
	MethodShare         = 0.003  // common: simple translation within its range
	GammaNameplateHalf  = 0.0005 // model, rectangular, 1/K
	GammaClassHalf      = 0.0010 // model, rectangular, 1/K
	LowLightCrystalline = 0.030  // model: times |ln(G/1000)|
	LowLightThinFilm    = 0.10   // model: times |ln(G/1000)|
)

// From the instrument to the panel's terminals: half-widths of rectangular
// distributions, scope rig, unless stated.
const (
	TrackerHalf         = 0.005 // of the tracker factor 0.995
	CableStatedHalf     = 0.25  // relative: length, conductor temperature, plugs
	CableUnstatedHalf   = 0.02  // relative to the power, about a loss of 2 %
	ConverterHalf       = 0.035 // of the class efficiency 0.96
	ConverterStatedHalf = 0.02  // of a stated efficiency
	ConverterSelfW      = 1     // W, normal, of a self consumption of 1 W
	SideUnknownHalf     = 0.025 // of the factor 1.025
)

// LowLightShare returns the standard uncertainty of e(G) at an irradiance:
// 0.030 |ln(G/1000)| for crystalline silicon, 0.10 |ln(G/1000)| for thin film.
// Over 13 measured crystalline modules the standard deviation of e is 0.7, 1.6,
// 2.8 and 4.6 % at 800, 600, 400 and 200 W/m2.
//
// poaWM2 is above 0.
//
// Error: the figure is the statement. Source: common practice, no source, held against those modules.
func LowLightShare(poaWM2 float64, thinFilm bool) float64 {
	l := math.Abs(math.Log(poaWM2 / 1000))
	if thinFilm {
		return LowLightThinFilm * l
	}
	return LowLightCrystalline * l
}
