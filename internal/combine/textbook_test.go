package combine_test

import (
	"context"
	"fmt"
	"os"

	"evensun/internal/combine"
	"evensun/internal/reftest"
)

// combineFile combines a table of the reference data.
func combineFile(name string, random ...string) *combine.Result {
	file, err := os.Open(reftest.Path("statistics/" + name))
	if err != nil {
		fmt.Println(err)
		return nil
	}
	defer file.Close()
	result, err := combine.Combine(context.Background(), file, combine.Options{Random: random})
	if err != nil {
		fmt.Println(err)
		return nil
	}
	return result
}

func printVariances(r *combine.Result) {
	for _, v := range r.Variances {
		fmt.Printf("variance of %s %.6f\n", v.Term, float64(v.Value))
	}
}

// Effort to rise from four types of stool, nine persons each (J. Pinheiro, D. Bates,
// Mixed-Effects Models in S and S-PLUS, 2000, section 1.2: sd 1.332 and 1.100). The same
// from the command line, at the top of the repository:
//
//	evensun combine --random session testdata/reference/statistics/ergostool.csv
func ExampleCombine_ergoStool() {
	r := combineFile("ergostool.csv", "session")
	if r == nil {
		return
	}
	for _, c := range r.Contrasts {
		fmt.Printf("%s - %s: %.6f, standard error %.6f, %.0f degrees of freedom\n", c.Panel, c.Reference, c.Estimate, c.StandardError, c.Dof)
	}
	printVariances(r)
	for _, k := range r.Rank {
		fmt.Printf("%s %d (%d to %d) %s\n", k.Panel, k.Rank, k.RankLo, k.RankHi, k.TieGroup)
	}
	// Output:
	// T2 - T1: 3.888889, standard error 0.518684, 24 degrees of freedom
	// T3 - T1: 2.222222, standard error 0.518684, 24 degrees of freedom
	// T4 - T1: 0.666667, standard error 0.518684, 24 degrees of freedom
	// variance of session 1.775463
	// variance of residual 1.210648
	// T2 1 (1 to 1) a
	// T3 2 (2 to 2) b
	// T4 3 (3 to 4) c
	// T1 4 (3 to 4) c
}

// Thirteen trials of a vaccine against tuberculosis, log risk ratios with known standard
// errors (G. Colditz et al., J. Am. Med. Assoc. 271 (1994) 698-702): the random-effects
// mean, tau2 and I2 that metafor prints. The same from the command line:
//
//	evensun combine --random session testdata/reference/statistics/bcg.csv
func ExampleCombine_bcg() {
	r := combineFile("bcg.csv", "session")
	if r == nil {
		return
	}
	fmt.Printf("mean %.4f, standard error %.4f\n", r.Fixed[0].Estimate, r.Fixed[0].StandardError)
	printVariances(r)
	fmt.Printf("Q %.4f with %d degrees of freedom, I2 %.2f %%\n", r.Q, *r.QDof, 100*r.I2)
	// Output:
	// mean -0.7145, standard error 0.1798
	// variance of session 0.313243
	// Q 152.2330 with 12 degrees of freedom, I2 92.22 %
}

// Six samples of penicillin on each of 24 plates: two crossed groupings (O. Davies, P.
// Goldsmith, Statistical Methods in Research and Production, 1972; D. Bates et al., J.
// Stat. Softw. 67(1) (2015), for the fit). Plates are the sessions here, samples the
// testers. The same from the command line:
//
//	evensun combine --random session,tester testdata/reference/statistics/penicillin.csv
func ExampleCombine_penicillin() {
	r := combineFile("penicillin.csv", "session", "tester")
	if r == nil {
		return
	}
	fmt.Printf("mean %.4f, standard error %.4f\n", r.Fixed[0].Estimate, r.Fixed[0].StandardError)
	printVariances(r)
	fmt.Printf("REML criterion %.4f\n", -2*r.LogLikelihood)
	// Output:
	// mean 22.9722, standard error 0.8086
	// variance of session 0.716908
	// variance of tester 3.730917
	// variance of residual 0.302415
	// REML criterion 330.8606
}
