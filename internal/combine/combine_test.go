package combine_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"evensun/internal/combine"
	"evensun/internal/compare"
	"evensun/internal/reftest"
)

// A statCase is one entry of statistics/cases.json, as far as combine answers it.
type statCase struct {
	ID           string             `json:"id"`
	CSV          string             `json:"csv"`
	Random       []string           `json:"random"`
	SessionFixed bool               `json:"session_fixed"`
	Estimator    string             `json:"estimator"`
	Expected     expected           `json:"expected"`
	Tolerance    map[string]float64 `json:"tolerance"`
	Source       string             `json:"source"`
	Note         string             `json:"note"`
}

type expected struct {
	LogLikelihood float64            `json:"log_likelihood"`
	Variances     map[string]float64 `json:"variances"`
	Fixed         []expectedPanel    `json:"fixed"`
	Contrasts     []expectedPanel    `json:"contrasts"`
	PScore        []expectedPanel    `json:"p_score"`
	Q             *float64           `json:"q"`
	QDof          int                `json:"q_dof"`
	I2            *float64           `json:"i2"`
	Letters       map[string]string  `json:"letters_tukey_05"`
	Common        *expected          `json:"common_effect"`
	AllPairs      []struct {
		Pair  string  `json:"pair"`
		PHolm float64 `json:"p_holm"`
	} `json:"all_pairs"`
}

type expectedPanel struct {
	Panel     string   `json:"panel"`
	Reference string   `json:"reference"`
	Estimate  float64  `json:"estimate"`
	SE        float64  `json:"standard_error"`
	PlainSE   float64  `json:"standard_error_plain"`
	Dof       *float64 `json:"dof_satterthwaite"`
	P         *float64 `json:"p_value_kenward_roger"`
	PScore    float64  `json:"p_score"`
}

func statCases(tb testing.TB) []statCase {
	tb.Helper()
	return reftest.Fits[statCase](tb)
}

// run combines a reference table and reads back what was written.
func run(tb testing.TB, csv string, opt combine.Options) combine.Result {
	tb.Helper()
	file, err := os.Open(reftest.Path("statistics/" + csv))
	if err != nil {
		tb.Fatal(err)
	}
	defer file.Close()
	var written bytes.Buffer
	if err := combine.Run(context.Background(), file, opt, &written); err != nil {
		tb.Fatal(err)
	}
	var result combine.Result
	if err := json.Unmarshal(written.Bytes(), &result); err != nil {
		tb.Fatalf("%v in %s", err, written.String())
	}
	return result
}

// near fails unless got is want within an absolute tolerance.
func near(tb testing.TB, what string, got combine.Number, want, tolerance float64) {
	tb.Helper()
	if !(math.Abs(float64(got)-want) <= tolerance) {
		tb.Errorf("%s = %v, want %v within %v", what, got, want, tolerance)
	}
}

func (c statCase) options() combine.Options {
	opt := combine.Options{Random: c.Random, Estimator: c.Estimator, SessionFixed: c.SessionFixed}
	opt.IgnoreUncertainty = strings.Contains(c.Note+c.Source, "--ignore-uncertainty")
	if len(c.Expected.Contrasts) > 0 {
		opt.Reference = c.Expected.Contrasts[0].Reference
	}
	return opt
}

// Source: statistics/cases.json, 15 fits by lme4, metafor, lmerTest and pbkrtest.
func TestReferenceCases(t *testing.T) {
	t.Parallel()
	for _, c := range statCases(t) {
		t.Run(c.ID, func(t *testing.T) {
			t.Parallel()
			got := run(t, c.CSV, c.options())
			if !got.Converged {
				t.Errorf("not converged after %d iterations", got.Iterations)
			}
			near(t, "log_likelihood", got.LogLikelihood, c.Expected.LogLikelihood, c.Tolerance["log_likelihood_abs"])
			c.checkVariances(t, got)
			c.checkPanels(t, got, c.Expected)
			c.checkScatter(t, got)
		})
	}
}

