package compare_test

import (
	"context"
	"encoding/json"
	"math"
	"testing"

	"evensun/internal/compare"

	"gonum.org/v1/gonum/stat/distuv"
)

type estimator struct {
	Tau2 float64   `json:"tau2"`
	Mu   float64   `json:"mu"`
	SE   float64   `json:"se"`
	CI   []float64 `json:"ci"`
	Q    float64   `json:"q"`
	QDof int       `json:"q_dof"`
	QP   float64   `json:"q_p"`
	I2   float64   `json:"i2"`
	H2   float64   `json:"h2"`
}

func caseNamed(tb testing.TB, id string) statCase {
	tb.Helper()
	for _, c := range statCases(tb) {
		if c.ID == id {
			return c
		}
	}
	tb.Fatalf("no case %q", id)
	return statCase{}
}

func TestScatterAgainstMetafor(t *testing.T) {
	t.Parallel()
	c := caseNamed(t, "bcg-reml")
	table, _ := readTable(t, c.CSV)
	h, err := compare.Scatter(context.Background(), table, false)
	if err != nil {
		t.Fatal(err)
	}
	tau2 := map[string]float64{"FE": 0}
	for name, opt := range map[string]compare.Options{"REML": {}, "ML": {ML: true}} {
		opt.Random = []compare.Term{compare.Session}
		f, err := compare.Estimate(context.Background(), table, opt)
		if err != nil {
			t.Fatal(err)
		}
		tau2[name] = f.Theta[compare.Session]
	}
	var all map[string]json.RawMessage
	if err := json.Unmarshal(c.Expected.All, &all); err != nil {
		t.Fatal(err)
	}
	rel := c.Tolerance["table_rel"]
	for name, got := range tau2 {
		want := decode(t, all[name])
		near(t, name+" tau2", got, want.Tau2, rel*want.Tau2)
		near(t, name+" Q", h.Q, want.Q, rel*want.Q)
		near(t, name+" Q p", h.P(), want.QP, rel*want.QP)
		if h.Dof != want.QDof {
			t.Errorf("dof = %d, want %d", h.Dof, want.QDof)
		}
		if name == "FE" {
			near(t, name+" I2", h.I2Q(), want.I2, rel)
			continue
		}
		near(t, name+" I2", h.I2(got), want.I2, rel)
		near(t, name+" H2", h.H2(got), want.H2, rel*want.H2)
	}
}

func decode(tb testing.TB, raw json.RawMessage) estimator {
	tb.Helper()
	var e estimator
	if err := json.Unmarshal(raw, &e); err != nil {
		tb.Fatal(err)
	}
	return e
}

