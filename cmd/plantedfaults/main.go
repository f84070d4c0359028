// Command plantedfaults measures how many small faults the tests of a package notice.
//
//	go run ./cmd/plantedfaults ./internal/sun
//	go run ./cmd/plantedfaults -n 60 -seed 1 -min 95 ./internal/sun ./internal/sky
//
// It plants one fault at a time: a coefficient moved by 1 % (a whole number that has
// no hundredth by 1), a sign turned, a comparison moved onto or off its limit or
// negated, "and" for "or", a "not" left out. The package is compiled with the fault
// through an overlay, so that no file changes, and its own tests run. The fault died
// when a test fails or does not end in time. Survivors are printed with their place;
// the table at the end counts them by package.
//
// Generated files, tests, log calls, zeros, indices and sizes are left alone. Places
// where a fault changes nothing anyone could see are listed, each with its reason, in
// testdata/plantedfaults/excused.txt; an entry whose place is gone is an error.
package main

import (
	"cmp"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"slices"
	"strings"
	"sync"
	"time"
)

// settings are the flags.
type settings struct {
	sample   int           // faults to plant over all packages, 0 for all
	seed     uint64        // of the sample
	file     string        // only files whose name ends so
	kinds    string        // only these kinds, comma between
	workers  int           // mutants tried at once
	min      float64       // share in percent below which the command fails
	excused  string        // list of excused faults
	list     bool          // print the faults, try none
	patience time.Duration // least time that the tests of a mutant get
	patterns []string      // packages
}

func main() {
	var s settings
	flag.IntVar(&s.sample, "n", 0, "plant only `N` faults, drawn at random over all packages")
	flag.Uint64Var(&s.seed, "seed", 1, "`seed` of the draw")
	flag.StringVar(&s.file, "file", "", "plant only in files whose path ends with `name`")
	flag.StringVar(&s.kinds, "kinds", "", "plant only these `kinds`: coefficient,sign,boundary,comparison,boolean")
	flag.IntVar(&s.workers, "j", 1, "try `N` faults at once")
	flag.Float64Var(&s.min, "min", 0, "fail when less than this `share` in percent died")
	flag.StringVar(&s.excused, "excused", "testdata/plantedfaults/excused.txt", "`list` of faults that change nothing, with reasons")
	flag.BoolVar(&s.list, "list", false, "print the faults and try none")
	flag.DurationVar(&s.patience, "patience", 20*time.Second, "least `time` for the tests of one fault; ten undisturbed runs if that is longer")
	flag.Parse()
	s.patterns = flag.Args()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, s, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "plantedfaults:", err)
		os.Exit(1)
	}
}

// run plants what the settings ask for and prints survivors and the table.
func run(ctx context.Context, s settings, out io.Writer) error {
	if len(s.patterns) == 0 {
		return errors.New("name the packages, for example ./internal/sun")
	}
	faults, err := faultsOf(ctx, s.patterns)
	if err != nil {
		return err
	}
	list, err := readExcuses(s.excused)
	if err != nil {
		return err
	}
	faults, stale := list.drop(faults)
	for _, e := range stale {
		fmt.Fprintf(out, "%s: no such place any more: %s\n", s.excused, e)
	}
	faults = s.choose(faults)
	if s.list {
		for _, f := range faults {
			fmt.Fprintln(out, f)
		}
		return nil
	}
	outcomes, err := tryAll(ctx, s, faults, out)
	if err != nil {
		return err
	}
	share := printTable(out, outcomes)
	switch {
	case share < s.min:
		return fmt.Errorf("%.1f %% of the faults died, at least %.1f %% must", share, s.min)
	case len(stale) > 0:
		return fmt.Errorf("%d entries of %s have no place any more", len(stale), s.excused)
	}
	return nil
}

// choose keeps the faults of the wanted files and kinds and draws the sample.
func (s settings) choose(faults []fault) []fault {
	faults = slices.DeleteFunc(faults, func(f fault) bool {
		unwantedKind := s.kinds != "" && !slices.Contains(strings.Split(s.kinds, ","), string(f.kind))
		return unwantedKind || !strings.HasSuffix(f.place.Filename, s.file)
	})
	if s.sample <= 0 || s.sample >= len(faults) {
		return faults
	}
	random := rand.New(rand.NewPCG(s.seed, 0))
	random.Shuffle(len(faults), func(i, j int) { faults[i], faults[j] = faults[j], faults[i] })
	faults = faults[:s.sample]
	slices.SortFunc(faults, func(a, b fault) int {
		return cmp.Or(strings.Compare(a.place.Filename, b.place.Filename), cmp.Compare(a.place.Offset, b.place.Offset))
	})
	return faults
}

// tryAll tries every fault and prints those that survive as they are found.
func tryAll(ctx context.Context, s settings, faults []fault, out io.Writer) ([]outcome, error) {
	bench, err := newWorkbench(ctx, s.patience, faults)
	if err != nil {
		return nil, err
	}
	defer bench.close()
	var (
		todo     = make(chan fault)
		crew     sync.WaitGroup
		mutex    sync.Mutex
		outcomes []outcome
		failure  error
	)
	for range max(1, s.workers) {
		crew.Go(func() {
			for f := range todo {
				fate, err := bench.try(ctx, f)
				mutex.Lock()
				failure = cmp.Or(failure, err)
				outcomes = append(outcomes, outcome{f, fate})
				if fate == survived && err == nil {
					fmt.Fprintln(out, "survived", f)
				}
				mutex.Unlock()
			}
		})
	}
	for _, f := range faults {
		if ctx.Err() != nil {
			break
		}
		todo <- f
	}
	close(todo)
	crew.Wait()
	return outcomes, cmp.Or(failure, ctx.Err())
}

// printTable prints one line a package and returns the share that died, in percent,
// of all faults that compile; 100 without any.
func printTable(out io.Writer, outcomes []outcome) float64 {
	byPackage := map[string]map[fate]int{}
	total := map[fate]int{}
	for _, o := range outcomes {
		if byPackage[o.pkg] == nil {
			byPackage[o.pkg] = map[fate]int{}
		}
		byPackage[o.pkg][o.fate]++
		total[o.fate]++
	}
	const line = "%-28s %8v %8v %8v %8v %8s\n"
	fmt.Fprintf(out, line, "package", "planted", "died", "no end", "survived", "share")
	row := func(name string, n map[fate]int) {
		planted := n[died] + n[outOfTime] + n[survived]
		fmt.Fprintf(out, line, name, planted, n[died], n[outOfTime], n[survived], fmt.Sprintf("%.1f %%", shareOf(n)))
	}
	names := make([]string, 0, len(byPackage))
	for name := range byPackage {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		row(name, byPackage[name])
	}
	row("all", total)
	if n := total[notCompiled]; n > 0 {
		fmt.Fprintf(out, "%d more did not compile and are not counted\n", n)
	}
	return shareOf(total)
}

func shareOf(n map[fate]int) float64 {
	planted := n[died] + n[outOfTime] + n[survived]
	if planted == 0 {
		return 100
	}
	return 100 * float64(planted-n[survived]) / float64(planted)
}
