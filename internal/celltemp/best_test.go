package celltemp_test

import (
	"fmt"
	"math"
	"testing"

	"evensun/internal/celltemp"
	"evensun/internal/fieldtest"
	"evensun/internal/reftest"
)

func ExampleBest() {
	air, wind := 26.0, 2.0
	e := celltemp.Best(celltemp.Measured{Arrangement: fieldtest.Tilted, POAWM2: 1089, AirC: &air, WindMS: &wind})
	fmt.Printf("%s: %.1f C\n", e.Method, e.CellC)
	// Output: king_open_rack_polymer: 55.9 C
}

func at(v float64) *float64 { return &v }

func TestBestOrder(t *testing.T) {
	t.Parallel()
	th := &celltemp.Thermometer{VocSTCV: 24.5, BetaPerK: -0.003, D: 0.038}
	for _, c := range []struct {
		name   string
		in     celltemp.Measured
		method celltemp.Method
		uK     float64
	}{
		{"all: the sensor", celltemp.Measured{POAWM2: 1000, BackC: at(50), OpenV: at(22.8), Thermometer: th, AirC: at(25)}, celltemp.ByBack, 2 / math.Sqrt(3)},
		{"no sensor: the voltage", celltemp.Measured{POAWM2: 1000, OpenV: at(22.8), Thermometer: th, AirC: at(25)}, celltemp.ByVoc, 1.7},
		{"voltage of an unknown panel: the air", celltemp.Measured{POAWM2: 1000, OpenV: at(22.8), AirC: at(25)}, celltemp.ByKing, math.Hypot(2, 3.5)},
		{"voltage in the dark: the air", celltemp.Measured{OpenV: at(22.8), Thermometer: th, AirC: at(25)}, celltemp.ByKing, math.Hypot(2, 3.5)},
		{"flat", celltemp.Measured{Arrangement: fieldtest.Flat, POAWM2: 1000, AirC: at(20), WindMS: at(1)}, celltemp.ByKingFlat, (77.5270504036 - 49.3839343874) / (2 * math.Sqrt(3))},
		{"flat with a sensor", celltemp.Measured{Arrangement: fieldtest.Flat, POAWM2: 1000, BackC: at(50)}, celltemp.ByBack, 1 / math.Sqrt(3)},
		{"nothing", celltemp.Measured{POAWM2: 1000}, celltemp.ByKing, 12},
	} {
		got := celltemp.Best(c.in)
		if got.Method != c.method || math.Abs(got.ModelUK-c.uK) > 1e-6 {
			t.Errorf("%s: Best = %v with %v K, want %v with %v K", c.name, got.Method, got.ModelUK, c.method, c.uK)
		}
		if got.AirAssumed != (got.Method == celltemp.ByKing && c.in.AirC == nil) {
			t.Errorf("%s: AirAssumed = %v", c.name, got.AirAssumed)
		}
	}
}

// The surest evidence is taken, by its uncertainty with that of its inputs; where two are
// alike the order sensor, voltage, air decides.
//
// Expected by hand at 1000 W/m2: thermocouple sqrt(1 + 1 + 4/3) = 1.83 K; shiny front
// sqrt(4 + 9 + 4 + 1) = 4.24; voltage sqrt(1 + 2.89 + u^2): 1.97 with u 0, 5.54 with
// 0.015/0.0029 = 5.17; air sqrt(4 + 12.25 + 1 + (0.075*26.38)^2) =
// 4.600 in a wind of 1 m/s.
func TestBestIsSurest(t *testing.T) {
	t.Parallel()
	own := celltemp.Thermometer{VocSTCV: 24.2, BetaPerK: -0.0029, D: 0.045}
	plate := celltemp.Nameplate(24.2, -0.0029, 0.045)
	front := celltemp.Measured{POAWM2: 1000, BackC: at(40), Sensor: fieldtest.InfraredFront}
	with := func(m celltemp.Measured, change func(*celltemp.Measured)) celltemp.Measured {
		change(&m)
		return m
	}
	for _, c := range []struct {
		name   string
		in     celltemp.Measured
		method celltemp.Method
		uK     float64
	}{
		{"thermocouple", celltemp.Measured{POAWM2: 1000, BackC: at(40)}, celltemp.ByBack, 1.826},
		{"front and the panel's own voltage", with(front, func(m *celltemp.Measured) { m.OpenV, m.Thermometer = at(22.8), &own }), celltemp.ByVoc, 1.972},
		{"front and the nameplate's voltage", with(front, func(m *celltemp.Measured) { m.OpenV, m.Thermometer = at(22.8), &plate }), celltemp.ByBack, 4.243},
		{"front and air: hardly different, so the order", with(front, func(m *celltemp.Measured) { m.AirC, m.WindMS = at(20), at(4) }), celltemp.ByBack, 4.243},
		{"nameplate's voltage and air", celltemp.Measured{POAWM2: 1000, OpenV: at(22.8), Thermometer: &plate, AirC: at(20), WindMS: at(1)}, celltemp.ByKing, 4.600},
		{"nameplate's voltage and air, flat", celltemp.Measured{Arrangement: fieldtest.Flat, POAWM2: 1000, OpenV: at(22.8), Thermometer: &plate, AirC: at(20), WindMS: at(1)}, celltemp.ByVoc, 5.536},
		{"nameplate's voltage and no air", celltemp.Measured{POAWM2: 1000, OpenV: at(22.8), Thermometer: &plate}, celltemp.ByVoc, 5.536},
	} {
		got := celltemp.Best(c.in)
		if got.Method != c.method || math.Abs(got.UK-c.uK) > 1e-3 {
			t.Errorf("%s: Best = %v with %.4f K, want %v with %v K", c.name, got.Method, got.UK, c.method, c.uK)
		}
	}
}

