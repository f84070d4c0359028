package normalise_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// coveredSession is a session of n readings of which all but the first are covered, each
// of its own unit where there are to be many; the cover is one of four sections.
func coveredSession(tb testing.TB, n int, units bool) *normalise.Input {
	in := benchSession(tb, n, true)
	for i := range in.Session.Readings {
		r := &in.Session.Readings[i]
		if units {
			r.Panel.Specimen = fmt.Sprint("unit-", i/2)
		}
		if i == 0 || units && i%2 == 0 {
			continue
		}
		left := 0.74 * *r.PowerW
		r.PowerW, r.VoltageV, r.CurrentA = &left, nil, nil
		reference := in.Session.Readings[0].Label
		if units {
			reference = in.Session.Readings[i-1].Label
		}
		r.Arrangement, r.Cover = fieldtest.Covered, &fieldtest.Cover{SectionsCovered: 1, SectionsTotal: 4, ReferenceLabel: reference}
	}
	return in
}

// The derivation of one reading is what the whole session's has for it, and leaves the
// units of other readings alone.
func TestDerivationOfOneReading(t *testing.T) {
	t.Parallel()
	in := coveredSession(t, 6, true)
	whole := outcome(t, in, true)
	if i := slices.IndexFunc(whole.Readings[1].Derivation, func(s fieldtest.Step) bool { return s.Step == "shading" }); i < 0 || whole.Readings[1].Derivation[i].Outputs["posterior"] == nil {
		t.Fatal("a covered reading says nothing of the wiring")
	}
	for i := range in.Session.Readings {
		one, err := normalise.Derivation(t.Context(), in, normalise.Defaults(), i)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(whole.Readings[i].Derivation, one); diff != "" {
			t.Errorf("reading %d (-session +alone):\n%s", i, diff)
		}
	}
	if plain := outcome(t, in, false); plain.Readings[1].Derivation != nil {
		t.Error("a derivation that nobody asked for was written")
	}
}

// A context that ends stops the computing.
func TestCancelled(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	opts := normalise.Defaults()
	opts.Derivation = true
	if _, err := normalise.Session(ctx, coveredSession(t, 4, false), opts); !errors.Is(err, context.Canceled) {
		t.Errorf("Session with an ended context: %v, want %v", err, context.Canceled)
	}
	if _, err := normalise.Derivation(ctx, coveredSession(t, 4, false), opts, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("Derivation with an ended context: %v, want %v", err, context.Canceled)
	}
}

// BenchmarkCovered reports what the derivations of a session of 500 covered readings of
// one unit cost in units of those of 500 uncovered ones, timed in turn in one run; cold
// with nothing known of covers, warm with what earlier sessions left.
func BenchmarkCovered(b *testing.B) {
	plain, covered := benchSession(b, 500, true), coveredSession(b, 500, false)
	kept := &diode.Library{}
	for _, c := range []struct {
		name string
		kept func() *diode.Library
	}{{"cold", func() *diode.Library { return &diode.Library{} }}, {"warm", func() *diode.Library { return kept }}} {
		b.Run(c.name, func(b *testing.B) {
			opts := normalise.Defaults()
			opts.Derivation = true
			var uncovered, ours time.Duration
			for b.Loop() {
				opts.Covers = c.kept()
				start := time.Now()
				if _, err := normalise.Session(b.Context(), plain, opts); err != nil {
					b.Fatal(err)
				}
				between := time.Now()
				if _, err := normalise.Session(b.Context(), covered, opts); err != nil {
					b.Fatal(err)
				}
				uncovered, ours = uncovered+between.Sub(start), ours+time.Since(between)
			}
			b.ReportMetric(float64(ours)/float64(uncovered), "x-uncovered")
		})
	}
}
