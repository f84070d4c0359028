package sun_test

import (
	"fmt"
	"math"
	"math/rand"
	"testing"
	"time"

	"evensun/internal/reftest"
	"evensun/internal/sun"
)

const rad = math.Pi / 180

type sunCase struct {
	UTC       time.Time `json:"utc"`
	Latitude  float64   `json:"latitude_deg"`
	Longitude float64   `json:"longitude_deg"`
	Altitude  float64   `json:"altitude_m"`
	Pressure  float64   `json:"pressure_pa"`
	Air       float64   `json:"air_temperature_c"`
	DeltaT    float64   `json:"delta_t_s"`
}

func (c sunCase) site() sun.Site {
	return sun.Site{LatitudeDeg: c.Latitude, LongitudeDeg: c.Longitude, AltitudeM: c.Altitude, PressurePa: c.Pressure, AirC: c.Air, DeltaTS: c.DeltaT}
}

// ExamplePosition is the worked example of the report, table A5.1.
func ExamplePosition() {
	site := sun.Site{LatitudeDeg: 39.742476, LongitudeDeg: -105.1786, AltitudeM: 1830.14, PressurePa: 82000, AirC: 11, DeltaTS: 67}
	a := sun.Position(time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC), site)
	fmt.Printf("zenith %.6f, azimuth %.6f\n", a.ApparentZenithDeg, a.AzimuthDeg)
	// Output: zenith 50.111622, azimuth 194.340241
}

func TestPosition(t *testing.T) {
	t.Parallel()
	for _, c := range reftest.Cases[sunCase](t, "physics/sun.json") {
		full := sun.Position(c.In.UTC, c.In.site())
		track := sun.NewTrack(c.In.site(), c.In.UTC.Add(-5*time.Hour), c.In.UTC.Add(7*time.Hour))
		for name, got := range map[string]sun.Angles{"Position": full, "Track": track.At(c.In.UTC)} {
			t.Run(c.Name+"_"+name, func(t *testing.T) {
				checkAngles(t, c, got)
			})
		}
	}
}

func checkAngles(t *testing.T, c reftest.Case[sunCase], got sun.Angles) {
	t.Helper()
	c.Check(t, "zenith_deg", got.ZenithDeg)
	c.Check(t, "apparent_zenith_deg", got.ApparentZenithDeg)
	// The file's tolerance is the words 0.001/sin(zenith): compare along the sky.
	want := c.Out["azimuth_deg"].(float64)
	if off := math.Abs(math.Remainder(got.AzimuthDeg-want, 360)) * math.Sin(got.ZenithDeg*rad); off > 0.001 {
		t.Errorf("azimuth = %v deg, want %v within 0.001/sin(zenith) (%s)", got.AzimuthDeg, want, c.Source)
	}
}

func TestPublishedSteps(t *testing.T) {
	t.Parallel()
	c := reftest.Cases[sunCase](t, "physics/sun.json")[0]
	e := sun.Geocentric(c.In.UTC, c.In.DeltaT)
	h := sun.HourAngles(e, c.In.site())
	a := sun.Position(c.In.UTC, c.In.site())
	for _, s := range []struct {
		name       string
		got, tight float64 // tight: physics.md 1.2 where it is closer than the file
	}{
		{"julian_day", e.JulianDay, 4e-6}, // the file rounds it to 5 decimals
		{"heliocentric_longitude_deg", e.HeliocentricLongitudeDeg, 1e-9},
		{"heliocentric_latitude_deg", e.HeliocentricLatitudeDeg, 1e-9},
		{"earth_sun_distance_au", e.DistanceAU, 1e-9},
		{"nutation_longitude_deg", e.NutationLongitudeDeg, 1e-8},
		{"nutation_obliquity_deg", e.NutationObliquityDeg, 1e-8},
		{"obliquity_deg", e.ObliquityDeg, 1e-6},
		{"apparent_longitude_deg", e.ApparentLongitudeDeg, 1e-8},
		{"right_ascension_deg", e.RightAscensionDeg, 1e-6},
		{"declination_deg", e.DeclinationDeg, 1e-6},
		{"hour_angle_deg", h.HourAngleDeg, 1e-6},
		{"topocentric_hour_angle_deg", h.TopocentricHourAngleDeg, 1e-6},
		{"topocentric_declination_deg", h.TopocentricDeclinationDeg, 1e-6},
		{"zenith_deg", a.ZenithDeg, 1e-6},
		{"apparent_zenith_deg", a.ApparentZenithDeg, 1e-6},
		{"azimuth_deg", a.AzimuthDeg, 1e-6},
	} {
		want := c.Out[s.name].(float64)
		if !(math.Abs(s.got-want) <= s.tight) {
			t.Errorf("%s = %.10f, want %v within %v (%s)", s.name, s.got, want, s.tight, c.Source)
		}
	}
}