// A voltage at a known temperature makes a thermometer that reads that temperature back,
// and 10 K more where the voltage falls by beta times 10 K.
func TestCalibrated(t *testing.T) {
	t.Parallel()
	th := celltemp.Calibrated(22.8, 800, 45, 2.1, -0.003, 0.045)
	if got := celltemp.FromVoc(22.8, 800, th); math.Abs(got-45) > 1e-9 || th.UK != 2.1 {
		t.Errorf("calibrated at 45 C with 2.1 K reads %v C with %v K", got, th.UK)
	}
	hotter := 22.8 * (1 - 0.003*30) / (1 - 0.003*20)
	if got := celltemp.FromVoc(hotter, 800, th); math.Abs(got-55) > 1e-9 {
		t.Errorf("%v V after 22.8 V at 45 C: %v C, want 55", hotter, got)
	}
}

// What was not measured is assumed, said, and used.
func TestBestAssumes(t *testing.T) {
	t.Parallel()
	got := celltemp.Best(celltemp.Measured{POAWM2: 800})
	want := celltemp.King(800, 20, 1.5, celltemp.OpenRackPolymer())
	if got.CellC != want.CellC || got.AirC != 20 || got.WindMS != 1.5 || !got.AirAssumed || !got.WindAssumed {
		t.Errorf("Best of irradiance alone = %+v, want %v C by air of 20 C and wind of 1.5 m/s", got, want.CellC)
	}
}

func TestBestAllocatesNothing(t *testing.T) {
	air := 25.0
	m := celltemp.Measured{POAWM2: 1000, AirC: &air}
	if n := testing.AllocsPerRun(100, func() { celltemp.Best(m) }); n != 0 {
		t.Errorf("Best allocates %v times, want none", n)
	}
}

func TestTransient(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		warmUpMin, backKPerMin *float64
		want                   float64
	}{
		{nil, nil, 3}, {at(0), nil, 5}, {at(4.9), nil, 5}, {at(5), nil, 0}, {at(20), nil, 0},
		{at(20), at(1), 0}, {at(20), at(1.2), 5}, {at(20), at(-1.2), 5}, {nil, at(1.2), 5}, {nil, at(0.5), 3},
	} {
		if got := celltemp.TransientUK(c.warmUpMin, c.backKPerMin); got != c.want {
			t.Errorf("TransientUK(%v, %v) = %v K, want %v", c.warmUpMin, c.backKPerMin, got, c.want)
		}
	}
}

