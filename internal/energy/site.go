package energy

import (
	"math"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

// A Site is where a day is spent. At fills it.
type Site struct {
	LatitudeDeg  float64 // north positive, -90 to 90
	LongitudeDeg float64 // east positive, -180 to 180
	AltitudeM    float64 // -400 to 4500
	Albedo       float64 // of the ground, 0 to 1
	Turbidity    sky.Turbidity
}

// At returns a site with the turbidity of a clear sky and the albedo of unknown ground.
func At(latitudeDeg, longitudeDeg, altitudeM float64) Site {
	place := sky.NewSite(latitudeDeg, altitudeM)
	return Site{
		LatitudeDeg: latitudeDeg, LongitudeDeg: longitudeDeg, AltitudeM: altitudeM,
		Albedo: sky.AlbedoOf(""), Turbidity: sky.TurbidityOf(fieldtest.Clear, &place),
	}
}

func (s *Site) observer() sun.Site { return sun.At(s.LatitudeDeg, s.LongitudeDeg, s.AltitudeM) }

// An Estimate is a number with its standard uncertainty, in the same unit.
type Estimate struct{ Value, U float64 }

// summer is 1 at midsummer of a hemisphere and -1 at midwinter, a month behind the sun
// as the air is.
func summer(latitudeDeg float64, date time.Time) float64 {
	season := math.Cos(2 * math.Pi * (float64(date.YearDay()) - 201) / 365.25) // 20 July
	if latitudeDeg < 0 {
		return -season
	}
	return season
}

// A zone is what the land at a latitude has on average.
type zone struct{ latitudeDeg, summer, winter float64 }

// clearnessZones are monthly means of the clearness index over land, from memory: no
// table was at hand.
func clearnessZones() []zone {
	return []zone{{0, 0.50, 0.50}, {15, 0.54, 0.58}, {30, 0.59, 0.56}, {40, 0.56, 0.48}, {50, 0.49, 0.36}, {60, 0.47, 0.34}, {90, 0.48, 0.40}}
}

// UsualClearness returns the light of an average day over that above the air, both on
// the horizontal, for a latitude (deg, north positive) and a season, interpolated
// between zones.
//
// Error: 0.10, one standard deviation, between places of one latitude: a cloudy coast
// in winter has 0.25, a desert in summer 0.75. From memory, no table was at hand; a map
// of the place is better.
func UsualClearness(latitudeDeg float64, date time.Time) Estimate {
	zones, at := clearnessZones(), math.Abs(latitudeDeg)
	i := 1
	for i < len(zones)-1 && zones[i].latitudeDeg < at {
		i++
	}
	a, b := zones[i-1], zones[i]
	w := (at - a.latitudeDeg) / (b.latitudeDeg - a.latitudeDeg)
	hot, cold := a.summer+w*(b.summer-a.summer), a.winter+w*(b.winter-a.winter)
	return Estimate{(hot+cold)/2 + summer(latitudeDeg, date)*(hot-cold)/2, 0.10}
}

// GivenClearness is an index that the caller knows, as from a map: months of one name
// differ by 0.04 from year to year (common practice, no source).
func GivenClearness(index float64) Estimate { return Estimate{index, 0.04} }

// UsualAir returns the air's temperature in C during the day for a latitude (deg, north
// positive), an altitude (m) and a season: 27 C at the equator, less
// 0.0077 K for each square degree of latitude and 6.5 K for each 1000 m, a quarter of a
// kelvin for each degree up or down by season, and 4 K for the day.
//
// Error: 6 K, one standard deviation; it moves the yield by 2 %. Common practice, no
// source but the lapse rate of ISO 2533.
func UsualAir(latitudeDeg, altitudeM float64, date time.Time) Estimate {
	l := min(70, math.Abs(latitudeDeg)) // near the poles it is no colder than there, by day in the light season
	return Estimate{27 - 0.0077*l*l - 0.0065*altitudeM + 0.25*l*summer(latitudeDeg, date) + 4, 6}
}