func (c statCase) checkVariances(t *testing.T, got combine.Result) {
	t.Helper()
	top := 0.0
	for _, v := range c.Expected.Variances {
		top = max(top, v)
	}
	if len(got.Variances) != len(c.Expected.Variances) {
		t.Errorf("variances = %v, want those of %v", got.Variances, c.Expected.Variances)
	}
	for i, v := range got.Variances {
		want, ok := c.Expected.Variances[v.Term]
		if !ok || i < len(c.Random) && v.Term != c.Random[i] {
			t.Errorf("variance %d is of %s, want the order of %v", i, v.Term, c.Random)
		}
		near(t, "variance of "+v.Term, v.Value, want, max(c.Tolerance["variance_rel"]*want, 1e-8*top))
	}
}

func (c statCase) checkPanels(t *testing.T, got combine.Result, want expected) {
	t.Helper()
	for _, p := range want.Fixed {
		i := slices.IndexFunc(got.Fixed, func(e combine.Estimate) bool { return e.Panel == p.Panel })
		if i < 0 {
			t.Fatalf("no estimate of %s", p.Panel)
		}
		near(t, p.Panel, got.Fixed[i].Estimate, p.Estimate, c.Tolerance["fixed_rel"]*math.Abs(p.Estimate))
		near(t, "se of "+p.Panel, got.Fixed[i].StandardError, p.SE, c.Tolerance["se_rel"]*p.SE)
	}
	for _, p := range want.Contrasts {
		i := slices.IndexFunc(got.Contrasts, func(e combine.Contrast) bool { return e.Panel == p.Panel && e.Reference == p.Reference })
		if i < 0 {
			t.Fatalf("no contrast %s - %s", p.Panel, p.Reference)
		}
		se := max(p.SE, p.PlainSE)
		near(t, "contrast of "+p.Panel, got.Contrasts[i].Estimate, p.Estimate, c.Tolerance["fixed_rel"]*max(math.Abs(p.Estimate), se))
		near(t, "se of contrast of "+p.Panel, got.Contrasts[i].StandardError, se, c.Tolerance["se_rel"]*se)
		if p.Dof != nil {
			near(t, "dof of "+p.Panel, got.Contrasts[i].Dof, *p.Dof, c.Tolerance["dof_rel"]**p.Dof)
		}
		if p.P != nil {
			near(t, "p of "+p.Panel, got.Contrasts[i].PValue, *p.P, c.Tolerance["p_abs"])
		}
	}
	c.checkRank(t, got, want)
}

// checkRank compares P-scores. In the HbA1c table of Senn et al. a smaller value is
// better, here a larger one: there the scores are one less ours.
func (c statCase) checkRank(t *testing.T, got combine.Result, want expected) {
	t.Helper()
	for _, p := range want.PScore {
		i := slices.IndexFunc(got.Rank, func(r combine.Rank) bool { return r.Panel == p.Panel })
		if i < 0 {
			t.Fatalf("no rank of %s", p.Panel)
		}
		score := p.PScore
		if c.CSV == "senn2013.csv" {
			score = 1 - score
		}
		near(t, "p_score of "+p.Panel, got.Rank[i].PScore, score, max(1e-5, c.Tolerance["p_score_abs"]))
	}
	for _, r := range got.Rank {
		if letters, ok := want.Letters[r.Panel]; ok && r.TieGroup != letters {
			t.Errorf("tie group of %s = %q, want %q", r.Panel, r.TieGroup, letters)
		}
		if r.Rank < r.RankLo || r.Rank > r.RankHi {
			t.Errorf("rank of %s = %d, outside %d to %d", r.Panel, r.Rank, r.RankLo, r.RankHi)
		}
	}
}

