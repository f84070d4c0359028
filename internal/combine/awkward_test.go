package combine_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"evensun/internal/combine"
)

func combineText(t *testing.T, csv string, opt combine.Options) *combine.Result {
	t.Helper()
	got, err := combine.Combine(context.Background(), strings.NewReader(csv), opt)
	if err != nil {
		t.Fatalf("%q: %v", csv, err)
	}
	return got
}

// rail is travel time of six rails less 50 ns, three readings each (J. Pinheiro, D.
// Bates, 2000, section 1.1), carried to another level and unit, with a second panel
// that lies far above by a known step.
func rail(level, unit float64) string {
	var b strings.Builder
	b.WriteString("value,panel,session\n")
	for s, times := range [][]float64{{55, 53, 54}, {26, 37, 32}, {78, 91, 85}, {92, 100, 96}, {49, 51, 50}, {80, 85, 83}} {
		for _, x := range times {
			fmt.Fprintf(&b, "%.17g,rail,%d\n", level+unit*x, s)
		}
	}
	return b.String()
}

// Standard deviations 24.80547 and 4.020779, mean 66.5, standard error 10.17104 and
// restricted log-likelihood -61.0885 as the book prints them, in any unit and at any
// level; the likelihood moves by (n - 1) ln(unit).
func TestLevelAndUnitDoNotMatter(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ level, unit float64 }{{0, 1}, {1e9, 1}, {-1e9, 0.5}, {0, 1e-60}, {0, 1e60}, {0, -1e7}} {
		got := combineText(t, rail(c.level, c.unit), combine.Options{Random: []string{"session"}})
		size := math.Abs(c.unit)
		for _, n := range []struct {
			name            string
			got, want, diff float64
		}{
			{"mean", (float64(got.Fixed[0].Estimate) - c.level) / c.unit, 66.5, 1e-3},
			{"standard error", float64(got.Fixed[0].StandardError) / size, 10.17104, 1e-5},
			{"sd of rails", math.Sqrt(float64(got.Variances[0].Value)) / size, 24.80547, 1e-5},
			{"residual sd", math.Sqrt(float64(got.Variances[1].Value)) / size, 4.020779, 1e-5},
			{"log-likelihood", float64(got.LogLikelihood) + 17*math.Log(size), -61.0885, 1e-4},
		} {
			if !(math.Abs(n.got-n.want) <= n.diff) {
				t.Errorf("level %g, unit %g: %s = %v, want %v", c.level, c.unit, n.name, n.got, n.want)
			}
		}
	}
}

// Means of five medicines for Parkinson's disease (NICE Decision Support Unit, Technical
// Support Document 2, example 5, table of the common-effect model): differences to the
// first -1.81, -0.47, -0.52, -0.82 with standard deviations 0.33, 0.49, 0.48, 0.52; its
// sampling noise is 0.01.
func TestNetworkOfMedicines(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("value,standard_uncertainty,panel,session\n")
	for _, arm := range []struct {
		trial, treatment int
		mean, sd, n      float64
	}{
		{1, 1, -1.22, 3.7, 54}, {1, 3, -1.53, 4.28, 95}, {2, 1, -0.7, 3.7, 172}, {2, 2, -2.4, 3.4, 173}, {3, 1, -0.3, 4.4, 76},
		{3, 2, -2.6, 4.3, 71}, {3, 4, -1.2, 4.3, 81}, {4, 3, -0.24, 3, 128}, {4, 4, -0.59, 3, 72}, {5, 3, -0.73, 3, 80},
		{5, 4, -0.18, 3, 46}, {6, 4, -2.2, 2.31, 137}, {6, 5, -2.5, 2.18, 131}, {7, 4, -1.8, 2.48, 154}, {7, 5, -2.1, 2.99, 143},
	} {
		fmt.Fprintf(&b, "%g,%g,%d,%d\n", arm.mean, arm.sd/math.Sqrt(arm.n), arm.treatment, arm.trial)
	}
	got := combineText(t, b.String(), combine.Options{Random: []string{}, SessionFixed: true})
	for i, want := range [][2]float64{{-1.81, 0.33}, {-0.47, 0.49}, {-0.52, 0.48}, {-0.82, 0.52}} {
		c := got.Contrasts[i]
		if math.Abs(float64(c.Estimate)-want[0]) > 0.011 || math.Abs(float64(c.StandardError)-want[1]) > 0.011 {
			t.Errorf("treatment %s: %v, standard error %v, want %v", c.Panel, c.Estimate, c.StandardError, want)
		}
	}
}

