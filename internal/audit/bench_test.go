package audit_test

import (
	"context"
	"testing"
	"time"

	"evensun/internal/audit"
	"evensun/internal/ranking"
)

// BenchmarkFind reports what the audit costs beside the ranking that it doubts.
func BenchmarkFind(b *testing.B) {
	p := plan{testers: 60, sessions: 30, panels: 60, perSession: 6, readings: 2, seed: 9}
	f := p.field()
	var ranked, audited time.Duration
	for b.Loop() {
		begun := time.Now()
		out, err := ranking.Compute(context.Background(), f.in, nil)
		if err != nil {
			b.Fatal(err)
		}
		ranked += time.Since(begun)
		begun = time.Now()
		if _, err := audit.Find(context.Background(), &f.in, out, f.raw); err != nil {
			b.Fatal(err)
		}
		audited += time.Since(begun)
	}
	b.ReportMetric(float64(audited)/float64(ranked), "audit/ranking")
	b.ReportMetric(float64(len(f.in.Observations)), "readings")
}