// TestLeaveOneOut compares refits of bcg.csv without one session with metafor's.
func TestLeaveOneOut(t *testing.T) {
	t.Parallel()
	c := caseNamed(t, "bcg-reml")
	table, n := readTable(t, c.CSV)
	var all struct {
		Mu   []float64 `json:"REML_leave_one_out_mu"`
		Tau2 []float64 `json:"REML_leave_one_out_tau2"`
	}
	if err := json.Unmarshal(c.Expected.All, &all); err != nil {
		t.Fatal(err)
	}
	for k := range table.Value {
		f, err := compare.Estimate(context.Background(), dropRows(table, func(i int) bool { return i == k }), compare.Options{Random: []compare.Term{compare.Session}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "mu without "+n.session[table.Session[k]], f.Mu[0], all.Mu[k], 1e-5*math.Abs(all.Mu[k]))
		near(t, "tau2", f.Theta[compare.Session], all.Tau2[k], 1e-5*all.Tau2[k])
	}
}

func dropRows(t compare.Table, drop func(k int) bool) compare.Table {
	out := compare.Table{SessionVariance: t.SessionVariance, RigVariance: t.RigVariance, SessionKey: t.SessionKey}
	codes := []struct{ from, to *[]int32 }{{&t.Panel, &out.Panel}, {&t.Session, &out.Session}, {&t.Tester, &out.Tester}, {&t.Rig, &out.Rig}, {&t.Specimen, &out.Specimen}}
	values := []struct{ from, to *[]float64 }{{&t.Value, &out.Value}, {&t.Variance, &out.Variance}, {&t.Minutes, &out.Minutes}}
	for k := range t.Value {
		if drop(k) {
			continue
		}
		for _, c := range codes {
			if *c.from != nil {
				*c.to = append(*c.to, (*c.from)[k])
			}
		}
		for _, v := range values {
			if *v.from != nil {
				*v.to = append(*v.to, (*v.from)[k])
			}
		}
	}
	return out
}

// TestReferenceRest checks what the cases state beyond the fit: Q, I2, P-scores,
// the common-effect network and the testers' predictions.
func TestReferenceRest(t *testing.T) {
	t.Parallel()
	checked := map[string]int{}
	for _, c := range statCases(t) {
		table, n := readTable(t, c.CSV)
		f, err := compare.Estimate(context.Background(), table, c.options(t, &table))
		if err != nil {
			t.Fatal(err)
		}
		if c.Expected.Q != nil {
			c.checkScatter(t, table, f)
			checked["q"]++
		}
		if len(c.Expected.PScore) > 0 {
			c.checkScores(t, c.Expected.PScore, f, n)
			checked["p_score"]++
		}
		if c.Expected.Common != nil {
			c.checkCommon(t, table, n)
			checked["common"]++
		}
		if blups := c.Expected.BlupTester; len(blups) > 0 {
			l := f.Level(compare.Tester)
			for i, b := range blups {
				near(t, b.Tester, f.Theta[compare.Tester]*l.Score[i], b.Estimate, 1e-3*math.Sqrt(f.Theta[compare.Tester]))
			}
			checked["blup"]++
		}
	}
	if checked["q"] != 6 || checked["p_score"] != 5 || checked["common"] != 2 || checked["blup"] != 1 {
		t.Errorf("checked %v", checked)
	}
}

func (c statCase) checkScatter(t *testing.T, table compare.Table, f *compare.Fit) {
	h, err := compare.Scatter(context.Background(), table, c.SessionFixed)
	if err != nil {
		t.Fatal(err)
	}
	near(t, c.ID+" Q", h.Q, *c.Expected.Q, 1e-6**c.Expected.Q)
	near(t, c.ID+" dof", float64(h.Dof), c.Expected.QDof, 0)
	if c.Expected.I2 != nil {
		near(t, c.ID+" I2", h.I2(f.Theta[compare.Session]), *c.Expected.I2, 1e-5)
	}
	if c.Expected.I2Q != nil {
		near(t, c.ID+" I2 of Q", h.I2Q(), *c.Expected.I2Q, 1e-8)
	}
}

// checkScores forms P-scores, the mean over the others of Phi(z); in senn2013
// smaller is better.
func (c statCase) checkScores(t *testing.T, want []expectedPanel, f *compare.Fit, n names) {
	sign := 1.0
	if c.CSV == "senn2013.csv" {
		sign = -1
	}
	for _, p := range want {
		sum := 0.0
		for j, name := range n.panel {
			if name == p.Panel {
				continue
			}
			con, err := f.Contrast(indexOf(t, n.panel, p.Panel), j)
			if err != nil {
				t.Fatal(err)
			}
			sum += distuv.UnitNormal.CDF(sign * con.Estimate / con.SE)
		}
		near(t, c.ID+" P-score "+p.Panel, sum/float64(len(n.panel)-1), p.PScore, c.Tolerance["p_score_abs"])
	}
}

func indexOf(tb testing.TB, list []string, name string) int {
	tb.Helper()
	for i, s := range list {
		if s == name {
			return i
		}
	}
	tb.Fatalf("no %q", name)
	return -1
}

func (c statCase) checkCommon(t *testing.T, table compare.Table, n names) {
	f, err := compare.Estimate(context.Background(), table, compare.Options{SessionFixed: true})
	if err != nil {
		t.Fatal(err)
	}
	common := c
	common.Expected = *c.Expected.Common
	common.checkEstimates(t, f, n)
	common.checkScores(t, common.Expected.PScore, f, n)
}

// A new unit varies as units do, beside the new tester's opinion and the place in his
// session; where units have no term of their own, opinions hold them.
func TestPredictionHoldsUnits(t *testing.T) {
	t.Parallel()
	theta := compare.Theta{compare.Tester: 4e-4, compare.Session: 9e-4, compare.TesterPanel: 1e-4, compare.Specimen: 2e-4, compare.SessionPanel: 5e-5, compare.Residual: 3e-5}
	f, err := compare.Estimate(t.Context(), invented(3, false), compare.Options{
		Random: []compare.Term{compare.Tester, compare.Session, compare.TesterPanel, compare.Specimen, compare.SessionPanel, compare.Residual}, Start: &theta, Hold: true,
	})
	if err != nil {
		t.Fatal(err)
	}
	c, err := f.Contrast(0, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := f.Prediction(c)
	near(t, "variance added for a new unit", p.SE*p.SE-c.SE*c.SE, 2*(1e-4+2e-4+5e-5), 1e-15)
	near(t, "estimate and degrees of freedom", math.Hypot(p.Estimate-c.Estimate, p.Dof-c.Dof), 0, 0)
}
