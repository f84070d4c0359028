package stc_test

import (
	"fmt"

	"evensun/internal/stc"
)

// A controller shows 152 W at 8.42 A behind 5 m of 3.31 mm2; a reference cell
// shows 912 W/m2, the cells are at 50.2 C.
func Example() {
	cable := stc.Cable{LengthM: 5, AreaMM2: 3.31, ConductorC: stc.DefaultConductorC}
	terminalW := stc.AtTerminals(152, 8.42, cable.ResistanceOhm())
	tracking := stc.TrackingOf("mppt_controller")
	powerW := stc.SimplePower(terminalW/tracking.Factor, stc.Conditions{PoaWM2: 912, CellC: 50.236}, -0.0035, stc.DefaultLowLight().Efficiency(912))
	fmt.Printf("%.2f W at the terminals, %.2f W at standard conditions\n", terminalW, powerW)
	// Output: 156.06 W at the terminals, 188.54 W at standard conditions
}

func ExampleSimplePower() {
	fmt.Printf("%.4f W\n", stc.SimplePower(150, stc.Conditions{PoaWM2: 870, CellC: 49.61}, -0.0035, 1))
	// Output: 188.6644 W
}

func ExampleChoose() {
	reading := stc.Data{Point: true, Voc: true, Alpha: true, Beta: true, Technology: "mono_perc"}
	fmt.Println(stc.Choose(reading))
	fmt.Println(stc.Check(stc.MethodProcedure2, reading))
	// Output:
	// simple_power
	// procedure_2: needs the series resistance, kappa, the temperature coefficient of the series resistance
}

func ExampleAWGToMM2() {
	area := stc.AWGToMM2(12)
	fmt.Printf("%.4f mm2, %.4f mohm/m\n", area, 1000*stc.CopperOhmM(20)/(area*1e-6))
	// Output: 3.3088 mm2, 5.2104 mohm/m
}

func ExampleProcedure4() {
	panel := stc.Procedure4{IscA: 8, AlphaAPerK: 0.006, SeriesOhm: 0.2, CellsInSeries: 36, Technology: "mono_perc"}
	p := panel.Translate(stc.Point{VoltageV: 17, CurrentA: 7}, stc.Conditions{PoaWM2: 750, CellC: 50}, stc.Standard())
	fmt.Printf("%.4f V, %.4f A, %.2f W\n", p.VoltageV, p.CurrentA, p.PowerW())
	// Output: 18.6240 V, 9.5167 A, 177.24 W
}

func ExampleFraction() {
	_, err := stc.Fraction(stc.Conditions{PoaWM2: 800, CellC: 35}, stc.Conditions{PoaWM2: 900, CellC: 30}, stc.Standard())
	fmt.Println(err)
	a, err := stc.Fraction(stc.Conditions{PoaWM2: 900, CellC: 30}, stc.Conditions{PoaWM2: 1050, CellC: 22.5}, stc.Standard())
	fmt.Printf("%.2f %v\n", a, err)
	// Output:
	// procedure_3: the target lies at 2.00 between the sweeps, outside -0.3..1.3
	// 0.67 <nil>
}
