package compare_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"runtime"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"

	"evensun/internal/compare"
	"evensun/internal/ranks"
	"evensun/internal/reftest"
	"evensun/internal/seedrand"
)

type scaleCase struct {
	Preset        string             `json:"preset"`
	Model         string             `json:"model"`
	LogLikelihood float64            `json:"log_likelihood"`
	Variances     [5]float64         `json:"variances"` // tester, session, tester:panel, session:panel, residual
	Mark          string             `json:"mark"`
	Tolerance     map[string]float64 `json:"tolerance"`
}

func scaleCases(tb testing.TB, preset string) []scaleCase {
	tb.Helper()
	raw, err := os.ReadFile(reftest.Path("statistics/scale.json"))
	if err != nil {
		tb.Fatal(err)
	}
	var f struct {
		Expected []scaleCase `json:"expected"`
	}
	if err := json.Unmarshal(raw, &f); err != nil {
		tb.Fatal(err)
	}
	var out []scaleCase
	for _, c := range f.Expected {
		if c.Preset == preset {
			out = append(out, c)
		}
	}
	if len(out) == 0 {
		tb.Fatalf("no case for %q", preset)
	}
	return out
}

var fiveTerms = []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.SessionPanel, compare.Residual}

func (c scaleCase) check(tb testing.TB, f *compare.Fit, logLik float64) {
	tb.Helper()
	near(tb, "log-likelihood", logLik, c.LogLikelihood, c.Tolerance["log_likelihood_abs"])
	for l, want := range c.Variances {
		near(tb, compare.Term(l).String(), f.Theta[l], want, c.Tolerance["variance_rel"]*want)
	}
}

func TestTenth(t *testing.T) {
	t.Parallel()
	for _, c := range scaleCases(t, "tenth") {
		t.Run(c.Model, func(t *testing.T) {
			t.Parallel()
			file := c.Tolerance["variance_rel"]
			if c.Mark == "own" {
				// The file's variances come of 16 random probes and cannot be met to its
				// 0.2 %: the maximum is 0.23 % away in tester and tester x panel, as
				// checkMaximum shows by a likelihood written out without probes.
				c.Tolerance["variance_rel"] = 0.0025
			}
			table := drawSynthetic(tenthSize(), syntheticSeed, 0).Table
			if c.Model == "residual estimated" {
				table.Variance = nil
			}
			f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms})
			if err != nil {
				t.Fatal(err)
			}
			c.check(t, f, f.LogLikelihood)
			if c.Tolerance["variance_rel"] > file {
				c.checkMaximum(t, table, f)
			}
		})
	}
}

// TestProbesAgainstDense fits the same data by the dense path and by conjugate
// gradients with probes.
func TestProbesAgainstDense(t *testing.T) {
	t.Parallel()
	size := size{Panels: 120, Testers: 80, Sessions: 1000, Readings: 6}
	table := drawSynthetic(size, 5, 0).Table
	dense, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms})
	if err != nil {
		t.Fatal(err)
	}
	sparse, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms, DenseLimit: 10})
	if err != nil {
		t.Fatal(err)
	}
	if !sparse.Converged {
		t.Errorf("not converged after %d iterations", sparse.Iterations)
	}
	for l, want := range dense.Theta {
		near(t, compare.Term(l).String(), sparse.Theta[l], want, 0.003*want) // 16 probes of 120 panels
	}
	held := compare.Options{Random: fiveTerms, DenseLimit: 10, Start: &dense.Theta, Hold: true}
	sparse, err = compare.Estimate(context.Background(), table, held)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "exact likelihood", sparse.ExactLogLikelihood(), dense.LogLikelihood, 1e-7)
	se, err := sparse.StandardErrors(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for i, mu := range dense.Mu {
		near(t, "mu", sparse.Mu[i], mu, 1e-9)
		near(t, "se by draws", se[i], dense.SE(i), 0.05*dense.SE(i)) // few panels, strongly tied: the draws matter
		near(t, "se by solving", sparse.SE(i), dense.SE(i), 1e-8)
	}
}

var (
	scaleTen = flag.Bool("scale10", false, "also fit 10,000,000 readings in BenchmarkFit")
	oneSize  = flag.String("size", "", "fit only this size in BenchmarkFit: 10k, 100k, 1M, 10M")
)

// peakHeap samples the heap in use while f runs and returns the peak in MiB above
// the start.
func peakHeap(f func()) float64 {
	runtime.GC()
	before := heapInUse()
	var peak atomic.Uint64
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		for {
			peak.Store(max(peak.Load(), heapInUse()))
			select {
			case <-stop:
				return
			case <-tick.C:
			}
		}
	}()
	f()
	close(stop)
	<-done
	return float64(peak.Load()-min(peak.Load(), before)) / (1 << 20)
}

func heapInUse() uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}, {Name: "/memory/classes/heap/unused:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64() + sample[1].Value.Uint64()
}

