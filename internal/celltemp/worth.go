package celltemp

import (
	"math"

	"evensun/internal/fieldtest"
)

// Shares is how well a kind of evidence knows the cell temperature: standard
// uncertainties in K by who shares the error, without those of its own inputs. The
// figures below are common practice without a source.
type Shares struct {
	RigK     float64 // all readings of the instrument
	SessionK float64 // all readings of the session
	ReadingK float64 // this reading only
	ModelK   float64 // all readings of the panel model
	CommonK  float64 // all readings
}

// UK returns all shares together, K: their root sum of squares.
//
// Error: exact for independent shares. Source: JCGM 100:2008, 5.1.2.
func (s Shares) UK() float64 {
	return math.Sqrt(s.RigK*s.RigK + s.SessionK*s.SessionK + s.ReadingK*s.ReadingK + s.ModelK*s.ModelK + s.CommonK*s.CommonK)
}

// OfSensor returns what a sensor on the panel is worth, K, without the step from it to
// the cells: a thermocouple's own error and that of its place, an infrared
// thermometer's emissivity, and what the sky mirrors in a shiny front. A sensor that is
// not named counts as a thermocouple.
//
// Error: none; it states one.
//
// Source: common practice, no source.
func OfSensor(sensor fieldtest.BackSensor) Shares {
	switch sensor {
	case fieldtest.InfraredBack:
		return Shares{RigK: 2, ReadingK: 2}
	case fieldtest.InfraredFront:
		return Shares{RigK: 2, SessionK: 3, ReadingK: 2}
	}
	return Shares{RigK: 1, ReadingK: 1}
}

// OfOpenCircuit returns what the panel as its own thermometer is worth, K, without what
// its voltage at standard conditions is known to: 1 K of one voltage, 1.7 K of the
// method (voltmeter, coefficient, rise with light).
//
// Error: none; it states one.
//
// Source: common practice, no source.
func OfOpenCircuit() Shares { return Shares{ReadingK: 1, ModelK: 1.7} }

// OfKing returns what King's model is worth with the air temperature known, K, without
// air and wind: 4 K together. On the ground the spread of its bounds takes the place of
// these (FlatRange.UK).
//
// Error: none; it states one.
//
// Source: common practice, no source; see King.
func OfKing(a fieldtest.Arrangement) Shares {
	if a == fieldtest.Flat {
		return Shares{}
	}
	return Shares{ModelK: 2, CommonK: 3.5}
}

// OfAssumedAir returns what any model is worth with the air not known, K: 12 K.
//
// Error: none; it states one.
//
// Source: common practice, no source.
func OfAssumedAir() Shares { return Shares{SessionK: 12} }

// Standard uncertainties of a model's inputs (common practice, no source).
const (
	AirUK           = 1.0 // K, of a measured air temperature
	WindUMS         = 1.0 // m/s, of a measured wind
	AssumedWindHalf = 1.5 // m/s, half-width of the assumed wind, rectangular
)

// WindU returns the standard uncertainty of the wind in m/s.
//
// Error: none; it states one.
//
// Source: common practice, no source; JCGM 100:2008, 4.3.7, for the assumed wind.
func WindU(measured bool) float64 {
	if measured {
		return WindUMS
	}
	return AssumedWindHalf / math.Sqrt(3)
}
