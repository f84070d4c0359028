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
				if _, err := normalise.Session(in, opts); err != nil {
					b.Fatal(err)
				}
				decode, ours = decode+decoded.Sub(start), ours+time.Since(decoded)
			}
			b.ReportMetric(float64(ours)/float64(decode), "x-decode")
			b.ReportMetric(float64(ours.Nanoseconds())/float64(b.N*50), "ns/reading")
		})
	}
}
