package sky_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/reftest"
	"evensun/internal/sky"
	"evensun/internal/sun"
)

// A session in Denver in June: the whole chain from an instant to what counts.
func ExampleClearSkyPlane() {
	at := time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	place, site := sun.At(39.742, -104.99, 1600), sky.NewSite(39.742, 1600)
	s := sky.Scene{
		Site:         site,
		Sun:          sky.NewSun(sun.Position(at, place), sun.Extraterrestrial(sun.DayOfYear(at)), &site),
		Plane:        sky.NewPlane(30, 180, sky.CleanGlass),
		GroundAlbedo: sky.AlbedoOf("grass"),
	}
	turbidity := sky.TurbidityOf(fieldtest.Clear, &site)
	s.LinkeTurbidity = turbidity.Middle()
	l := sky.ClearSkyPlane(&s)
	fmt.Printf("%.0f W/m2 on the plane, %.0f effective, turbidity leaves %.0f\n", l.POAWM2(), l.EffectiveWM2, sky.TurbidityU(&s, turbidity))
	// Output: 1075 W/m2 on the plane, 1070 effective, turbidity leaves 24
}

func ExampleErbs() {
	site := sky.NewSite(45, 0)
	s := sky.SunAt(40, 180, sun.Extraterrestrial(100), &site)
	split := sky.Erbs(600, &s)
	fmt.Printf("beam %.0f, diffuse %.0f W/m2\n", split.DNIWM2, split.DHIWM2)
	// Output: beam 400, diffuse 293 W/m2
}

func ExampleMartinRuiz() {
	fmt.Printf("%.3f\n", sky.MartinRuiz(60, sky.CleanGlass))
	// Output: 0.958
}

// Two models that share nothing: the older knows neither season nor turbidity.
func TestClearSkyAgainstHaurwitz(t *testing.T) {
	t.Parallel()
	site := sky.NewSite(45, 0)
	for day := 1; day <= 365; day += 13 {
		for z := 0.0; z <= 75; z += 5 {
			s := sky.SunAt(z, 180, sun.Extraterrestrial(day), &site)
			bound := 0.08
			if z > 60 {
				bound = 0.18
			}
			got, want := sky.ClearSky(&site, &s, 3).GHIWM2, sky.Haurwitz(z)
			if math.Abs(got/want-1) > bound {
				t.Errorf("day %d, z %v: %v W/m2, Haurwitz %v: want within %v", day, z, got, want, bound)
			}
		}
	}
}

func TestModifiersAgainstEachOther(t *testing.T) {
	t.Parallel()
	for th := 0.0; th <= 75; th++ {
		if a, b := sky.MartinRuiz(th, sky.CleanGlass), sky.Physical(th, sky.GlassSheet()); math.Abs(a/b-1) > 0.04 {
			t.Errorf("at %v deg: MartinRuiz %v, Physical %v, want within 4 %%", th, a, b)
		}
	}
	for _, th := range []float64{90, 100, 180} {
		if a, b, c := sky.ASHRAE(th, 0.05), sky.MartinRuiz(th, 0.16), sky.Physical(th, sky.GlassSheet()); a != 0 || b != 0 || c != 0 {
			t.Errorf("modifiers at %v deg = %v, %v, %v, want 0", th, a, b, c)
		}
	}
}

