package sun_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"evensun/internal/reftest"
	"evensun/internal/sun"
)

// TestFarYears compares with the report's equations 15 to 24 and 28, written out as
// printed there, at the ends of the years for which it holds. There the squares and cubes
// of time show, which move nothing in our day.
func TestFarYears(t *testing.T) {
	t.Parallel()
	for _, year := range []int{-2000, 0, 1500, 3000, 6000} {
		at := time.Date(year, 5, 6, 7, 8, 9, 0, time.UTC)
		e := sun.Geocentric(at, 0)
		c := (e.JulianDay - 2451545) / 36525
		longitude, obliquity := printedNutation(t, c)
		for name, d := range map[string][3]float64{
			"nutation in longitude": {e.NutationLongitudeDeg, longitude, 1e-11},
			"nutation in obliquity": {e.NutationObliquityDeg, obliquity, 1e-11},
			"mean obliquity":        {e.ObliquityDeg - e.NutationObliquityDeg, printedObliquity(c / 100), 1e-11},
			"sidereal time":         {e.SiderealDeg, printedSidereal(e, c), 2e-6}, // of 8e8 deg
		} {
			if off := math.Abs(math.Remainder(d[0]-d[1], 360)); off > d[2] {
				t.Errorf("%d: %s = %.12f deg, want %.12f", year, name, d[0], d[1])
			}
		}
	}
}

func printedNutation(t *testing.T, c float64) (longitudeDeg, obliquityDeg float64) {
	t.Helper()
	c2, c3 := c*c, c*c*c
	x := [5]float64{
		297.85036 + 445267.111480*c - 0.0019142*c2 + c3/189474,
		357.52772 + 35999.050340*c - 0.0001603*c2 - c3/300000,
		134.96298 + 477198.867398*c + 0.0086972*c2 + c3/56250,
		93.27191 + 483202.017538*c - 0.0036825*c2 + c3/327270,
		125.04452 - 1934.136261*c + 0.0020708*c2 + c3/450000,
	}
	for _, row := range nutationRows(t) {
		sum := 0.0
		for j := range x {
			sum += row[j] * x[j] * rad
		}
		longitudeDeg += (row[5] + row[6]*c) * math.Sin(sum) / 36000000
		obliquityDeg += (row[7] + row[8]*c) * math.Cos(sum) / 36000000
	}
	return longitudeDeg, obliquityDeg
}