// benchSizes are the tables of the benchmarks, by name and share of 1,000,000 readings.
var benchSizes = []struct {
	name  string
	scale float64
}{{"10k", 0.01}, {"100k", 0.1}, {"1M", 1}, {"10M", 10}}

// eachSize runs a benchmark on the sizes that the flags ask for.
func eachSize(b *testing.B, f func(b *testing.B, table compare.Table)) {
	for _, s := range benchSizes {
		if s.name == "10M" && !*scaleTen && *oneSize != s.name || *oneSize != "" && *oneSize != s.name {
			continue
		}
		b.Run(s.name, func(b *testing.B) { f(b, drawSynthetic(scaledSize(s.scale), syntheticSeed, 0).Table) })
	}
}

// What the benchmarks show.
//
// 2 cores of a shared server with nothing else to do (load 1 to 1.5, this benchmark's own).
// Robust is the model of the service; fit by the clock and cpu, user and system time; refit
// goes on from the memory of a fit after one more session, its cpu as a share of a cold
// fit's; ranks the table of package ranks; memory the heap beyond the readings. "go test
// -run XXX -bench Fit ./internal/compare":
//
//	readings    panels  model   fit     cpu     refit / fit  standard errors  ranks   memory
//	10,000      50      plain   0.02 s  0.03 s  0.42         0.00 s           0.04 s  3 MiB
//	10,000      50      robust  0.04 s  0.04 s  0.52         0.00 s           0.05 s  3 MiB
//	100,000     497     plain   0.30 s  0.40 s  0.30         0.00 s           0.02 s  32 MiB
//	100,000     497     robust  0.53 s  0.70 s  0.38         0.00 s           0.02 s  39 MiB
//	1,000,000   4,981   plain   1.6 s   2.8 s   0.32         0.7 s            1.3 s   202 MiB
//	1,000,000   4,981   robust  3.1 s   5.3 s   0.25         0.7 s            1.3 s   298 MiB
//	10,000,000  49,888  plain   21 s    38 s                 11 s                     2.0 GiB
//
// The robust rows are from before weights settled at held variances, which takes 0.95 s of
// processor in place of 0.66 for 100,000 readings, measured one after the other.
//
// With the fit before it still held whole, 1,000,000 readings took 342 to 410 MiB; one cold
// robust fit by itself, with its readings and the program, 296 MiB resident. With one
// session in twenty spoiled it takes 9 passes in place of 4: 6.3 s. Beside other work (load
// 7 to 8) cpu times stay within a tenth, and those by the clock grow threefold.
//
// Time grows with the cube of a tester's opinions: an iteration takes about 7 products of
// their m x m matrices, inverse included. 100 testers with 200 opinions each, 100,000
// readings, five terms: 2 s of one core an iteration, 15 s in all with the contrasts of
// 400 panels to one. The testers above have 12 on average, 60 at most.
//
// On one core elsewhere lme4 1.1-31 took 700.5 s and 2,314 MB for the 100,000 readings
// with panels fixed, 19.0 s and 359 MB with panels random: the order of magnitude, not a
// benchmark. Letters of 49,888 panels took minutes and were not waited for.

// BenchmarkFit reports for each size, plain and with the robust model of the service, the
// time of a cold fit, that of all standard errors, that of the ranks (package ranks) and
// of a refit from the last fit after one more session, also as a share of the first, and
// the heap beyond the table. Beside the fit's time stands that of the processor, user and
// system, which other work on the machine changes less.
func BenchmarkFit(b *testing.B) {
	robust := serviceOptions()
	robust.Workers = 0
	eachSize(b, func(b *testing.B, table compare.Table) {
		b.Run("plain", func(b *testing.B) { benchmarkFit(b, table, compare.Options{Random: fiveTerms}) })
		b.Run("robust", func(b *testing.B) { benchmarkFit(b, table, robust) })
	})
}

// warmReadings is the largest table of which BenchmarkFit also times refit and ranks.
const warmReadings = 2_000_000

// benchmarkLarge times one cold fit and its standard errors.
func benchmarkLarge(b *testing.B, table compare.Table, opt compare.Options) {
	for b.Loop() {
		var f *compare.Fit
		var cold, doubt stopwatch
		heap := peakHeap(func() { f = cold.fit(b, table, opt) })
		b.ReportMetric(heap, "MiB")
		b.ReportMetric(float64(f.Iterations), "iterations")
		b.ReportMetric(cold.seconds(), "fit-s")
		b.ReportMetric(cold.processor(), "fit-cpu-s")
		doubt.time(func() {
			if _, err := f.StandardErrors(context.Background()); err != nil {
				b.Fatal(err)
			}
		})
		b.ReportMetric(doubt.seconds(), "se-s")
	}
}