func TestTurbidityOf(t *testing.T) {
	t.Parallel()
	temperate, tropics, andes := sky.NewSite(40, 100), sky.NewSite(10, 100), sky.NewSite(10, 3000)
	for _, c := range []struct {
		sky  fieldtest.SkyCondition
		site *sky.Site
		want sky.Turbidity
	}{
		{fieldtest.Clear, &temperate, sky.Turbidity{Low: 2, High: 5}}, {fieldtest.Clear, &tropics, sky.Turbidity{Low: 3, High: 7}},
		{fieldtest.Clear, &andes, sky.Turbidity{Low: 2, High: 5}},
		{fieldtest.ThinHaze, &temperate, sky.Turbidity{Low: 3, High: 6}}, {fieldtest.ThinHaze, &tropics, sky.Turbidity{Low: 4, High: 7}},
		{fieldtest.Haze, &temperate, sky.Turbidity{Low: 4, High: 8}}, {fieldtest.Haze, &tropics, sky.Turbidity{Low: 5, High: 9}},
		{fieldtest.UnknownSky, &temperate, sky.Turbidity{Low: 2, High: 7}}, {fieldtest.UnknownSky, &tropics, sky.Turbidity{Low: 3, High: 8}},
		{fieldtest.BrokenCloud, &temperate, sky.Turbidity{Low: 2, High: 7}}, {"", &temperate, sky.Turbidity{Low: 2, High: 7}},
	} {
		if got := sky.TurbidityOf(c.sky, c.site); got != c.want {
			t.Errorf("TurbidityOf(%q, %v deg %v m) = %v, want %v", c.sky, c.site.LatitudeDeg, c.site.AltitudeM, got, c.want)
		}
	}
	if got := sky.TurbidityOf(fieldtest.Clear, &temperate).Middle(); got != 3.5 {
		t.Errorf("Middle = %v, want 3.5", got)
	}
	for _, given := range []float64{1, 3} {
		if got := sky.TurbidityGiven(given); got != (sky.Turbidity{Low: given - 0.5, High: given + 0.5}) || got.Middle() != given {
			t.Errorf("TurbidityGiven(%v) = %v, want 0.5 to both sides", given, got)
		}
	}
}

func TestAlbedoOf(t *testing.T) {
	t.Parallel()
	for ground, want := range map[fieldtest.Ground]float64{"grass": 0.2, "dry_grass": 0.2, "sand": 0.35, "concrete": 0.3, "wood": 0.3, "asphalt": 0.12, "snow": 0.7, "water": 0.08, "": 0.2} {
		if got := sky.AlbedoOf(ground); got != want {
			t.Errorf("AlbedoOf(%q) = %v, want %v", ground, got, want)
		}
	}
}

func TestMostLenient(t *testing.T) {
	t.Parallel()
	at := time.Date(2024, 6, 20, 19, 0, 0, 0, time.UTC)
	facing, _ := scene(at, 39.742, -104.99, 1600, 30, 180, 2, 0.2)
	exact := sky.ClearSkyPlane(&facing).POAWM2()
	if got := sky.MostLenientWM2(&facing, 0); math.Abs(got-exact) > 1e-6 {
		t.Errorf("MostLenientWM2 of a known plane = %v, want that of clean air, %v", got, exact)
	}
	if got := sky.MostLenientWM2(&facing, 5); got <= exact || got > exact*1.04 {
		t.Errorf("MostLenientWM2 at 5 deg = %v, want a little above %v", got, exact)
	}
	away, _ := scene(at, 39.742, -104.99, 1600, 90, 0, 7, 0.2)
	if got, hazy := sky.MostLenientWM2(&away, 0), sky.ClearSkyPlane(&away).POAWM2(); math.Abs(got-hazy) > 1e-6 {
		t.Errorf("MostLenientWM2 behind the sun = %v, want that of haze, %v", got, hazy)
	}
}

