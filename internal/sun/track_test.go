package sun_test

import (
	"fmt"
	"testing"
	"time"

	"evensun/internal/reftest"
	"evensun/internal/sun"
)

func ExampleTrack() {
	from := time.Date(2024, 6, 20, 18, 30, 0, 0, time.UTC)
	track := sun.NewTrack(sun.At(39.742, -104.99, 1600), from, from.Add(time.Hour))
	for minute := 0; minute <= 60; minute += 30 {
		a := track.At(from.Add(time.Duration(minute) * time.Minute))
		fmt.Printf("%d min: height %.2f, azimuth %.2f\n", minute, a.ElevationDeg(), a.AzimuthDeg)
	}
	// Output:
	// 0 min: height 72.37, azimuth 155.29
	// 30 min: height 73.70, azimuth 178.59
	// 60 min: height 72.64, azimuth 202.22
}

func ExampleDayOf() {
	d := sun.DayOf(sun.At(39.742, -104.99, 1600), time.Date(2024, 6, 20, 0, 0, 0, 0, time.UTC))
	const clock = "2006-01-02 15:04:05"
	fmt.Println(d.Kind, d.Rise.Format(clock), d.Noon.Format(clock), d.Set.Format(clock))
	// Output: ordinary 2024-06-20 11:32:04 2024-06-20 19:01:43 2024-06-21 02:31:22
}

// The cached irradiance of each UTC day is the function's, over midnight and outside.
func TestTrackExtraterrestrial(t *testing.T) {
	t.Parallel()
	from := time.Date(2024, 12, 31, 13, 0, 0, 0, time.UTC)
	track := sun.NewTrack(sun.At(-33, 151, 0), from, from.Add(12*time.Hour))
	for h := -48; h <= 96; h++ {
		at := from.Add(time.Duration(h) * time.Hour)
		if got, want := track.ExtraterrestrialWM2(at), sun.Extraterrestrial(sun.DayOfYear(at)); got != want {
			t.Errorf("ExtraterrestrialWM2(%v) = %v, want %v", at, got, want)
		}
	}
	early := sun.NewTrack(sun.At(0, 0, 0), time.Unix(-86401, 0), time.Unix(-10, 0))
	for _, at := range []time.Time{time.Unix(-86401, 0), time.Unix(-86400, 0), time.Unix(-1, 0), time.Unix(0, 0)} {
		if got, want := early.ExtraterrestrialWM2(at), sun.Extraterrestrial(sun.DayOfYear(at)); got != want {
			t.Errorf("ExtraterrestrialWM2(%v) = %v, want %v", at.UTC(), got, want)
		}
	}
}

// The zone of an instant and the order of the ends must not matter.
func TestTrackOrderAndZone(t *testing.T) {
	t.Parallel()
	from := time.Date(2025, 3, 20, 22, 0, 0, 0, time.UTC)
	to, at := from.Add(4*time.Hour), from.Add(90*time.Minute)
	zone := time.FixedZone("plus eleven", 11*3600)
	site := sun.At(-33.9, 151.2, 20)
	one, other := sun.NewTrack(site, from, to), sun.NewTrack(site, to.In(zone), from.In(zone))
	if a, b := one.At(at), other.At(at.In(zone)); a != b {
		t.Errorf("At = %+v from one end, %+v from the other", a, b)
	}
	if a, b := one.ExtraterrestrialWM2(to), other.ExtraterrestrialWM2(to.In(zone)); a != b {
		t.Errorf("ExtraterrestrialWM2 = %v in one zone, %v in another", a, b)
	}
}

func FuzzTrack(f *testing.F) {
	f.Add(int64(1718910000), 3600.0, 0.5, 39.7, -105.0)
	f.Add(int64(1742428800), 90000.0, 1.0, -89.9, 179.9) // over 0 h of right ascension
	f.Fuzz(func(t *testing.T, unix int64, seconds, share, lat, lon float64) {
		site := sun.At(reftest.Fold(lat, -90, 90), reftest.Fold(lon, -180, 180), 0)
		from := time.Unix(unix%(200*366*86400), 0)
		span := time.Duration(reftest.Fold(seconds, 0, sun.TrackSpan.Seconds()) * float64(time.Second))
		at := from.Add(time.Duration(float64(span) * reftest.Fold(share, 0, 1)))
		track := sun.NewTrack(site, from, from.Add(span))
		got, want := track.At(at), sun.Position(at, site)
		if off := greatCircleDeg(got.ZenithDeg, got.AzimuthDeg, want.ZenithDeg, want.AzimuthDeg); !(off < 5e-6) {
			t.Errorf("Track at %v of %v is %v deg from Position", at.Sub(from), span, off)
		}
	})
}
