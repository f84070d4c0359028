package combine_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/combine"
)

// faults returns what is wrong with a table; it fails where nothing is.
func faults(t *testing.T, csv string) *combine.TableError {
	t.Helper()
	var out bytes.Buffer
	err := combine.Run(context.Background(), strings.NewReader(csv), combine.Options{}, &out)
	wrong, ok := errors.AsType[*combine.TableError](err)
	if !ok || out.Len() > 0 {
		t.Fatalf("%q: error %v after %d bytes, want a TableError and nothing written", csv, err, out.Len())
	}
	return wrong
}

func TestBadRows(t *testing.T) {
	t.Parallel()
	const head = "value,panel,session,standard_uncertainty\n"
	for name, c := range map[string]struct {
		csv  string
		want []combine.RowError
	}{
		"not a number":        {head + "1,a,s,1\nabc,a,s,1\n", []combine.RowError{{Line: 3, Column: "value", Value: "abc", Reason: "not a number"}}},
		"empty value":         {head + ",a,s,1\n", []combine.RowError{{Line: 2, Column: "value", Reason: "empty"}}},
		"blank panel":         {head + "1,  ,s,1\n", []combine.RowError{{Line: 2, Column: "panel", Value: "  ", Reason: "empty"}}},
		"NaN":                 {head + "NaN,a,s,1\n", []combine.RowError{{Line: 2, Column: "value", Value: "NaN", Reason: "not a finite number below 1e100"}}},
		"infinity":            {head + "-Inf,a,s,1\n", []combine.RowError{{Line: 2, Column: "value", Value: "-Inf", Reason: "not a finite number below 1e100"}}},
		"overflow":            {head + "1e999,a,s,1\n", []combine.RowError{{Line: 2, Column: "value", Value: "1e999", Reason: "not a finite number below 1e100"}}},
		"zero uncertainty":    {head + "1,a,s,0\n", []combine.RowError{{Line: 2, Column: "standard_uncertainty", Value: "0", Reason: "must be above 0"}}},
		"below zero":          {head + "1,a,s,-0.1\n", []combine.RowError{{Line: 2, Column: "standard_uncertainty", Value: "-0.1", Reason: "must be above 0"}}},
		"tiny":                {head + "1,a,s,1e-200\n", []combine.RowError{{Line: 2, Column: "standard_uncertainty", Value: "1e-200", Reason: "too small: at least 1e-100"}}},
		"several in a row":    {head + "x,,s,\n", []combine.RowError{{Line: 2, Column: "value", Value: "x", Reason: "not a number"}, {Line: 2, Column: "panel", Reason: "empty"}, {Line: 2, Column: "standard_uncertainty", Reason: "empty"}}},
		"decimal comma":       {head + "0,95,a,s,1\n", []combine.RowError{{Line: 2, Reason: "5 columns, the header has 4"}}},
		"short row":           {head + "1,a\n", []combine.RowError{{Line: 2, Reason: "2 columns, the header has 4"}}},
		"quoted line break":   {head + "1,\"a\nb\",s,1\nx,c,s,1\n", []combine.RowError{{Line: 2, Column: "panel", Value: "a\nb", Reason: "contains a control character"}, {Line: 4, Column: "value", Value: "x", Reason: "not a number"}}},
		"NUL":                 {head + "1,a\x00,s,1\n", []combine.RowError{{Line: 2, Column: "panel", Value: "a\x00", Reason: "contains a control character"}}},
		"invalid UTF-8":       {head + "1,a\xff,s,1\n", []combine.RowError{{Line: 2, Column: "panel", Value: "a\ufffd", Reason: "not valid UTF-8"}}},
		"long name":           {head + "1," + strings.Repeat("é", 150) + ",s,1\n", []combine.RowError{{Line: 2, Column: "panel", Value: strings.Repeat("é", 30), Reason: "longer than 200 bytes"}}},
		"no rows":             {head, []combine.RowError{{Line: 1, Reason: "no readings below the header"}}},
		"nothing":             {"", []combine.RowError{{Line: 1, Reason: "empty file: a header with value and panel is needed"}}},
		"no panel":            {"value,tester\n1,t\n", []combine.RowError{{Line: 1, Reason: "the header lacks the column panel"}}},
		"semicolons":          {"value;panel\n1;t\n", []combine.RowError{{Line: 1, Reason: "the header lacks the column value; columns are separated by commas, not by semicolons or tabs"}, {Line: 1, Reason: "the header lacks the column panel; columns are separated by commas, not by semicolons or tabs"}}},
		"column twice":        {"value,panel,value\n1,a,2\n", []combine.RowError{{Line: 1, Column: "value", Value: "value", Reason: "the column is there twice"}}},
		"stray quote":         {head + "1,a\"b,s,1\n", []combine.RowError{{Line: 2, Reason: "a quote inside a field: put the field in quotes and write that quote twice"}}},
		"blank lines counted": {head + "\n\n1,a,s,1\n\nx,a,s,1\n", []combine.RowError{{Line: 6, Column: "value", Value: "x", Reason: "not a number"}}},
	} {
		got := faults(t, c.csv)
		if diff := cmp.Diff(c.want, got.Rows); diff != "" || got.More != 0 {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

func TestFaultsAreListedTo100(t *testing.T) {
	t.Parallel()
	got := faults(t, "value,panel\n"+strings.Repeat("x,a\n", 130))
	if len(got.Rows) != 100 || got.More != 30 || got.Rows[99].Line != 101 {
		t.Errorf("%d faults and %d more, want 100 and 30", len(got.Rows), got.More)
	}
	if want := `line 2, column value: "x": not a number (and 129 more)`; got.Error() != want {
		t.Errorf("Error() = %q, want %q", got.Error(), want)
	}
	if one := faults(t, "value,panel\n1,a,b\n").Error(); one != "line 2: 3 columns, the header has 2" {
		t.Errorf("Error() = %q", one)
	}
}

// A byte order mark, spaces, quotes, Windows line ends and a missing last one are
// no faults; a reader that fails is an error of its own.
func TestReadingIsPatient(t *testing.T) {
	t.Parallel()
	got, err := combine.Combine(context.Background(), strings.NewReader("\ufeffpanel , value\r\n\"tarn, 200\", 1.5\r\nmoss,2\r\n\"tarn, 200\",1.7\r\nmoss, 2.3"), combine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Fixed[0].Panel != "moss" || got.Fixed[1].Panel != "tarn, 200" || math.Abs(float64(got.Fixed[1].Estimate)-1.6) > 1e-12 {
		t.Errorf("estimates %+v, want moss 2.15 and tarn, 200 at 1.6", got.Fixed)
	}
	broken := io.MultiReader(strings.NewReader("value,panel\n1,a\n"), iotest.ErrReader(io.ErrClosedPipe))
	if _, err := combine.Combine(context.Background(), broken, combine.Options{}); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("broken reader: error %v, want io.ErrClosedPipe", err)
	}
	if err := combine.Run(context.Background(), strings.NewReader("value,panel\n1,a\n2,a\n"), combine.Options{}, closed{}); !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("broken writer: error %v, want io.ErrClosedPipe", err)
	}
}

type closed struct{}

func (closed) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

// One panel has nothing to be ranked against.
func TestOnePanel(t *testing.T) {
	t.Parallel()
	got := run(t, "dyestuff.csv", combine.Options{})
	want := []combine.Rank{{Panel: "all", Rank: 1, RankLo: 1, RankHi: 1, PScore: 0.5, TieGroup: "a"}}
	if diff := cmp.Diff(want, got.Rank, alike()); diff != "" || len(got.Contrasts) != 0 {
		t.Errorf("rank (-want +got):\n%s", diff)
	}
}

// Whatever the text: an error that names line and reason, or a document in which
// every panel has one rank, inside its interval, and the estimates lie among the
// values.
func FuzzTable(f *testing.F) {
	f.Add("value,panel\n1,a\n2,a\n3,b\n4.5,b\n")
	f.Add("value,panel,session,standard_uncertainty\n1,a,s,0.1\n2,b,s,0.2\n1.1,a,t,0.1\n")
	f.Add("panel,value,tester\n\"x\ny\",1,2\n")
	f.Add("value,panel\n1e99,a\n-1e99,a\n1e-99,b\n")
	f.Fuzz(func(t *testing.T, csv string) {
		if len(csv) > 400 {
			csv = csv[:400]
		}
		got, err := combine.Combine(context.Background(), strings.NewReader(csv), combine.Options{})
		if wrong, ok := errors.AsType[*combine.TableError](err); ok {
			for _, r := range wrong.Rows {
				if r.Line < 1 || r.Reason == "" || len(r.Value) > 100 {
					t.Errorf("%q: fault %+v", csv, r)
				}
			}
			return
		}
		if err != nil {
			return // a model that the readings cannot carry
		}
		if len(got.Rank) != len(got.Fixed) || len(got.Contrasts) != len(got.Fixed)-1 {
			t.Errorf("%q: %d ranks, %d contrasts of %d panels", csv, len(got.Rank), len(got.Contrasts), len(got.Fixed))
		}
		for _, r := range got.Rank {
			if r.Rank < r.RankLo || r.Rank > r.RankHi || r.TieGroup == "" {
				t.Errorf("%q: %+v", csv, r)
			}
		}
	})
}

// BenchmarkCombine reports what combining 20,000 readings costs in units of splitting
// the same text into fields, timed in turn in one run.
func BenchmarkCombine(b *testing.B) {
	var text strings.Builder
	text.WriteString("value,standard_uncertainty,panel,tester,session\n")
	for k := range 20000 {
		fmt.Fprintf(&text, "%.6f,0.01,p%03d,t%02d,s%04d\n", 0.1*math.Sin(float64(k)), (k*7)%50, k/500, k/5)
	}
	var split, ours time.Duration
	for b.Loop() {
		start := time.Now()
		if _, err := csv.NewReader(strings.NewReader(text.String())).ReadAll(); err != nil {
			b.Fatal(err)
		}
		between := time.Now()
		if err := combine.Run(context.Background(), strings.NewReader(text.String()), combine.Options{}, io.Discard); err != nil {
			b.Fatal(err)
		}
		split, ours = split+between.Sub(start), ours+time.Since(between)
	}
	b.ReportMetric(float64(ours)/float64(split), "x-split")
}