// Below the horizon there is no clear sky; NaN stays NaN.
func TestNightAndNaN(t *testing.T) {
	t.Parallel()
	site, nan := sky.NewSite(45, 0), math.NaN()
	for _, z := range []float64{90.01, 95, 120, 180} {
		s := sky.SunAt(z, 180, 1361, &site)
		night := sky.Scene{Site: site, Sun: s, Plane: sky.NewPlane(30, 180, sky.CleanGlass), LinkeTurbidity: 3, GroundAlbedo: 0.2}
		if got := sky.ClearSkyPlane(&night).POAWM2(); math.Abs(got) > 1e-6 {
			t.Errorf("clear sky at zenith %v = %v W/m2, want 0", z, got)
		}
		if split := sky.Erbs(5, &s); !(split.DHIWM2 <= 5) || !(split.DNIWM2 < 1e17) {
			t.Errorf("Erbs at zenith %v = %+v, want diffuse light", z, split)
		}
		if b := sky.MeasuredBounds(&s); math.Abs(b.GHI.PossibleWM2-100) > 1e-6 {
			t.Errorf("bound at zenith %v = %v, want 100", z, b.GHI.PossibleWM2)
		}
	}
	s := sky.SunAt(nan, 180, 1361, &site)
	lost := sky.Scene{Site: site, Sun: s, Plane: sky.NewPlane(30, 180, sky.CleanGlass), LinkeTurbidity: 3}
	if got := sky.ClearSkyPlane(&lost).POAWM2(); !math.IsNaN(got) {
		t.Errorf("clear sky at zenith NaN = %v, want NaN", got)
	}
	if got := sky.MartinRuiz(nan, 0.16); !math.IsNaN(got) {
		t.Errorf("MartinRuiz(NaN) = %v, want NaN", got)
	}
	if got := sky.Physical(nan, sky.GlassSheet()); !math.IsNaN(got) {
		t.Errorf("Physical(NaN) = %v, want NaN", got)
	}
}

// Haze dims the sky, height brightens it, and GHI is what its parts make.
func FuzzClearSky(f *testing.F) {
	f.Add(30.0, 0.0, 3.0, 172)
	f.Add(85.0, 4500.0, 9.0, 1)
	f.Fuzz(func(t *testing.T, z, alt, linke float64, day int) {
		z, alt, linke = reftest.Fold(z, 0, 88), reftest.Fold(alt, 0, 4000), reftest.Fold(linke, 1, 9)
		extra := sun.Extraterrestrial(1 + int(math.Abs(float64(day%366))))
		site := sky.NewSite(45, alt)
		s := sky.SunAt(z, 180, extra, &site)
		h, hazier := sky.ClearSky(&site, &s, linke), sky.ClearSky(&site, &s, linke+1)
		if h.GHIWM2 < 0 || h.DNIWM2 < 0 || h.DHIWM2 < -1e-9 || h.GHIWM2 > extra {
			t.Errorf("z %v, %v m, TL %v: %+v", z, alt, linke, h)
		}
		if sum := h.DNIWM2*s.Up + h.DHIWM2; math.Abs(sum-h.GHIWM2) > 1e-9 {
			t.Errorf("beam and diffuse make %v W/m2 of %v", sum, h.GHIWM2)
		}
		if hazier.GHIWM2 >= h.GHIWM2 || hazier.DNIWM2 > h.DNIWM2 {
			t.Errorf("z %v, %v m: more haze brightens %+v to %+v", z, alt, h, hazier)
		}
		if b := sky.MeasuredBounds(&s); h.GHIWM2 > b.GHI.RareWM2 || h.DNIWM2 > b.DNI.PossibleWM2 {
			t.Errorf("z %v, %v m, TL %v: clear sky %+v above what can be measured, %+v", z, alt, linke, h, b)
		}
	})
}