func (c statCase) checkScatter(t *testing.T, got combine.Result) {
	t.Helper()
	if c.Expected.Q == nil {
		return
	}
	near(t, "q", got.Q, *c.Expected.Q, 1e-6**c.Expected.Q)
	if got.QDof == nil || *got.QDof != c.Expected.QDof {
		t.Errorf("q_dof = %v, want %d", got.QDof, c.Expected.QDof)
	}
	if c.Expected.I2 != nil {
		near(t, "i2", got.I2, *c.Expected.I2, 1e-5)
	}
}

// Source: common_effect of the network cases, known variances alone (metafor); the
// P-scores of Senn et al. are those printed as 0.9790 0.8513 ... 0.0000.
func TestCommonEffect(t *testing.T) {
	t.Parallel()
	for _, c := range statCases(t) {
		if c.Expected.Common == nil {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			t.Parallel()
			opt := c.options()
			opt.Random = []string{}
			got := run(t, c.CSV, opt)
			if len(got.Variances) != 0 {
				t.Errorf("variances = %v, want none", got.Variances)
			}
			c.checkPanels(t, got, *c.Expected.Common)
		})
	}
}

// Holm over the three contrasts of ergoStool to T1, by hand from its p-values.
func TestHolmColumn(t *testing.T) {
	t.Parallel()
	got := run(t, "ergostool.csv", combine.Options{})
	smallest := got.Contrasts[0]
	near(t, "Holm of T2", smallest.PValueHolm, 3*float64(smallest.PValue), 1e-18)
	near(t, "Holm of T3", got.Contrasts[1].PValueHolm, 2*float64(got.Contrasts[1].PValue), 1e-14)
	near(t, "Holm of T4", got.Contrasts[2].PValueHolm, float64(got.Contrasts[2].PValue), 1e-12)
	near(t, "p of T4", got.Contrasts[2].PValue, 0.210951190041478, 1e-6) // R, all_pairs
}

// The whole document of one textbook table. The numbers are compared to 1e-5, the
// size of the search's last step in a variance; everything else to the letter.
func TestGolden(t *testing.T) {
	t.Parallel()
	got := run(t, "ergostool.csv", combine.Options{Reference: "T1"})
	path := filepath.Join("testdata", "ergostool.golden.json")
	text, err := json.MarshalIndent(got, "", "  ")
	if err != nil {
		t.Fatal(err)
	}
	raw := reftest.Kept(t, path, append(text, '\n'))
	var want combine.Result
	if err := json.Unmarshal(raw, &want); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got, alike()); diff != "" {
		t.Errorf("ergostool.csv (-want +got):\n%s", diff)
	}
	for _, member := range []string{"fixed", "contrasts", "variances", "log_likelihood", "q", "q_dof", "i2", "rank", "converged", "iterations", "p_value_holm"} {
		if !bytes.Contains(raw, []byte(`"`+member+`"`)) {
			t.Errorf("the document lacks %s", member)
		}
	}
	if !bytes.Contains(raw, []byte(`"q": null`)) || !bytes.Contains(raw, []byte(`"i2": null`)) {
		t.Error("q or i2 without known variances is not null")
	}
}

func alike() cmp.Option {
	return cmp.Comparer(func(a, b combine.Number) bool {
		x, y := float64(a), float64(b)
		return math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) <= 1e-5*max(math.Abs(x), math.Abs(y), 1e-6)
	})
}

