package compare_test

import (
	"context"
	"fmt"
	"runtime"
	"testing"

	"evensun/internal/compare"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

func ExampleEstimate() {
	table := drawSynthetic(smallSize(), syntheticSeed, 0).Table
	f, err := compare.Estimate(context.Background(), table, compare.Options{
		Random: []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := f.Contrast(9, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("panel 9 is above panel 1 by %.3f with standard error %.3f\n", c.Estimate, c.SE)
	// Output: panel 9 is above panel 1 by 0.083 with standard error 0.014
}

func ExampleCutoffs_Weight() {
	cut := compare.DefaultCutoffs()
	fmt.Printf("%.2f %.2f %.4f\n", cut.Weight(2), cut.Weight(-4), cut.Weight(30))
	// Output: 1.00 0.75 0.0001
}

// TestSameBits fits the same table with one and with many goroutines, on both
// paths, with weights and without.
func TestSameBits(t *testing.T) {
	t.Parallel()
	table := drawSynthetic(size{Panels: 60, Testers: 80, Sessions: 300, Readings: 6}, 8, 0.05).Table
	for _, limit := range []int{0, 10} {
		for _, opt := range []compare.Options{{Random: fiveTerms}, serviceOptions()} {
			opt.DenseLimit = limit
			var first []float64
			for _, workers := range []int{1, runtime.NumCPU() + 3} {
				opt.Workers = workers
				f, err := compare.Estimate(context.Background(), table, opt)
				if err != nil {
					t.Fatal(err)
				}
				got := append(f.Theta[:], f.Mu...)
				if first == nil {
					first = got
				}
				if d := cmp.Diff(first, got, cmpopts.EquateNaNs()); d != "" {
					t.Fatalf("%d goroutines, limit %d: %s", workers, limit, d)
				}
			}
		}
	}
}