// Parts are not negative, a flat plane sees the horizontal, and a plane and the sun
// may turn together.
func FuzzHayDavies(f *testing.F) {
	f.Add(30.0, 180.0, 40.0, 170.0, 3.0, 77.0)
	f.Add(90.0, 0.0, 10.0, 180.0, 8.0, -300.0)
	f.Fuzz(func(t *testing.T, tilt, azimuth, z, sunAzimuth, linke, turn float64) {
		tilt, azimuth, z = reftest.Fold(tilt, 0, 90), reftest.Fold(azimuth, 0, 360), reftest.Fold(z, 0, 88)
		sunAzimuth, linke, turn = reftest.Fold(sunAzimuth, 0, 360), reftest.Fold(linke, 1, 10), reftest.Fold(turn, -180, 180)
		site := sky.NewSite(45, 300)
		s := sky.SunAt(z, sunAzimuth, 1361, &site)
		p := sky.NewPlane(tilt, azimuth, sky.CleanGlass)
		h := sky.ClearSky(&site, &s, linke)
		o := sky.HayDavies(h, &s, &p, 0.2)
		if o.BeamWM2 < 0 || o.CircumsolarWM2 < 0 || o.SkyWM2 < 0 || o.GroundWM2 < -1e-12 {
			t.Errorf("a part below 0: %+v", o)
		}
		turned := sky.SunAt(z, sunAzimuth+turn, 1361, &site)
		with := sky.NewPlane(tilt, azimuth+turn, sky.CleanGlass)
		if off := sky.HayDavies(h, &turned, &with, 0.2).POAWM2() - o.POAWM2(); math.Abs(off) > 1e-6 {
			t.Errorf("turning sun and plane together adds %v W/m2", off)
		}
		level := sky.NewPlane(0, azimuth, sky.CleanGlass)
		if flat := sky.HayDavies(h, &s, &level, 0.2).POAWM2(); z < 88 && math.Abs(flat-h.GHIWM2) > 1e-6 {
			t.Errorf("a level plane gets %v W/m2 of %v", flat, h.GHIWM2)
		}
		near := sky.NewPlane(tilt, azimuth+1e-4, sky.CleanGlass)
		if step := math.Abs(sky.HayDavies(h, &s, &near, 0.2).POAWM2() - o.POAWM2()); step > 0.1 {
			t.Errorf("1e-4 deg of azimuth moves %v W/m2", step)
		}
		if d := sky.Perez(h, &s, &p); d < 0 || math.IsNaN(d) {
			t.Errorf("Perez = %v", d)
		}
	})
}

// A split gives back what it was given, and brighter is clearer.
func FuzzErbs(f *testing.F) {
	f.Add(600.0, 40.0)
	f.Add(-2.0, 89.0)
	f.Fuzz(func(t *testing.T, ghi, z float64) {
		ghi, z = reftest.Fold(ghi, 0, 1500), reftest.Fold(z, 0, 89)
		site := sky.NewSite(45, 0)
		s := sky.SunAt(z, 180, 1361, &site)
		split := sky.Erbs(ghi, &s)
		if split.DNIWM2 < 0 || split.DiffuseFraction < 0.16 || split.DiffuseFraction > 1 {
			t.Errorf("Erbs(%v, z %v) = %+v", ghi, z, split)
		}
		if sum := split.DNIWM2*s.Up + split.DHIWM2; math.Abs(sum-ghi) > 1e-9*(1+ghi) {
			t.Errorf("parts make %v W/m2 of %v", sum, ghi)
		}
		if brighter := sky.Erbs(ghi+1, &s); brighter.ClearnessIndex < split.ClearnessIndex {
			t.Errorf("1 W/m2 more lowers the clearness from %v to %v", split.ClearnessIndex, brighter.ClearnessIndex)
		}
	})
}

// Slanting light passes less, and no light passes more than straight light.
func FuzzModifiers(f *testing.F) {
	f.Add(60.0, 0.16)
	f.Fuzz(func(t *testing.T, th, ar float64) {
		th, ar = reftest.Fold(th, 0, 89), reftest.Fold(ar, 0.1, 0.25)
		for name, m := range map[string]func(float64) float64{
			"ASHRAE":     func(x float64) float64 { return sky.ASHRAE(x, 0.05) },
			"MartinRuiz": func(x float64) float64 { return sky.MartinRuiz(x, ar) },
			"Physical":   func(x float64) float64 { return sky.Physical(x, sky.GlassSheet()) },
		} {
			v, more := m(th), m(th+1)
			if v < 0 || v > 1+1e-12 || more > v+1e-9 {
				t.Errorf("%s(%v) = %v, a degree on %v", name, th, v, more)
			}
		}
		tilt := th
		if d, near := sky.MartinRuizDiffuse(tilt, ar), sky.MartinRuizDiffuse(tilt+1e-6, ar); math.Abs(d.Ground-near.Ground) > 1e-5 || d.Ground < 0 || d.Sky > 1 {
			t.Errorf("diffuse modifiers at %v deg: %+v, then %+v", tilt, d, near)
		}
	})
}
