package sky_test

import (
	"encoding/csv"
	"math"
	"os"
	"sort"
	"strconv"
	"testing"
	"time"

	"evensun/internal/reftest"
	"evensun/internal/sky"
)

// A station is where a measured file was made and the plane of its POA.
type station struct {
	lat, lon, alt, tilt, azimuth float64
}

// A row is one minute and its scene under clean air, turbidity 2.
type row struct {
	day                string
	scene              sky.Scene
	ghi, dni, dhi, poa float64
}

// measuredRows reads the minutes with the apparent sun below a zenith.
func measuredRows(t *testing.T, name string, st station, zenithDeg float64) []row {
	t.Helper()
	f, err := os.Open(reftest.Measured(t, name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, head := range all[0] {
		column[head] = i
	}
	var rows []row
	for _, fields := range all[1:] {
		value := func(name string) float64 {
			i, ok := column[name]
			if !ok {
				return math.NaN()
			}
			v, err := strconv.ParseFloat(fields[i], 64)
			if err != nil {
				return math.NaN()
			}
			return v
		}
		at, err := time.Parse(time.RFC3339, fields[column["time_utc"]])
		if err != nil {
			t.Fatal(err)
		}
		s, a := scene(at, st.lat, st.lon, st.alt, st.tilt, st.azimuth, 2, 0.2)
		if a.ApparentZenithDeg < zenithDeg {
			rows = append(rows, row{at.Format("2006-01-02"), s, value("ghi_w_m2"), value("dni_w_m2"), value("dhi_w_m2"), value("poa_w_m2")})
		}
	}
	return rows
}

// stats returns mean, standard deviation, root mean square and median.
func stats(x []float64) (mean, sd, rms, median float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
		rms += v * v / n
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / (n - 1)
	}
	sorted := append([]float64(nil), x...)
	sort.Float64s(sorted)
	return mean, math.Sqrt(sd), math.Sqrt(rms), sorted[len(sorted)/2]
}

// each maps rows to numbers.
func each(rows []row, f func(row) float64) []float64 {
	var x []float64
	for _, r := range rows {
		x = append(x, f(r))
	}
	return x
}

func near(t *testing.T, name string, got, want, within float64) {
	t.Helper()
	t.Logf("%s %.3f", name, got)
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s = %v, want %v within %v", name, got, want, within)
	}
}

func clearAt(r row, linke float64) sky.Horizontal {
	return sky.ClearSky(&r.scene.Site, &r.scene.Sun, linke)
}

// A clear day: three instruments, one geometry. Their sum closes only where the sun's
// place is right, and turbidity 2.5 makes all three at once.
func TestMeasuredClearDay(t *testing.T) {
	t.Parallel()
	rows := measuredRows(t, "irradiance_5min_site_a.csv", station{32.22969, -110.95534, 786, 0, 0}, 70)
	if len(rows) != 94 {
		t.Fatalf("%d rows with the sun above 20 deg, want 94", len(rows))
	}
	mean, sd, _, _ := stats(each(rows, func(r row) float64 { return r.ghi - r.dni*r.scene.Sun.Up - r.dhi }))
	near(t, "closure, W/m2", mean, -2.9, 0.3)
	near(t, "closure sd, W/m2", sd, 3.8, 0.3)
	for _, c := range []struct{ linke, ghi, dni, dhi float64 }{{2, 0.991, 0.960, 1.41}, {2.5, 1.014, 1.018, 1.07}} {
		_, _, _, ghi := stats(each(rows, func(r row) float64 { return r.ghi / clearAt(r, c.linke).GHIWM2 }))
		_, _, _, dni := stats(each(rows, func(r row) float64 { return r.dni / clearAt(r, c.linke).DNIWM2 }))
		_, _, _, dhi := stats(each(rows, func(r row) float64 { return r.dhi / clearAt(r, c.linke).DHIWM2 }))
		near(t, "GHI over clear sky", ghi, c.ghi, 0.005)
		near(t, "DNI over clear sky", dni, c.dni, 0.005)
		near(t, "DHI over clear sky", dhi, c.dhi, 0.02)
	}
	fraction, _, _, _ := stats(each(rows, func(r row) float64 { return sky.Erbs(r.ghi, &r.scene.Sun).DiffuseFraction - r.dhi/r.ghi }))
	dni, _, _, _ := stats(each(rows, func(r row) float64 { return sky.Erbs(r.ghi, &r.scene.Sun).DNIWM2 - r.dni }))
	near(t, "Erbs diffuse fraction error", fraction, 0.073, 0.005)
	near(t, "Erbs DNI bias, W/m2", dni, -83, 3)
	for _, r := range rows {
		if b := sky.MeasuredBounds(&r.scene.Sun); r.ghi > b.GHI.RareWM2 || r.dni > b.DNI.RareWM2 || r.dhi > b.DHI.RareWM2 {
			t.Errorf("measured %v, %v, %v above the bounds %+v", r.ghi, r.dni, r.dhi, b)
		}
	}
}