// The report counts days by the calendar (equation 4); we count from 1970.
func TestJulianDay(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		y, m, d, h int
		want       float64
	}{
		{2000, 1, 1, 12, 2451545.0}, {1999, 1, 1, 0, 2451179.5}, {1987, 1, 27, 0, 2446822.5},
		{1988, 6, 19, 12, 2447332.0}, {1900, 1, 1, 0, 2415020.5}, {1600, 12, 31, 0, 2305812.5},
	} {
		at := time.Date(c.y, time.Month(c.m), c.d, c.h, 0, 0, 0, time.UTC)
		if got := sun.Geocentric(at, 0).JulianDay; got != c.want {
			t.Errorf("Geocentric(%v).JulianDay = %v, want %v (NREL/TP-560-34302 table A4.1)", at, got, c.want)
		}
	}
}

// almanac is the low-precision algorithm of the Astronomical Almanac: J. J. Michalsky,
// Solar Energy 40 (1988) 227, errata 41 (1988) 113. It shares nothing with the
// package under test. It returns zenith and azimuth without refraction or parallax.
func almanac(t time.Time, latDeg, lonDeg float64) (zenithDeg, azimuthDeg float64) {
	n := t.Sub(time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)).Hours() / 24
	utHours := float64(t.Hour()) + float64(t.Minute())/60 + float64(t.Second())/3600
	l, g := 280.460+0.9856474*n, (357.528+0.9856003*n)*rad
	lambda := (l + 1.915*math.Sin(g) + 0.020*math.Sin(2*g)) * rad
	eps := (23.439 - 0.0000004*n) * rad
	alpha := math.Atan2(math.Cos(eps)*math.Sin(lambda), math.Cos(lambda))
	delta := math.Asin(math.Sin(eps) * math.Sin(lambda))
	gmst := 6.697375 + 0.0657098242*n + utHours
	h, lat := (15*gmst+lonDeg)*rad-alpha, latDeg*rad
	elevation := math.Asin(math.Sin(lat)*math.Sin(delta) + math.Cos(lat)*math.Cos(delta)*math.Cos(h))
	azimuth := math.Atan2(-math.Cos(delta)*math.Sin(h), math.Cos(lat)*math.Sin(delta)-math.Sin(lat)*math.Cos(delta)*math.Cos(h))
	return 90 - elevation/rad, math.Mod(azimuth/rad+360, 360)
}

func TestAlmanacItself(t *testing.T) {
	t.Parallel()
	z, a := almanac(time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC), 39.742476, -105.1786)
	if math.Abs(z-50.12717) > 1e-4 || math.Abs(a-194.33697) > 1e-4 {
		t.Errorf("almanac = %.5f, %.5f, want 50.12717, 194.33697", z, a)
	}
}

// greatCircleDeg is the angle between two directions.
func greatCircleDeg(z1, a1, z2, a2 float64) float64 {
	s1, c1 := math.Sincos(z1 * rad)
	s2, c2 := math.Sincos(z2 * rad)
	sh, ch := math.Sincos((a1 - a2) * rad)
	return math.Atan2(math.Hypot(s2*sh, s1*c2-c1*s2*ch), c1*c2+s1*s2*ch) / rad
}

func randomInstant(r *rand.Rand) time.Time {
	start := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	return start.Add(time.Duration(r.Int63n(50*365*86400)) * time.Second)
}

func randomSite(r *rand.Rand) sun.Site {
	lat := math.Asin(2*r.Float64()-1) / rad
	return sun.At(lat, 360*r.Float64()-180, 4000*r.Float64())
}

func TestAgainstAlmanac(t *testing.T) {
	t.Parallel()
	const seed = 20240620
	r := rand.New(rand.NewSource(seed))
	worst := 0.0
	for range 20000 {
		at, site := randomInstant(r), randomSite(r)
		got := sun.Position(at, site)
		z, a := almanac(at, site.LatitudeDeg, site.LongitudeDeg)
		off := greatCircleDeg(got.ZenithDeg, got.AzimuthDeg, z, a)
		worst = math.Max(worst, off)
		if !(off < 0.02) {
			t.Fatalf("seed %d: Position(%v, %+v) is %v deg from the almanac's, want below 0.02", seed, at, site, off)
		}
	}
	t.Logf("worst %.4f deg", worst)
}

