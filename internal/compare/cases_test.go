package compare_test

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"evensun/internal/compare"
	"evensun/internal/reftest"
)

// A statCase is one entry of statistics/cases.json.
type statCase struct {
	ID           string             `json:"id"`
	CSV          string             `json:"csv"`
	Random       []string           `json:"random"`
	SessionFixed bool               `json:"session_fixed"`
	Estimator    string             `json:"estimator"`
	Expected     expected           `json:"expected"`
	Tolerance    map[string]float64 `json:"tolerance"`
	Source       string             `json:"source"`
}

type expected struct {
	LogLikelihood float64            `json:"log_likelihood"`
	Metafor       *float64           `json:"log_likelihood_metafor"`
	Variances     map[string]float64 `json:"variances"`
	Fixed         []expectedPanel    `json:"fixed"`
	Contrasts     []expectedPanel    `json:"contrasts"`
	PScore        []expectedPanel    `json:"p_score"`
	Q             *float64           `json:"q"`
	QDof          float64            `json:"q_dof"`
	I2            *float64           `json:"i2"`
	I2Q           *float64           `json:"i2_q"`
	Tau2          *float64           `json:"tau2_contrast"`
	Common        *expected          `json:"common_effect"`
	BlupTester    []struct {
		Tester   string  `json:"tester"`
		Estimate float64 `json:"estimate"`
	} `json:"blup_tester"`
	All json.RawMessage `json:"all_estimators"`
}

type expectedPanel struct {
	Panel     string   `json:"panel"`
	Reference string   `json:"reference"`
	Estimate  float64  `json:"estimate"`
	SE        float64  `json:"standard_error"`
	PlainSE   float64  `json:"standard_error_plain"`
	Dof       *float64 `json:"dof_satterthwaite"`
	PScore    float64  `json:"p_score"`
}

// statCases returns the cases of the file. Its sleepstudy_slopes, correlated random
// slopes and intercepts by subject, is no case: package compare has no covariance between
// terms, and a slope for each session only on time, independent of the session's level.
// TestSlopes fits it by the oracle.
func statCases(tb testing.TB) []statCase {
	tb.Helper()
	return reftest.Fits[statCase](tb)
}

// names are the level names of a table read from CSV, by code.
type names struct{ panel, tester, session []string }

// readTable reads the CSV format of the reference data; codes follow byte order.
func readTable(tb testing.TB, name string) (compare.Table, names) {
	tb.Helper()
	file, err := os.Open(reftest.Path("statistics/" + name))
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		tb.Fatal(err)
	}
	var t compare.Table
	var n names
	for c, head := range rows[0] {
		column := make([]string, len(rows)-1)
		for k, row := range rows[1:] {
			column[k] = row[c]
		}
		switch head {
		case "value":
			t.Value = numbers(tb, column, 1)
		case "standard_uncertainty":
			t.Variance = numbers(tb, column, 2)
		case "panel":
			t.Panel, n.panel = codes(column)
		case "tester":
			t.Tester, n.tester = codes(column)
		case "session":
			t.Session, n.session = codes(column)
		}
	}
	return t, n
}

func numbers(tb testing.TB, column []string, power float64) []float64 {
	tb.Helper()
	out := make([]float64, len(column))
	for k, s := range column {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			tb.Fatal(err)
		}
		out[k] = math.Pow(v, power)
	}
	return out
}

func codes(column []string) ([]int32, []string) {
	levels := slices.Compact(slices.Sorted(slices.Values(column)))
	out := make([]int32, len(column))
	for k, s := range column {
		i, _ := slices.BinarySearch(levels, s)
		out[k] = int32(i)
	}
	return out, levels
}

func (c statCase) options(tb testing.TB, t *compare.Table) compare.Options {
	tb.Helper()
	opt := compare.Options{SessionFixed: c.SessionFixed, ML: c.Estimator == "ml"}
	for _, name := range c.Random {
		term, ok := compare.TermNamed(name)
		if !ok {
			tb.Fatalf("unknown grouping %q", name)
		}
		opt.Random = append(opt.Random, term)
	}
	if _, estimated := c.Expected.Variances["residual"]; estimated && !slices.Contains(c.Random, "residual") {
		opt.Random = append(opt.Random, compare.Residual)
		t.Variance = nil
	}
	return opt
}

func TestReferenceCases(t *testing.T) {
	t.Parallel()
	for _, c := range statCases(t) {
		t.Run(c.ID, func(t *testing.T) {
			t.Parallel()
			table, n := readTable(t, c.CSV)
			f, err := compare.Estimate(context.Background(), table, c.options(t, &table))
			if err != nil {
				t.Fatal(err)
			}
			if !f.Converged {
				t.Errorf("not converged after %d iterations, last step %g", f.Iterations, f.LastStep)
			}
			near(t, "log-likelihood", f.LogLikelihood, c.Expected.LogLikelihood, c.Tolerance["log_likelihood_abs"])
			if c.Expected.Metafor != nil {
				near(t, "log-likelihood of metafor", f.LogLikelihood+f.HalfLogDetXX(), *c.Expected.Metafor, c.Tolerance["log_likelihood_abs"])
			}
			c.checkVariances(t, f)
			c.checkEstimates(t, f, n)
		})
	}
}

func (c statCase) checkVariances(t *testing.T, f *compare.Fit) {
	largest := 0.0
	for _, v := range c.Expected.Variances {
		largest = max(largest, v)
	}
	for name, want := range c.Expected.Variances {
		term, _ := compare.TermNamed(name)
		tol := c.Tolerance["variance_rel"] * want
		if want < 1e-8*largest {
			tol = 1e-8 * largest
			if !slices.Contains(f.AtBound, term) {
				t.Errorf("%s: variance 0 not reported to be at its limit", name)
			}
		}
		near(t, "variance "+name, f.Theta[term], want, tol)
	}
	if want := c.Expected.Tau2; want != nil { // arms with one variance: twice that in a contrast
		near(t, "tau2 of a contrast", 2*f.Theta[compare.SessionPanel], *want, c.Tolerance["variance_rel"]**want)
	}
}

func (c statCase) checkEstimates(t *testing.T, f *compare.Fit, n names) {
	at := func(name string) int {
		i, ok := slices.BinarySearch(n.panel, name)
		if !ok {
			t.Fatalf("no panel %q", name)
		}
		return i
	}
	for _, p := range c.Expected.Fixed {
		i := at(p.Panel)
		near(t, p.Panel, f.Mu[i], p.Estimate, c.Tolerance["fixed_rel"]*math.Abs(p.Estimate))
		near(t, "se of "+p.Panel, f.SE(i), p.SE, c.Tolerance["se_rel"]*p.SE)
	}
	for _, p := range c.Expected.Contrasts {
		got, err := f.Contrast(at(p.Panel), at(p.Reference))
		if err != nil {
			t.Fatal(err)
		}
		se := max(p.SE, p.PlainSE)
		near(t, p.Panel+" - "+p.Reference, got.Estimate, p.Estimate, c.Tolerance["fixed_rel"]*max(math.Abs(p.Estimate), se))
		near(t, "se of "+p.Panel+" - "+p.Reference, got.SE, se, c.Tolerance["se_rel"]*se)
		if p.Dof != nil {
			near(t, "dof of "+p.Panel, got.Dof, *p.Dof, min(1e-7, c.Tolerance["dof_rel"])**p.Dof)
		}
	}
}