func ExampleRun() {
	csv := `value,panel,session
0.91,tarn,s1
0.87,moss,s1
0.93,tarn,s2
0.90,moss,s2
0.88,tarn,s3
0.84,moss,s3
`
	result, err := combine.Combine(context.Background(), strings.NewReader(csv), combine.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	c := result.Contrasts[0]
	fmt.Printf("%s - %s: %.4f, standard error %.4f\n", c.Panel, c.Reference, c.Estimate, c.StandardError)
	// Output: tarn - moss: 0.0367, standard error 0.0033
}

// What the columns allow, by the tables at hand.
func TestDefaultTerms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		csv  string
		opt  combine.Options
		want string
	}{
		{"dyestuff.csv", combine.Options{}, "session residual"},
		{"bcg.csv", combine.Options{}, "session"}, // one reading a session: nothing else to tell apart
		{"ergostool.csv", combine.Options{}, "session residual"},
		{"senn2013.csv", combine.Options{}, "session session:panel"},
		{"senn2013.csv", combine.Options{SessionFixed: true}, "session:panel"},
		{"pastes.csv", combine.Options{}, "tester session residual"},
		{"penicillin.csv", combine.Options{}, "tester session residual"},
		{"synthetic_small.csv", combine.Options{}, "tester session tester:panel session:panel residual"},
		{"synthetic_small.csv", combine.Options{IgnoreUncertainty: true}, "tester session tester:panel session:panel residual"},
		{"synthetic_small.csv", combine.Options{SessionFixed: true}, "tester:panel session:panel residual"},
	} {
		var names []string
		for _, v := range run(t, c.csv, c.opt).Variances {
			names = append(names, v.Term)
		}
		if got := strings.Join(names, " "); got != c.want {
			t.Errorf("%s %+v: terms %q, want %q", c.csv, c.opt, got, c.want)
		}
	}
}

// A tester's rigs, and specimens that carry their own variance: small tables with
// every column, each term on its own.
func TestEveryGrouping(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("value,panel,tester,rig,session,specimen,weather\n")
	for k := range 96 {
		tester, session, panel := k%4, k/4, k%3
		x := 0.9 + 0.03*math.Sin(float64(7*k)) + 0.02*float64(panel) + 0.01*float64(tester) + 0.015*math.Cos(float64(3*session))
		fmt.Fprintf(&b, "%.6f,p%d,t%d,t%d-r%d,t%d-s%d,p%d-t%d-%d,fine\n", x, panel, tester, tester, session%2, tester, session, panel, tester, (session/2)%2)
	}
	for _, random := range []string{"tester", "rig", "session", "specimen", "rig:panel", "panel:tester", "session:specimen", "tester,specimen", "rig,tester:panel,residual"} {
		opt := combine.Options{Random: strings.Split(random, ",")}
		got, err := combine.Combine(context.Background(), strings.NewReader(b.String()), opt)
		if err != nil {
			t.Errorf("--random %s: %v", random, err)
			continue
		}
		for i, name := range opt.Random {
			if got.Variances[i].Term != name || !(got.Variances[i].Value >= 0) {
				t.Errorf("--random %s: variances %v", random, got.Variances)
			}
		}
		if !slices.Contains(got.Notes, `the column "weather" is not used`) {
			t.Errorf("--random %s: notes %q do not say that weather is not used", random, got.Notes)
		}
	}
}

func TestOptionErrors(t *testing.T) {
	t.Parallel()
	const csv = "value,panel,session\n1,a,s\n2,b,s\n1.5,a,u\n2.6,b,u\n"
	for name, c := range map[string]struct {
		csv    string
		opt    combine.Options
		option string
	}{
		"unknown term":         {csv, combine.Options{Random: []string{"weather"}}, "--random"},
		"missing column":       {csv, combine.Options{Random: []string{"tester"}}, "--random"},
		"empty term":           {csv, combine.Options{Random: []string{""}}, "--random"},
		"twice":                {csv, combine.Options{Random: []string{"session:panel", "panel:session"}}, "--random"},
		"squared":              {csv, combine.Options{Random: []string{"session:session"}}, "--random"},
		"panels":               {csv, combine.Options{Random: []string{"panel"}}, "--random"},
		"fixed and random":     {csv, combine.Options{Random: []string{"session"}, SessionFixed: true}, "--random"},
		"estimator":            {csv, combine.Options{Estimator: "bayes"}, "--estimator"},
		"reference":            {csv, combine.Options{Reference: "c"}, "--reference"},
		"fixed, no session":    {"value,panel\n1,a\n2,b\n3,b\n", combine.Options{SessionFixed: true}, "--session-fixed"},
		"fixed, no connection": {csv + "1,c,v\n1.1,d,v\n1.2,c,w\n1.4,d,w\n", combine.Options{SessionFixed: true}, "--session-fixed"},
	} {
		err := combine.Run(context.Background(), strings.NewReader(c.csv), c.opt, &bytes.Buffer{})
		wrong, ok := errors.AsType[*combine.OptionError](err)
		if !ok || wrong.Option != c.option || wrong.Reason == "" || wrong.Error() == "" {
			t.Errorf("%s: error = %v, want one of %s", name, err, c.option)
		}
	}
}

