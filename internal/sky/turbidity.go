package sky

import (
	"math"

	"evensun/internal/fieldtest"
)

// A Turbidity is a range of the Linke turbidity, every value in it equally likely.
type Turbidity struct{ Low, High float64 }

// Middle returns the expectation, the point value of an estimate.
//
// Without unit. Error: the range itself. Source: definition.
func (t Turbidity) Middle() float64 { return (t.Low + t.High) / 2 }

// TurbidityOf returns the Linke turbidity to expect of a sky at a site:
//
//	clear 2 to 5, thin haze 3 to 6, haze 4 to 8, all else 2 to 7
//	tropical lowland (|latitude| < 23.5 deg, altitude < 1000 m): one more at both ends, clear 3 to 7
//
// Clouded skies get the range of an unknown one: the turbidity between clouds.
//
// Error: the range is the statement.
//
// Source: common practice, in line with worldwide maps (J. Remund et al., ISES 2003); no
// single source.
func TurbidityOf(sky fieldtest.SkyCondition, site *Site) Turbidity {
	tropics := math.Abs(site.LatitudeDeg) < 23.5 && site.AltitudeM < 1000
	t := Turbidity{2, 7}
	switch sky {
	case fieldtest.Clear:
		if tropics {
			return Turbidity{3, 7}
		}
		return Turbidity{2, 5}
	case fieldtest.ThinHaze:
		t = Turbidity{3, 6}
	case fieldtest.Haze:
		t = Turbidity{4, 8}
	}
	if tropics {
		t.Low, t.High = t.Low+1, t.High+1
	}
	return t
}

// TurbidityGiven returns the range about a turbidity that a tester states: 0.5 to
// both sides, so that its middle is what was stated (common practice, no source).
//
// linke is 1 to 10, without unit.
//
// Error: the range is the statement. Source: common practice, no source.
func TurbidityGiven(linke float64) Turbidity {
	return Turbidity{linke - 0.5, linke + 0.5}
}

// TurbidityFromAerosol returns the Linke turbidity of air with a known load:
//
//	TL = 3.91*exp(0.689*q)*aod + 0.376*ln(w) + 2 + 0.54*q - 0.5*q^2 + 0.16*q^3,  q = 1/pressureRatio
//
// aod550 is the aerosol optical depth at 550 nm (0 to 0.6), waterCM the column of
// water (0.2 to 10 cm), pressureRatio the pressure of the site over that of sea level
// (altitude 0 to 7000 m).
//
// Error: 0.12 as the source states it.
//
// Source: P. Ineichen, Solar Energy 82 (2008), pages 1095 to 1097.
func TurbidityFromAerosol(aod550, waterCM, pressureRatio float64) float64 {
	q := 1 / pressureRatio
	return 3.91*math.Exp(0.689*q)*aod550 + 0.376*math.Log(waterCM) + 2 + q*(0.54+q*(-0.5+q*0.16))
}