// What each kind of evidence is worth, as the worked budgets of
// testdata/reference/physics/uncertainty.json have it where they do (a thermocouple 1 K
// and 1 K with a step of +-2 K, a model 4 K, air 1 K, wind 1 m/s).
func TestWorth(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"thermocouple", celltemp.OfSensor(fieldtest.Thermocouple).UK(), math.Sqrt2}, {"no sensor named", celltemp.OfSensor("").UK(), math.Sqrt2},
		{"infrared, back", celltemp.OfSensor(fieldtest.InfraredBack).UK(), math.Sqrt(8)}, {"infrared, front", celltemp.OfSensor(fieldtest.InfraredFront).UK(), math.Sqrt(17)},
		{"the sky in a front", celltemp.OfSensor(fieldtest.InfraredFront).SessionK, 3},
		{"voltage", celltemp.OfOpenCircuit().UK(), math.Hypot(1, 1.7)}, {"model", celltemp.OfKing(fieldtest.Tilted).UK(), math.Hypot(2, 3.5)},
		{"model on the ground", celltemp.OfKing(fieldtest.Flat).UK(), 0}, {"no air", celltemp.OfAssumedAir().SessionK, 12},
		{"wind measured", celltemp.WindU(true), 1}, {"wind assumed", celltemp.WindU(false), 1.5 / math.Sqrt(3)},
		{"step, tilted", celltemp.StepOf(fieldtest.Thermocouple, fieldtest.Tilted).UK(1000), 2 / math.Sqrt(3)},
		{"step, flat, half the sun", celltemp.StepOf(fieldtest.Thermocouple, fieldtest.Flat).UK(500), 0.5 / math.Sqrt(3)},
		{"step of a front", celltemp.StepOf(fieldtest.InfraredFront, fieldtest.Tilted).UK(1000), 1},
		{"cells above a tilted back", celltemp.StepOf("", fieldtest.Tilted).DeltaK, 3}, {"cells above a flat back", celltemp.StepOf("", fieldtest.Flat).DeltaK, 1},
	} {
		if math.Abs(c.got-c.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

// More sun heats, more wind cools, no panel is cooler than the air, and every model
// goes with the air degree by degree.
func FuzzModels(f *testing.F) {
	f.Add(1000.0, 20.0, 1.0)
	f.Add(0.0, -40.0, 20.0)
	f.Fuzz(func(t *testing.T, poa, air, wind float64) {
		poa, air, wind = reftest.Fold(poa, 0, 1500), reftest.Fold(air, -40, 60), reftest.Fold(wind, 0, 20)
		for name, model := range map[string]func(poa, air, wind float64) float64{
			"king": func(p, a, w float64) float64 { return celltemp.King(p, a, w, celltemp.OpenRackPolymer()).CellC },
			"flat": func(p, a, w float64) float64 { return celltemp.FlatBounds(p, a, w).MiddleC() },
		} {
			cell := model(poa, air, wind)
			if cell < air || cell > air+100 {
				t.Errorf("%s: %v W/m2, %v m/s: cells at %v C in air of %v C", name, poa, wind, cell, air)
			}
			if model(poa+10, air, wind) <= cell || model(poa, air, wind+1) > cell {
				t.Errorf("%s at %v W/m2, %v C, %v m/s: sun does not heat or wind heats", name, poa, air, wind)
			}
			if off := model(poa, air+10, wind) - cell - 10; math.Abs(off) > 1e-9 {
				t.Errorf("%s: air 10 K warmer moves the cells by %v K", name, off+10)
			}
		}
		if b := celltemp.FlatBounds(poa, air, wind); b.HotC < b.CoolC || b.UK() < 0 {
			t.Errorf("flat bounds %+v at %v W/m2, %v m/s", b, poa, wind)
		}
	})
}

// Voc made from a temperature gives that temperature back.
func FuzzFromVoc(f *testing.F) {
	f.Add(45.0, 800.0)
	f.Fuzz(func(t *testing.T, cell, poa float64) {
		cell, poa = reftest.Fold(cell, -20, 90), reftest.Fold(poa, 100, 1500)
		th := celltemp.Thermometer{VocSTCV: 24.2, BetaPerK: -0.0029, D: 0.045}
		light := th.D * math.Log(poa/1000)
		product := th.VocSTCV * (1 + th.BetaPerK*(cell-25)) * (1 + light)
		if got := celltemp.FromVoc(product, poa, th); math.Abs(got-cell) > 1e-9 {
			t.Errorf("FromVoc(%v, %v) = %v C, want %v", product, poa, got, cell)
		}
	})
}

func TestNaN(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	th := celltemp.Thermometer{VocSTCV: 24.2, BetaPerK: -0.0029, D: 0.045}
	for name, got := range map[string]float64{
		"King":                celltemp.King(nan, 20, 1, celltemp.OpenRackPolymer()).CellC,
		"FromVoc in the dark": celltemp.FromVoc(22, 0, th), "FromVoc": celltemp.FromVoc(nan, 800, th),
	} {
		if !math.IsNaN(got) {
			t.Errorf("%s = %v, want NaN", name, got)
		}
	}
}

var sink float64

func BenchmarkBest(b *testing.B) {
	air, wind := 25.0, 2.0
	m := celltemp.Measured{POAWM2: 900, AirC: &air, WindMS: &wind}
	for b.Loop() {
		sink = celltemp.Best(m).CellC
	}
}