func TestParseRandom(t *testing.T) {
	t.Parallel()
	for list, want := range map[string][]string{"": nil, " none ": {}, "tester": {"tester"}, "tester, session:panel": {"tester", "session:panel"}, ",": {"", ""}} {
		if got := combine.ParseRandom(list); !slices.Equal(got, want) || (got == nil) != (want == nil) {
			t.Errorf("ParseRandom(%q) = %q, want %q", list, got, want)
		}
	}
}

// With fixed sessions there are only differences: the estimates are those to the
// reference, whichever it is, and ranks do not depend on it.
func TestFixedSessionsGiveDifferences(t *testing.T) {
	t.Parallel()
	a := run(t, "linde2015.csv", combine.Options{SessionFixed: true, Reference: "Placebo"})
	b := run(t, "linde2015.csv", combine.Options{SessionFixed: true})
	at := func(r combine.Result, panel string) combine.Estimate {
		return r.Fixed[slices.IndexFunc(r.Fixed, func(e combine.Estimate) bool { return e.Panel == panel })]
	}
	if e := at(a, "Placebo"); e.Estimate != 0 || e.StandardError != 0 {
		t.Errorf("estimate of the reference = %+v, want 0", e)
	}
	shift := float64(at(b, "Placebo").Estimate)
	for _, e := range a.Fixed {
		near(t, e.Panel, e.Estimate, float64(at(b, e.Panel).Estimate)-shift, 1e-9)
	}
	if diff := cmp.Diff(a.Rank, b.Rank, alike()); diff != "" {
		t.Errorf("ranks depend on the reference:\n%s", diff)
	}
}

// Readings that no model explains, and a caller that has gone.
func TestModelErrors(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	err := combine.Run(context.Background(), strings.NewReader("value,panel\n1,a\n1,a\n2,b\n2,b\n"), combine.Options{}, &out)
	if !errors.Is(err, compare.ErrModel) || out.Len() > 0 {
		t.Errorf("values that do not vary: error %v after %d bytes, want ErrModel and nothing written", err, out.Len())
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if err := combine.Run(gone, strings.NewReader("value,panel\n1,a\n"), combine.Options{}, &out); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: error %v, want context.Canceled", err)
	}
}

// Adding a constant moves estimates and nothing else; shuffled rows and other names
// for sessions change nothing.
func TestInvariance(t *testing.T) {
	t.Parallel()
	raw, err := os.ReadFile(reftest.Path("statistics/synthetic_small.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(raw)), "\n")
	plain := run(t, "synthetic_small.csv", combine.Options{})
	shuffled := []string{rows[0]}
	for k := range rows[1:] {
		shuffled = append(shuffled, strings.ReplaceAll(rows[1+(k*37)%240], ",s0", ",z0"))
	}
	got, err := combine.Combine(context.Background(), strings.NewReader(strings.Join(shuffled, "\n")), combine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range plain.Contrasts {
		near(t, "shuffled "+want.Panel, got.Contrasts[i].Estimate, float64(want.Estimate), 1e-8)
		near(t, "shuffled se of "+want.Panel, got.Contrasts[i].StandardError, float64(want.StandardError), 1e-8)
	}
	for i, want := range plain.Rank {
		if r := got.Rank[i]; r.Panel != want.Panel || r.RankLo != want.RankLo || r.RankHi != want.RankHi || r.TieGroup != want.TieGroup {
			t.Errorf("shuffled place %d = %+v, want %+v", i+1, r, want)
		}
	}
}