func TestTrackAgainstPosition(t *testing.T) {
	t.Parallel()
	const seed = 7
	for _, c := range []struct {
		span  time.Duration
		bound float64
	}{{time.Hour, 1e-7}, {12 * time.Hour, 1e-6}, {sun.TrackSpan, 5e-6}, {40 * time.Hour, 1e-9}} {
		r := rand.New(rand.NewSource(seed))
		worst := 0.0
		for range 150 {
			from, site := randomInstant(r), randomSite(r)
			track := sun.NewTrack(site, from, from.Add(c.span))
			for k := range 13 {
				at := from.Add(c.span * time.Duration(k) / 12)
				got, want := track.At(at), sun.Position(at, site)
				worst = math.Max(worst, greatCircleDeg(got.ZenithDeg, got.AzimuthDeg, want.ZenithDeg, want.AzimuthDeg))
			}
		}
		t.Logf("%v: worst %.2e deg", c.span, worst)
		if !(worst <= c.bound) {
			t.Errorf("Track over %v: %v deg from Position, want within %v (seed %d)", c.span, worst, c.bound, seed)
		}
	}
}

func FuzzPosition(f *testing.F) {
	f.Add(int64(1718910000), 39.7, -105.0, 1600.0)
	f.Add(int64(0), 90.0, 0.0, 0.0)
	f.Add(int64(-86400*40000), -90.0, 180.0, 5000.0)
	f.Fuzz(func(t *testing.T, unix int64, lat, lon, alt float64) {
		at := time.Unix(unix%(200*366*86400), 0)
		lat, lon, alt = reftest.Fold(lat, -90, 90), reftest.Fold(lon, -180, 180), reftest.Fold(alt, 0, 5000)
		a := sun.Position(at, sun.At(lat, lon, alt))
		if a.ApparentZenithDeg > a.ZenithDeg || a.ApparentZenithDeg < a.ZenithDeg-0.7 {
			t.Errorf("refraction moves the zenith from %v to %v deg", a.ZenithDeg, a.ApparentZenithDeg)
		}
		if a.AzimuthDeg < 0 || a.AzimuthDeg >= 360 {
			t.Errorf("azimuth %v deg", a.AzimuthDeg)
		}
		if norm := math.Hypot(math.Hypot(a.East, a.North), a.Up); math.Abs(norm-1) > 1e-9 && math.Abs(lat) < 89.99 {
			t.Errorf("direction of length %v", norm)
		}
		z, az := almanac(at.UTC(), lat, lon)
		if off := greatCircleDeg(a.ZenithDeg, a.AzimuthDeg, z, az); off > 0.2 { // the almanac drifts outside 1950 to 2050
			t.Errorf("%v deg from the almanac's sun", off)
		}
		antipode := sun.Position(at, sun.At(-lat, math.Remainder(lon+180, 360), alt))
		if off := math.Abs(a.ZenithDeg + antipode.ZenithDeg - 180); off > 0.006 { // twice the parallax
			t.Errorf("zenith %v deg, at the antipode %v", a.ZenithDeg, antipode.ZenithDeg)
		}
	})
}

func TestAbsurdInput(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	at := time.Date(2025, 6, 1, 10, 0, 0, 0, time.UTC)
	if a := sun.Position(at, sun.At(nan, 0, 0)); !math.IsNaN(a.ZenithDeg) || !math.IsNaN(a.AzimuthDeg) {
		t.Errorf("Position at latitude NaN = %+v, want NaN", a)
	}
	if d := sun.DayOf(sun.At(10, nan, 0), at); d.Kind != sun.PolarNight {
		t.Errorf("DayOf at longitude NaN = %+v, want no sun", d)
	}
	if w := sun.GoodSun(sun.At(10, 10, 0), at, sun.Wish{MinElevationDeg: nan}); len(w) != 0 {
		t.Errorf("GoodSun above NaN deg = %v, want none", w)
	}
	zero := sun.NewTrack(sun.At(10, 10, 0), time.Time{}, time.Time{})
	if got, want := zero.At(at), sun.Position(at, sun.At(10, 10, 0)); got != want {
		t.Errorf("Track.At outside its span = %+v, want Position's %+v", got, want)
	}
}
