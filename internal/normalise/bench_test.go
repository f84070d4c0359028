package normalise_test

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// benchSession is a session of n readings, metered or not.
func benchSession(b testing.TB, n int, metered bool) *normalise.Input {
	in := session(b, []byte(design))
	in.Session.Sky.Condition = fieldtest.Clear
	first := in.Session.Readings[0]
	in.Session.Readings, in.Panels = nil, append(in.Panels[:1:1], make([]*fieldtest.PanelModel, n-1)...)
	for i := range n {
		r := first
		r.Label = fmt.Sprint(i)
		at := first.TakenAt.Add(time.Duration(i) * time.Minute)
		r.TakenAt = &at
		if !metered {
			r.Irradiance, r.BackTemperatureC = fieldtest.Irradiance{}, nil
		}
		in.Session.Readings = append(in.Session.Readings, r)
		in.Panels[i] = in.Panels[0]
	}
	return in
}

// BenchmarkSession reports what normalising a session of 50 readings costs a reading,
// and in units of decoding the same session's JSON, timed in turn in one run.
func BenchmarkSession(b *testing.B) {
	for _, metered := range []bool{true, false} {
		name := "clear_sky"
		if metered {
			name = "metered"
		}
		b.Run(name, func(b *testing.B) {
			in := benchSession(b, 50, metered)
			raw, err := json.Marshal(in.Session)
			if err != nil {
				b.Fatal(err)
			}
			opts := normalise.Defaults()
			var decode, ours time.Duration
			b.ReportAllocs()
			for b.Loop() {
				var s fieldtest.Session
				start := time.Now()
				if err := json.Unmarshal(raw, &s); err != nil {
					b.Fatal(err)
				}
				decoded := time.Now()
				if _, err := normalise.Session(b.Context(), in, opts); err != nil {
					b.Fatal(err)
				}
				decode, ours = decode+decoded.Sub(start), ours+time.Since(decoded)
			}
			b.ReportMetric(float64(ours)/float64(decode), "x-decode")
			b.ReportMetric(float64(ours.Nanoseconds())/float64(b.N*50), "ns/reading")
		})
	}
}

// BenchmarkChain reports what the chain's parts cost a reading: the point alone, with
// its budget, and the whole session with limits; and how many a core does in a second.
func BenchmarkChain(b *testing.B) {
	const n = 50
	for _, metered := range []bool{true, false} {
		in := benchSession(b, n, metered)
		chain, err := normalise.NewChain(in)
		if err != nil {
			b.Fatal(err)
		}
		name := map[bool]string{true: "metered", false: "clear_sky"}[metered]
		for _, c := range []struct {
			name string
			run  func() error
		}{
			{"point", func() error { chain.Point(); return nil }},
			{"budget", func() error { chain.Budget(); return nil }},
			{"session", func() error { _, err := normalise.Session(b.Context(), in, normalise.Defaults()); return err }},
		} {
			b.Run(name+"/"+c.name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if err := c.run(); err != nil {
						b.Fatal(err)
					}
				}
				seconds := b.Elapsed().Seconds() / float64(b.N*n)
				b.ReportMetric(1e9*seconds, "ns/reading")
				b.ReportMetric(1/seconds, "readings/s")
			})
		}
	}
}