func benchmarkFit(b *testing.B, table compare.Table, opt compare.Options) {
	if table.Len() > warmReadings {
		benchmarkLarge(b, table, opt)
		return
	}
	ctx := context.Background()
	last, err := compare.Estimate(ctx, withoutLastSession(table), opt)
	if err != nil {
		b.Fatal(err)
	}
	warmOpt := opt
	warmOpt.After, last = last.Memory(), nil
	var cold, doubt, rank, warm stopwatch
	var heap float64
	var f, w *compare.Fit
	for b.Loop() {
		f, w = nil, nil // an earlier round's would put the collector off
		heap = max(heap, peakHeap(func() { f = cold.fit(b, table, opt) }))
		var se []float64
		doubt.time(func() { se, err = f.StandardErrors(ctx) })
		if err != nil {
			b.Fatal(err)
		}
		rank.time(func() { err = rankPanels(f, se) })
		if err != nil {
			b.Fatal(err)
		}
		w = warm.fit(b, table, warmOpt)
	}
	n := float64(b.N)
	b.ReportMetric(float64(f.Iterations), "iterations")
	b.ReportMetric(float64(f.Passes), "passes")
	b.ReportMetric(float64(w.Iterations), "warm-iterations")
	b.ReportMetric(float64(w.Passes), "warm-passes")
	b.ReportMetric(cold.seconds()/n, "fit-s")
	b.ReportMetric(cold.processor()/n, "fit-cpu-s")
	b.ReportMetric(doubt.seconds()/n, "se-s")
	b.ReportMetric(rank.seconds()/n, "rank-s")
	b.ReportMetric(warm.processor()/cold.processor(), "warm/cold")
	b.ReportMetric(heap, "MiB")
	printPeers(b, table.Len(), cold.seconds()/n)
}

// A stopwatch sums times and the processor times of this program in them.
type stopwatch struct{ total, cpu time.Duration }

func (s *stopwatch) seconds() float64   { return s.total.Seconds() }
func (s *stopwatch) processor() float64 { return s.cpu.Seconds() }

func (s *stopwatch) time(f func()) {
	start, before := time.Now(), processorTime()
	f()
	s.total += time.Since(start)
	s.cpu += processorTime() - before
}

func (s *stopwatch) fit(b *testing.B, t compare.Table, opt compare.Options) (f *compare.Fit) {
	b.Helper()
	s.time(func() {
		var err error
		if f, err = compare.Estimate(context.Background(), t, opt); err != nil {
			b.Fatal(err)
		}
	})
	return f
}

// rankPanels makes the ranks, their simultaneous intervals and the letters of all panels.
func rankPanels(f *compare.Fit, se []float64) error {
	var mu, sd []float64
	for i, v := range f.Mu {
		if !math.IsNaN(v) {
			mu, sd = append(mu, v), append(sd, se[i])
		}
	}
	family, err := ranks.NewSeparate(mu, sd, 1e6)
	if err != nil {
		return err
	}
	if table := family.Table(0.95, seedrand.New(1)); len(table.Entries) != len(mu) {
		return fmt.Errorf("%d entries for %d panels", len(table.Entries), len(mu))
	}
	return nil
}

// printPeers logs what the published fits of as many readings took, as ratios.
func printPeers(b *testing.B, n int, seconds float64) {
	b.Helper()
	var file struct {
		Peers []struct {
			Tool, Panels string
			N            int
			Seconds      float64
		}
	}
	raw, err := os.ReadFile(reftest.Path("statistics/scale.json"))
	if err != nil {
		b.Fatal(err)
	}
	if err := json.Unmarshal(raw, &file); err != nil {
		b.Fatal(err)
	}
	for _, p := range file.Peers {
		if p.N == n {
			b.Logf("%s, panels %s, %d readings, elsewhere, one core: %.1f s, %.0f times ours", p.Tool, p.Panels, p.N, p.Seconds, p.Seconds/seconds)
		}
	}
}

func withoutLastSession(t compare.Table) compare.Table {
	last := t.Session[t.Len()-1]
	n := t.Len()
	for n > 0 && t.Session[n-1] == last {
		n--
	}
	t.Value, t.Variance, t.Panel, t.Tester, t.Session = t.Value[:n], t.Variance[:n], t.Panel[:n], t.Tester[:n], t.Session[:n]
	return t
}

// BenchmarkFull fits 1,000,000 readings and checks the result against the
// published one, ln|H| by a dense factor of 4,981 panels.
func BenchmarkFull(b *testing.B) {
	table := drawSynthetic(fullSize(), syntheticSeed, 0).Table
	for b.Loop() {
		f, err := compare.Estimate(context.Background(), table, compare.Options{Random: fiveTerms})
		if err != nil {
			b.Fatal(err)
		}
		for _, c := range scaleCases(b, "full") {
			c.check(b, f, f.ExactLogLikelihood())
		}
		b.ReportMetric(float64(f.Iterations), "iterations")
	}
}
