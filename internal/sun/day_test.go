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

func ExampleGoodSun() {
	denver := sun.At(39.742, -104.99, 1600)
	date := time.Date(2024, 6, 20, 0, 0, 0, 0, time.UTC)
	for _, w := range sun.GoodSun(denver, date, sun.Wish{MinElevationDeg: sun.GoodElevationDeg}) {
		fmt.Println(w.From.Format("2006-01-02 15:04"), "to", w.To.Format("2006-01-02 15:04"))
	}
	// Output: 2024-06-20 13:30 to 2024-06-21 00:33
}

func day(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// At rise, noon and set the full algorithm must agree that it is so.
func TestDayOfAgainstPosition(t *testing.T) {
	t.Parallel()
	const seed = 11
	r := rand.New(rand.NewSource(seed))
	for range 60 {
		site, date := randomSite(r), randomInstant(r)
		site.LatitudeDeg *= 60.0 / 90
		d := sun.DayOf(site, date)
		if d.Kind != sun.OrdinaryDay {
			t.Fatalf("seed %d: DayOf(%+v, %v) = %v between the polar circles", seed, site, date, d.Kind)
		}
		for name, at := range map[string]time.Time{"rise": d.Rise, "set": d.Set} {
			if e := 90 - sun.Position(at, site).ZenithDeg; math.Abs(e-sun.RiseElevationDeg) > 1e-5 {
				t.Errorf("%s of %v at %v: height %v deg, want %v", name, date, at, e, sun.RiseElevationDeg)
			}
		}
		noon := sun.HourAngles(sun.Geocentric(d.Noon, site.DeltaTS), site).HourAngleDeg
		if math.Abs(math.Remainder(noon, 360)) > 1e-5 {
			t.Errorf("noon of %v at %v: hour angle %v deg, want 0", date, d.Noon, noon)
		}
		mean := day(date.Year(), date.Month(), date.Day()).Add(time.Duration((12 - site.LongitudeDeg/15) * float64(time.Hour)))
		if off := d.Noon.Sub(mean).Abs(); off > 17*time.Minute {
			t.Errorf("noon of %v is %v from mean noon, want within the equation of time", date, off)
		}
	}
}

func TestDayKinds(t *testing.T) {
	t.Parallel()
	tromso := sun.At(69.6492, 18.9553, 0)
	for _, c := range []struct {
		date time.Time
		want sun.DayKind
	}{
		{day(2024, 6, 21), sun.PolarDay}, {day(2024, 12, 21), sun.PolarNight}, {day(2024, 3, 20), sun.OrdinaryDay},
	} {
		d := sun.DayOf(tromso, c.date)
		if d.Kind != c.want || d.Rise.IsZero() != (c.want != sun.OrdinaryDay) || d.Set.IsZero() != (c.want != sun.OrdinaryDay) {
			t.Errorf("DayOf(%v) = %+v, want %v with rise and set on ordinary days only", c.date, d, c.want)
		}
	}
	if w := sun.GoodSun(tromso, day(2024, 12, 21), sun.Wish{MinElevationDeg: 20}); len(w) != 0 {
		t.Errorf("GoodSun in the polar night = %v, want none", w)
	}
}

// A steep plane facing north at 45 N sees the June sun twice, early and late.
func TestGoodSunTwoWindows(t *testing.T) {
	t.Parallel()
	site := sun.At(45, 0, 0)
	wish := sun.Wish{MinElevationDeg: 5, MaxIncidenceDeg: 75, TiltDeg: 80, AzimuthDeg: 0}
	w := sun.GoodSun(site, day(2025, 6, 21), wish)
	if len(w) != 2 || !w[0].To.Before(w[1].From) {
		t.Fatalf("GoodSun = %v, want a morning and an evening", w)
	}
}

func FuzzGoodSun(f *testing.F) {
	f.Add(45.0, 10.0, 30.0, 180.0, 60.0, int64(1718910000))
	f.Add(-70.0, 170.0, 90.0, 0.0, 20.0, int64(1703100000))
	f.Fuzz(func(t *testing.T, lat, lon, tilt, azimuth, incidence float64, unix int64) {
		site := sun.At(reftest.Fold(lat, -90, 90), reftest.Fold(lon, -180, 180), 0)
		wish := sun.Wish{
			MinElevationDeg: 20, MaxIncidenceDeg: reftest.Fold(incidence, 5, 90),
			TiltDeg: reftest.Fold(tilt, 0, 90), AzimuthDeg: reftest.Fold(azimuth, 0, 360),
		}
		date := time.Unix(unix%(100*366*86400), 0)
		free := sun.GoodSun(site, date, sun.Wish{MinElevationDeg: 20})
		for _, w := range sun.GoodSun(site, date, wish) {
			if !within(w, free) {
				t.Errorf("window %v of the plane is not inside those of the sun alone, %v", w, free)
			}
			middle := sun.Position(w.From.Add(w.To.Sub(w.From)/2), site)
			if middle.ElevationDeg() < 19.9 {
				t.Errorf("sun at %v deg inside a window above 20", middle.ElevationDeg())
			}
		}
	})
}

// At the edges of a window the full algorithm sees the sun at the wished height.
func TestGoodSunEdges(t *testing.T) {
	t.Parallel()
	site := sun.At(39.742, -104.99, 1600)
	w := sun.GoodSun(site, day(2024, 6, 20), sun.Wish{MinElevationDeg: 20})
	if len(w) != 1 {
		t.Fatalf("GoodSun = %v, want one window", w)
	}
	for _, at := range []time.Time{w[0].From, w[0].To} {
		if got := sun.Position(at, site).ElevationDeg(); math.Abs(got-20) > 1e-5 {
			t.Errorf("sun at %v deg at the edge %v, want 20", got, at)
		}
	}
}

func within(w sun.Window, all []sun.Window) bool {
	for _, a := range all {
		if !w.From.Before(a.From.Add(-time.Second)) && !w.To.After(a.To.Add(time.Second)) {
			return true
		}
	}
	return false
}
