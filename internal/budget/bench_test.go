package budget_test

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"evensun/internal/budget"
)

// BenchmarkCoverage95 reports the cost of a coverage factor in units of the
// library's quantile, timed in turn in one run.
func BenchmarkCoverage95(b *testing.B) {
	nus := [...]float64{4.2, 8, 12.77, 35.53, 57.29, 240.5}
	var library, ours time.Duration
	sum := 0.0
	for b.Loop() {
		start := time.Now()
		for _, nu := range nus {
			sum += distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(0.975)
		}
		done := time.Now()
		for _, nu := range nus {
			sum += budget.Coverage95(nu)
		}
		library, ours = library+done.Sub(start), ours+time.Since(done)
	}
	if math.IsNaN(sum) {
		b.Error("no coverage factor")
	}
	b.ReportMetric(float64(ours)/float64(library), "x-library")
}

// BenchmarkCombine is the chain's path: 20 parts and the total.
func BenchmarkCombine(b *testing.B) {
	w := budget1()
	var budgetOfReading budget.Budget
	var r budget.Result
	b.ReportAllocs()
	for b.Loop() {
		s := w.at()
		budgetOfReading.Reset(188.5)
		for range 10 {
			addRelative(&budgetOfReading, "P", budget.Rig, s.Indicated*0.012, 8)
			addRelative(&budgetOfReading, "G", budget.Reading, s.Metered*0.003, math.Inf(1))
		}
		r = budgetOfReading.Combine(false)
	}
	if !(r.Standard > 0) {
		b.Error("no uncertainty")
	}
}

// BenchmarkMove is the chain's path: 17 inputs moved up and down, then the total.
func BenchmarkMove(b *testing.B) {
	f := metered(meteredIn{PowerW: 152, PoaWM2: 912, BackC: 47.5})
	inputs := make([]input, 17)
	for i := range inputs {
		inputs[i] = input{name: "x", value: 0, width: 0.001, degreesOfFreedom: 8}
	}
	inputs[3].value, inputs[4].value, inputs[5].value, inputs[13].value, inputs[14].value = 8.42, 0.0572, 0.995, 3, -0.0035
	var one budget.Budget
	var r budget.Result
	b.ReportAllocs()
	for b.Loop() {
		evaluate(&one, f, inputs)
		r = one.Combine(false)
	}
	if !(r.Standard > 0) {
		b.Error("no uncertainty")
	}
}