// Panels hundreds of millions apart keep the digits of the noise between readings.
func TestFarPanelsKeepTheirNoise(t *testing.T) {
	t.Parallel()
	near := combineText(t, "value,panel\n1,a\n2,a\n4,a\n11,b\n13,b\n", combine.Options{})
	far := combineText(t, "value,panel\n1,a\n2,a\n4,a\n1000000001,b\n1000000003,b\n", combine.Options{})
	if a, b := near.LogLikelihood, far.LogLikelihood; math.Abs(float64(a-b)) > 1e-9 {
		t.Errorf("log-likelihood %v near, %v far", a, b)
	}
	if d := float64(far.Contrasts[0].Estimate - near.Contrasts[0].Estimate); math.Abs(d-999999990) > 1e-6 {
		t.Errorf("difference grew by %v, want 999999990", d)
	}
}

// A table that cannot show what it seems to show says so.
func TestNotes(t *testing.T) {
	t.Parallel()
	for want, csv := range map[string]string{
		"each panel has one session only":  "value,panel,session\n1,a,s\n2,b,t\n1.1,a,s\n2.2,b,t\n",
		"the column session has one level": "value,panel,session\n1,a,s\n2,b,s\n1.1,a,s\n2.2,b,s\n",
		"share neither session nor tester": "value,panel,session,tester\n1,a,s,1\n2,b,s,1\n1.1,a,t,2\n2.2,b,t,2\n3,c,u,3\n4,d,u,3\n3.3,c,v,4\n4.1,d,v,4\n",
		"a reading entered twice":          "value,panel\n1,a\n2,b\n1.5,a\n2.5,b\n2.5,b\n",
		"repeats agree exactly":            "value,panel,session\n1,a,s\n2,b,s\n1.5,a,t\n2.1,b,t\n1,a,s\n2,b,s\n1.5,a,t\n2.1,b,t\n",
	} {
		got := combineText(t, csv, combine.Options{})
		if !strings.Contains(strings.Join(got.Notes, "\n"), want) {
			t.Errorf("%q: notes %q lack %q", csv, got.Notes, want)
		}
	}
	if got := run(t, "ergostool.csv", combine.Options{}); len(got.Notes) > 0 {
		t.Errorf("a sound table has notes %q", got.Notes)
	}
}

// Every fault of a table has a line, and a cure where the reason is none itself.
func TestCures(t *testing.T) {
	t.Parallel()
	const head = "value,panel,standard_uncertainty\n"
	for csv, want := range map[string]string{
		head + "1,a,1\n,a,1\n":           "fill it in",
		head + "1,a,1\n1,a,\n":           "leave the whole column out",
		head + "1,a,1\n\"0,9\",a,1\n":    "with a point",
		head + "1,a,1\n0x1p-2,a,1\n":     "a plain number",
		head + "1,a,1\n1_0,a,1\n":        "a plain number",
		head + "1,a,1\n1,a,0\n":          "in the unit of value",
		head + "1,a,1\n2,b,1e-9\n":       "--ignore-uncertainty",
		head + "1,a,1\n0,9,b,1\n":        "separate by commas",
		head + "1,a,1\n1,\"b,2\n1,c,1\n": "",
		head + "1,a,1\n1,b\xff,1\n":      "UTF-8",
	} {
		row := faults(t, csv).Rows[0]
		if row.Line != 3 || !strings.Contains(row.Cure(), want) {
			t.Errorf("%q: %v; %q, want line 3 and %q", csv, row, row.Cure(), want)
		}
	}
	for csv, want := range map[string]string{
		"Value,panel\n1,a\n":               "small letters",
		"# mine\nvalue,panel\n1,a\n":       "comments",
		"v\x00a\x00l\x00u\x00e\x00,\x00\n": "UTF-8",
		"value\tpanel\n1\ta\n":             "commas",
	} {
		if got := faults(t, csv); !strings.Contains(got.Error(), want) {
			t.Errorf("%q: %v, want a hint at %q", csv, got, want)
		}
	}
	_, err := combine.Combine(context.Background(), strings.NewReader("value,panel\n1,a\n"), combine.Options{})
	if err == nil || errors.As(err, new(*combine.TableError)) {
		t.Errorf("one reading: error %v, want a model that cannot be fitted", err)
	}
}
