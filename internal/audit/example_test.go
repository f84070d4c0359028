package audit_test

import (
	"context"
	"fmt"
	"log"
	"strings"

	"evensun/internal/audit"
	"evensun/internal/ranking"
)

// Eight testers, one of whom mislabelled two panels in one session.
func ExampleFind() {
	p := usual()
	p.fault = fault{swap: true}
	f := p.field()
	out, err := ranking.Compute(context.Background(), f.in, nil)
	if err != nil {
		log.Fatal(err)
	}
	findings, err := audit.Find(context.Background(), &f.in, out, f.raw)
	if err != nil {
		log.Fatal(err)
	}
	for _, x := range findings {
		if x.Rule == "mislabelled_panel" {
			fmt.Println(x.Band, x.Reason)
		}
	}
	// Unordered output:
	// low These readings fit panel-01 far better than panel-00. Likely the labels of two panels were swapped.
	// low These readings fit panel-00 far better than panel-01. Likely the labels of two panels were swapped.
}

func ExampleRules() {
	for _, r := range audit.Rules() {
		if strings.HasPrefix(r.ID, "tester") {
			fmt.Println(r.ID+":", r.Sentence)
		}
	}
	// Output:
	// tester_offset: A tester reads all panels higher or lower than the others, beyond what testers usually differ.
	// tester_mean_off_h: A tester's mean deviation stands out among the testers.
	// tester_scatter_k: A tester's repeated readings scatter more than those of others.
	// tester_extreme: A tester's mean deviation, or those of two testers, are outliers.
}