// Two clear days over snow with a meter in a plane of 40 deg.
func TestMeasuredTiltedPlane(t *testing.T) {
	t.Parallel()
	rows := measuredRows(t, "irradiance_5min_tilted.csv", station{39.7407, -105.1686, 1790, 40, 180}, 75)
	for _, c := range []struct {
		day                                    string
		clear                                  float64
		hd, hdRMS, iso, isoRMS, perez, perezRM float64
	}{
		{"2022-01-02", 0.984, 21, 22, -35, 36, 8, 10},
		{"2022-01-04", 1.008, 16, 26, -54, 55, 0, 9},
	} {
		var day []row
		for _, r := range rows {
			if r.day == c.day {
				day = append(day, r)
			}
		}
		if len(day) != 71 {
			t.Fatalf("%s: %d rows with the sun above 15 deg, want 71", c.day, len(day))
		}
		_, _, _, clear := stats(each(day, func(r row) float64 { return r.poa / sky.ClearSkyPlane(&r.scene).POAWM2() }))
		near(t, c.day+" POA over clear sky", clear, c.clear, 0.005)
		for name, m := range map[string]struct {
			diffuse   func(sky.Horizontal, *row) float64
			bias, rms float64
		}{
			"Hay-Davies": {func(h sky.Horizontal, r *row) float64 {
				return sky.HayDavies(h, &r.scene.Sun, &r.scene.Plane, 0.2).SkyDiffuseWM2()
			}, c.hd, c.hdRMS},
			"isotropic": {func(h sky.Horizontal, r *row) float64 { return sky.Isotropic(h.DHIWM2, &r.scene.Plane) }, c.iso, c.isoRMS},
			"Perez":     {func(h sky.Horizontal, r *row) float64 { return sky.Perez(h, &r.scene.Sun, &r.scene.Plane) }, c.perez, c.perezRM},
		} {
			bias, _, rms, _ := stats(each(day, func(r row) float64 {
				h := sky.Horizontal{GHIWM2: r.ghi, DNIWM2: r.dni, DHIWM2: r.dhi}
				o := sky.HayDavies(h, &r.scene.Sun, &r.scene.Plane, 0.2)
				return o.BeamWM2 + o.GroundWM2 + m.diffuse(h, &r) - r.poa
			}))
			near(t, c.day+" "+name+" bias, W/m2", bias, m.bias, 2)
			near(t, c.day+" "+name+" RMS, W/m2", rms, m.rms, 2)
		}
	}
}

// From global irradiance alone: Erbs, then Hay-Davies.
func TestMeasuredFromGlobalAlone(t *testing.T) {
	t.Parallel()
	rows := measuredRows(t, "irradiance_5min_tilted.csv", station{39.7407, -105.1686, 1790, 40, 180}, 75)
	for day, want := range map[string][2]float64{"2022-01-02": {-1, 17}, "2022-01-04": {23, 66}} {
		var off []float64
		for _, r := range rows {
			if r.day == day {
				split := sky.Erbs(r.ghi, &r.scene.Sun)
				off = append(off, sky.HayDavies(split.Horizontal, &r.scene.Sun, &r.scene.Plane, 0.2).POAWM2()-r.poa)
			}
		}
		bias, _, rms, _ := stats(off)
		near(t, day+" bias, W/m2", bias, want[0], 2)
		near(t, day+" RMS, W/m2", rms, want[1], 3)
	}
}