// nutationRows reads table A4.3: five multiples, a, b, c, d.
func nutationRows(t *testing.T) [][9]float64 {
	t.Helper()
	f, err := os.Open(reftest.Path("physics/spa-terms.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', -1
	records, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows [][9]float64
	for _, record := range records {
		if record[0] != "N" {
			continue
		}
		var row [9]float64
		for i := range row {
			if row[i], err = strconv.ParseFloat(record[i+2], 64); err != nil {
				t.Fatal(err)
			}
		}
		rows = append(rows, row)
	}
	if len(rows) != 63 {
		t.Fatalf("%d terms of nutation, want 63", len(rows))
	}
	return rows
}

func printedObliquity(u float64) float64 {
	return (84381.448 - 4680.93*u - 1.55*math.Pow(u, 2) + 1999.25*math.Pow(u, 3) - 51.38*math.Pow(u, 4) - 249.67*math.Pow(u, 5) -
		39.05*math.Pow(u, 6) + 7.12*math.Pow(u, 7) + 27.87*math.Pow(u, 8) + 5.79*math.Pow(u, 9) + 2.45*math.Pow(u, 10)) / 3600
}

func printedSidereal(e sun.Ephemeris, c float64) float64 {
	mean := 280.46061837 + 360.98564736629*(e.JulianDay-2451545) + 0.000387933*c*c - c*c*c/38710000
	return mean + e.NutationLongitudeDeg*math.Cos(e.ObliquityDeg*rad)
}

// Spencer's series as printed, with the second harmonic as it stands there.
func TestExtraterrestrialAsPrinted(t *testing.T) {
	t.Parallel()
	for day := 1; day <= 366; day++ {
		g := 2 * math.Pi * (float64(day) - 1) / 365
		want := 1361 * (1.000110 + 0.034221*math.Cos(g) + 0.001280*math.Sin(g) + 0.000719*math.Cos(2*g) + 0.000077*math.Sin(2*g))
		if got := sun.Extraterrestrial(day); math.Abs(got-want) > 1e-9 {
			t.Errorf("Extraterrestrial(%d) = %v W/m2, want %v", day, got, want)
		}
	}
}

// Beyond the horizon the air mass stays that of the horizon.
func TestAirMassEndsAtTheHorizon(t *testing.T) {
	t.Parallel()
	want := 1 / (0.50572 * math.Pow(6.07995, -1.6364)) // 37.92
	for _, zenith := range []float64{90, 90.5, 95, 180} {
		if got := sun.AirMass(zenith); math.Abs(got-want) > 1e-9 {
			t.Errorf("AirMass(%v) = %v, want %v", zenith, got, want)
		}
	}
	if got := sun.AirMass(89.9); got >= want-0.1 {
		t.Errorf("AirMass(89.9) = %v, want less than %v", got, want)
	}
}

// The difference between the clocks was observed at 69.1 to 69.4 s (IERS, 2017 to 2026).
func TestAtFillsTheAir(t *testing.T) {
	t.Parallel()
	s := sun.At(1, 2, 1500)
	if s.DeltaTS < 69.1 || s.DeltaTS > 69.4 {
		t.Errorf("TT - UT1 = %v s, want 69.1 to 69.4", s.DeltaTS)
	}
	if s.AirC != 12 || s.PressurePa != sun.StandardPressure(1500) {
		t.Errorf("At = %+v, want air of 12 C and the standard pressure", s)
	}
}

// From twice the earth's radius the sun is displaced twice as far.
func TestParallaxGrowsWithHeight(t *testing.T) {
	t.Parallel()
	at := time.Date(2025, 3, 20, 6, 0, 0, 0, time.UTC) // the sun low over the equator at 0 deg
	ground, high := sun.Site{PressurePa: 1, DeltaTS: 69}, sun.Site{PressurePa: 1, DeltaTS: 69, AltitudeM: 6378140}
	e := sun.Geocentric(at, 69)
	hour := (e.SiderealDeg - e.RightAscensionDeg) * rad
	centreDeg := math.Acos(math.Cos(e.DeclinationDeg*rad)*math.Cos(hour)) / rad
	one, two := sun.Position(at, ground).ZenithDeg-centreDeg, sun.Position(at, high).ZenithDeg-centreDeg
	want := 8.794 / 3600 / e.DistanceAU * math.Sin(centreDeg*rad)
	if math.Abs(one-want) > 1e-6 || math.Abs(two-2*want) > 1e-6 {
		t.Errorf("parallax %v and %v deg, want %v and twice that", one, two, want)
	}
}

// The unit vector and the angles tell one direction.
func TestVectorAndAngles(t *testing.T) {
	t.Parallel()
	site := sun.At(47, 8, 400)
	for hour := range 24 {
		a := sun.Position(time.Date(2025, 8, 3, hour, 0, 0, 0, time.UTC), site)
		sinZ, cosZ := math.Sincos(a.ApparentZenithDeg * rad)
		sinA, cosA := math.Sincos(a.AzimuthDeg * rad)
		if math.Abs(a.East-sinZ*sinA) > 1e-12 || math.Abs(a.North-sinZ*cosA) > 1e-12 || math.Abs(a.Up-cosZ) > 1e-12 {
			t.Errorf("%d h: %+v, want the vector of its own angles", hour, a)
		}
	}
}

// Outside its span, and beyond TrackSpan, a track is the full algorithm to the last bit.
func TestTrackOutside(t *testing.T) {
	t.Parallel()
	site, from := sun.At(47, 8, 400), time.Date(2025, 8, 3, 6, 0, 0, 0, time.UTC)
	short := sun.NewTrack(site, from, from.Add(time.Hour))
	for _, at := range []time.Time{from.Add(-1), from.Add(-time.Hour), from.Add(time.Hour + 1), from.Add(9 * time.Hour)} {
		if got, want := short.At(at), sun.Position(at, site); got != want {
			t.Errorf("At(%v) = %+v, want %+v", at, got, want)
		}
	}
	long := sun.NewTrack(site, from, from.Add(25*time.Hour+1))
	for h := range 25 {
		at := from.Add(time.Duration(h)*time.Hour + 7*time.Minute)
		if got, want := long.At(at), sun.Position(at, site); got != want {
			t.Errorf("At(%v) = %+v, want %+v", at, got, want)
		}
	}
}

// Through a year beyond the polar circle a day is called polar when the full algorithm
// keeps the sun on one side of the horizon.
func TestPolarDaysAgainstPosition(t *testing.T) {
	t.Parallel()
	site := sun.At(69.6492, 18.9553, 0)
	kinds := map[sun.DayKind]int{}
	for n := range 365 {
		d := sun.DayOf(site, day(2025, 1, 1).AddDate(0, 0, n))
		lowest, highest := 90.0, -90.0
		for at := d.Noon.Add(-12 * time.Hour); !at.After(d.Noon.Add(12 * time.Hour)); at = at.Add(10 * time.Minute) {
			e := 90 - sun.Position(at, site).ZenithDeg - sun.RiseElevationDeg
			lowest, highest = min(lowest, e), max(highest, e)
		}
		want := sun.OrdinaryDay
		switch {
		case math.Abs(lowest) < 0.02 || math.Abs(highest) < 0.02:
			continue // it grazes the horizon
		case lowest > 0:
			want = sun.PolarDay
		case highest < 0:
			want = sun.PolarNight
		}
		if kinds[d.Kind]++; d.Kind != want {
			t.Errorf("%v: %v, want %v: the sun is between %v and %v deg over the horizon", d.Noon, d.Kind, want, lowest, highest)
		}
	}
	if kinds[sun.PolarDay] < 60 || kinds[sun.PolarNight] < 40 || kinds[sun.OrdinaryDay] < 200 {
		t.Errorf("kinds of days %v, want those of 69.6 deg north", kinds)
	}
}

// At the edges of a plane's window the sun is at the wished height or incidence.
func TestGoodSunPlaneEdges(t *testing.T) {
	t.Parallel()
	site := sun.At(45, 0, 0)
	wish := sun.Wish{MinElevationDeg: 15, MaxIncidenceDeg: 50, TiltDeg: 40, AzimuthDeg: 130}
	w := sun.GoodSun(site, day(2025, 5, 1), wish)
	if len(w) != 1 {
		t.Fatalf("GoodSun = %v, want one window", w)
	}
	incidence := func(at time.Time) float64 {
		a := sun.Position(at, site)
		s, c := math.Sincos(40 * rad)
		return math.Acos(a.Up*c+s*(a.East*math.Sin(130*rad)+a.North*math.Cos(130*rad))) / rad
	}
	if got := incidence(w[0].To); math.Abs(got-50) > 1e-4 {
		t.Errorf("the window ends at an incidence of %v deg, want 50", got)
	}
	height := sun.Position(w[0].From, site).ElevationDeg()
	if begin := incidence(w[0].From); math.Abs(begin-50) > 1e-4 && math.Abs(height-15) > 1e-4 {
		t.Errorf("the window begins at an incidence of %v and a height of %v deg", begin, height)
	}
}

// In the polar day a low wish holds for the whole solar day: 24 hours about noon.
func TestGoodSunWholeDay(t *testing.T) {
	t.Parallel()
	site := sun.At(80, 30, 0)
	w := sun.GoodSun(site, day(2025, 6, 21), sun.Wish{MinElevationDeg: 5})
	noon := sun.DayOf(site, day(2025, 6, 21)).Noon
	if len(w) != 1 || !w[0].From.Equal(noon.Add(-12*time.Hour)) || !w[0].To.Equal(noon.Add(12*time.Hour)) {
		t.Errorf("GoodSun = %v, want 12 hours to both sides of %v", w, noon)
	}
}

// No window of more than five minutes is missed, wherever it falls.
func TestGoodSunFindsShortWindows(t *testing.T) {
	t.Parallel()
	site := sun.At(40, 0, 0)
	noon := sun.DayOf(site, day(2025, 3, 20)).Noon
	for k := range 20 {
		at := noon.Add(time.Duration(k*107) * time.Second)
		a := sun.Position(at, site)
		// At the equinox the sun moves 15 deg an hour: 0.66 deg to both sides are 5.3 min.
		wish := sun.Wish{MinElevationDeg: 20, MaxIncidenceDeg: 0.66, TiltDeg: a.ApparentZenithDeg, AzimuthDeg: a.AzimuthDeg}
		if w := sun.GoodSun(site, day(2025, 3, 20), wish); len(w) != 1 {
			t.Errorf("a plane that faces the sun at %v: windows %v, want one", at, w)
		}
	}
}
