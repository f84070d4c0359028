package compare_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/reftest"
)

// An equalLevels is one entry of statistics/equal_levels.json: a table whose sessions and
// whose pairs of tester and panel are equally many, fitted by lme4.
type equalLevels struct {
	Testers       int                `json:"testers"`
	Sessions      int                `json:"sessions"` // of each tester
	Panels        int                `json:"panels"`
	Readings      int                `json:"readings"` // of each panel in each session
	LogLikelihood float64            `json:"log_likelihood"`
	Variances     map[string]float64 `json:"variances"`
	Fixed         []float64          `json:"fixed"`
	SE            []float64          `json:"standard_error"`
	ContrastSE    []float64          `json:"contrast_se"` // of each later panel to the first
}

// table draws by the formula in statistics/equal_levels.R.
func (c equalLevels) table() compare.Table {
	var out compare.Table
	for t := range c.Testers {
		for s := range c.Sessions {
			for p := range c.Panels {
				for r := range c.Readings {
					x := func(a, b, c, d int) float64 { return math.Sin(float64(a*t + b*s + c*p + d*r)) }
					y := 0.03*float64(p) + 0.05*math.Sin(float64(7*t+3*p+1)) + 0.03*x(5, 11, 0, 0) + 0.008*x(13, 17, 19, 0) + 0.004*x(23, 29, 31, 37)
					out.Value = append(out.Value, math.Round(1e6*y)/1e6)
					out.Panel, out.Tester, out.Session = append(out.Panel, int32(p)), append(out.Tester, int32(t)), append(out.Session, int32(t*c.Sessions+s))
				}
			}
		}
	}
	return out
}

// TestEqualLevels: groupings that cross are different groupings, however many levels each
// has. Tolerances are those within which lme4's optimiser settles.
func TestEqualLevels(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(reftest.Path("statistics/equal_levels.json"))
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []equalLevels }
	if err := json.Unmarshal(text, &file); err != nil || len(file.Cases) == 0 {
		t.Fatalf("%d cases, %v", len(file.Cases), err)
	}
	for _, c := range file.Cases {
		t.Run(fmt.Sprintf("%d testers %d sessions %d panels %d readings", c.Testers, c.Sessions, c.Panels, c.Readings), func(t *testing.T) {
			t.Parallel()
			f, err := compare.Estimate(context.Background(), c.table(), c.options(t))
			if err != nil {
				t.Fatal(err)
			}
			if !f.Converged || len(f.Notes) > 0 {
				t.Errorf("converged %v, notes %q", f.Converged, f.Notes)
			}
			near(t, "log-likelihood", f.LogLikelihood, c.LogLikelihood, 1e-6)
			for name, want := range c.Variances {
				term, _ := compare.TermNamed(name)
				near(t, "variance of "+name, f.Theta[term], want, 1e-4*want+1e-11)
			}
			for i := range f.Mu {
				near(t, "mu", f.Mu[i], c.Fixed[i], 1e-9)
				near(t, "se", f.SE(i), c.SE[i], 1e-5*c.SE[i])
			}
			for i, want := range c.ContrastSE {
				got, err := f.Contrast(i+1, 0)
				if err != nil {
					t.Fatal(err)
				}
				near(t, "se of a contrast", got.SE, want, 1e-5*want)
			}
		})
	}
}

func (c equalLevels) options(tb testing.TB) compare.Options {
	tb.Helper()
	var opt compare.Options
	for name := range c.Variances {
		term, ok := compare.TermNamed(name)
		if !ok {
			tb.Fatalf("no term %q", name)
		}
		opt.Random = append(opt.Random, term)
	}
	return opt
}

// TestEqualGroupings: where one grouping is another under other names, one variance stands
// for both.
func TestEqualGroupings(t *testing.T) {
	t.Parallel()
	table := equalLevels{Testers: 4, Sessions: 1, Panels: 3, Readings: 2}.table()
	f, err := compare.Estimate(context.Background(), table, compare.Options{Random: []compare.Term{compare.Tester, compare.Session, compare.Residual}})
	if err != nil {
		t.Fatal(err)
	}
	if f.Theta[compare.Session] != 0 || len(f.Notes) != 1 || f.Notes[0] != "session and tester cannot be told apart; all of it is called tester" {
		t.Errorf("session variance %g, notes %q", f.Theta[compare.Session], f.Notes)
	}
}
