package audit_test

import (
	"context"
	"encoding/json"
	"math"
	"sort"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

func TestNothingToDoubt(t *testing.T) {
	t.Parallel()
	one := plan{testers: 1, sessions: 1, panels: 1, perSession: 1, readings: 1, seed: 3}
	alone := plan{testers: 1, sessions: 6, panels: 4, perSession: 3, readings: 2, seed: 3}
	few := plan{testers: 2, sessions: 1, panels: 2, perSession: 2, readings: 1, seed: 3}
	for name, f := range map[string]*field{"no readings": {in: ranking.Inputs{Rules: ranking.DefaultRules()}}, "one reading": one.field(), "one tester": alone.field(), "two testers": few.field()} {
		if found := f.found(t); len(found) != 0 {
			t.Errorf("%s: %d findings, first %s: %s", name, len(found), found[0].Rule, found[0].Reason)
		}
	}
}

// The same data in another order give the same findings, with the same ids and numbers.
func TestOrderChangesNothing(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{cell: -0.08, opinion: -0.1, copied: true}
	f := p.field()
	first := f.found(t)
	n := len(f.in.Observations)
	for i := range n / 2 {
		f.in.Observations[i], f.in.Observations[n-1-i] = f.in.Observations[n-1-i], f.in.Observations[i]
		f.raw[i], f.raw[n-1-i] = f.raw[n-1-i], f.raw[i]
	}
	if diff := cmp.Diff(first, f.found(t)); diff != "" {
		t.Errorf("findings of reversed data: -first +reversed\n%s", diff)
	}
	if len(first) < 3 {
		t.Errorf("%d findings, want three or more", len(first))
	}
}

// Every finding is a note that stands on its own: known rule, subject, reason, evidence
// that JSON can carry, a place in the queue.
func TestFindingsAreComplete(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	for _, id := range audit.RuleIDs() {
		known[id] = true
	}
	p := usual()
	p.fault = fault{tester: [2]float64{3, -0.12}, opinion: -0.1, session: -0.2, cell: -0.1, reading: -0.06, rig: -0.1, scatter: 3, copied: true}
	found := p.field().found(t)
	if !sort.SliceIsSorted(found, func(i, j int) bool { return found[i].Priority > found[j].Priority }) {
		t.Error("findings are not in the order of their priority")
	}
	ids := map[uuid.UUID]bool{}
	for _, x := range found {
		if !known[x.Rule] || x.Severity != fieldtest.Note || x.State != fieldtest.FindingOpen || ids[x.ID] {
			t.Errorf("%s: severity %s, state %s, id seen before: %v", x.Rule, x.Severity, x.State, ids[x.ID])
		}
		ids[x.ID] = true
		if x.TesterID == nil && x.SessionID == nil && x.PanelModel == nil && x.RigID == nil && x.ReadingID == nil {
			t.Errorf("%s is about nothing", x.Rule)
		}
		if !strings.HasSuffix(x.Reason, ".") || x.Priority < 0 || x.Priority > 100 {
			t.Errorf("%s: priority %v, reason %q", x.Rule, x.Priority, x.Reason)
		}
		if x.Band != "high" && x.Band != "medium" && x.Band != "low" {
			t.Errorf("%s: band %q", x.Rule, x.Band)
		}
		for _, name := range []string{"level", "source"} {
			if x.Basis[name] == nil {
				t.Errorf("%s: no %s in its basis", x.Rule, name)
			}
		}
		if list, ok := x.Basis["comparison_readings"].([]map[string]any); ok && len(list) > 20 {
			t.Errorf("%s: %d comparison readings, want 20 or fewer", x.Rule, len(list))
		}
		if _, err := json.Marshal(x); err != nil {
			t.Errorf("%s: %v", x.Rule, err)
		}
	}
}

// The evidence of a doubted panel names what was seen and what was expected: 10 % below.
func TestEvidenceOfACell(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{cell: math.Log(0.9)}
	f := p.field()
	for _, x := range f.found(t) {
		if x.Rule != "panel_off_in_session" || *x.SessionID != f.sessions[2][1] {
			continue
		}
		observed, expected := x.Basis["observed"].(float64), x.Basis["expected"].(float64)
		if r := observed / expected; r < 0.87 || r > 0.93 {
			t.Errorf("observed/expected = %v, want near 0.9", r)
		}
		delta := x.Basis["delta_percent"].(float64)
		if math.Abs(delta-100*(observed/expected-1)) > 1e-3 {
			t.Errorf("delta_percent = %v, want that of %v and %v", delta, observed, expected)
		}
		if x.Basis["weight"].(float64) > 0.5 || *x.Value < *x.Limit || x.Basis["unit"] != "W" {
			t.Errorf("weight %v, value %v, limit %v, unit %v", x.Basis["weight"], *x.Value, *x.Limit, x.Basis["unit"])
		}
		if *x.PanelModel != slugOf(1) || *x.TesterID != f.testers[2] {
			t.Errorf("about %s of %s", *x.PanelModel, x.TesterID)
		}
		return
	}
	t.Error("the panel that is 10 % low is not found")
}

// A larger fault is never less suspicious.
func TestStrongerFaultsWeighMore(t *testing.T) {
	t.Parallel()
	last := 0.0
	for _, size := range []float64{0.05, 0.1, 0.2, 0.4, 0.8} {
		p := usual()
		p.fault = fault{cell: -size}
		f := p.field()
		value := 0.0
		for _, x := range f.found(t) {
			if x.Rule == "panel_off_in_session" && *x.SessionID == f.sessions[2][1] {
				value = *x.Value
			}
		}
		if value <= last {
			t.Errorf("|t| of a panel %v low = %v, want more than %v", size, value, last)
		}
		last = value
	}
}

// All readings of everybody 7 % higher, as under another calibration of all meters, is
// nothing that data can show.
func TestCommonFactorIsInvisible(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{cell: -0.08, opinion: -0.1}
	plain, lifted := p.field(), p.field()
	for i := range lifted.in.Observations {
		lifted.in.Observations[i].Result.StcPowerW *= 1.07
		lifted.in.Observations[i].Result.StcPowerUW *= 1.07
	}
	a, b := plain.found(t), lifted.found(t)
	names := func(list []fieldtest.Finding) []string {
		var out []string
		for _, x := range list {
			out = append(out, x.ID.String()+" "+x.Rule)
		}
		sort.Strings(out)
		return out
	}
	if diff := cmp.Diff(names(a), names(b)); diff != "" {
		t.Errorf("findings: -plain +7 %% higher\n%s", diff)
	}
}

func TestSwappedLabelsNameEachOther(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{swap: true}
	f := p.field()
	named := map[string]any{}
	for _, x := range f.found(t) {
		if x.Rule == "mislabelled_panel" && *x.SessionID == f.sessions[2][0] {
			named[*x.PanelModel] = x.Basis["other_panel_model"]
		}
	}
	if diff := cmp.Diff(map[string]any{slugOf(0): slugOf(1), slugOf(1): slugOf(0)}, named); diff != "" {
		t.Errorf("labels: -want +got\n%s", diff)
	}
}

func TestDigitsPointAtTheirTester(t *testing.T) {
	t.Parallel()
	p := usual()
	p.sessions, p.readings = 12, 3
	p.fault = fault{digits: true}
	f := p.field()
	hit := false
	for _, x := range f.found(t) {
		if x.Rule != "terminal_digits" {
			continue
		}
		if *x.TesterID != f.testers[7] || x.Basis["quantity"] != "power_w" {
			t.Errorf("terminal digits of %s, %v, want tester 7's powers", x.TesterID, x.Basis["quantity"])
		}
		hit = true
	}
	if !hit {
		t.Error("powers that end on 0 or 5 are not found")
	}
}

// Readings shown twice in one session are no copies: a display stands still. The same
// digits weeks later are.
func TestSameDigitsNeedOtherSessions(t *testing.T) {
	t.Parallel()
	f := usual().field()
	same := func(a, b int) {
		f.raw[b].VoltageV, f.raw[b].CurrentA, f.raw[b].PowerW = f.raw[a].VoltageV, f.raw[a].CurrentA, f.raw[a].PowerW
	}
	perSession := f.plan.perSession * f.plan.readings
	count := func() int {
		n := 0
		for _, x := range f.found(t) {
			if x.Rule == "same_digits" {
				n++
			}
		}
		return n
	}
	for k := range 4 {
		same(2*k, 2*k+1)
	}
	if n := count(); n != 0 {
		t.Errorf("same digits within a session: %d findings, want none", n)
	}
	for k := range 3 {
		same(k, perSession*(k+1)+2*k)
	}
	if n := count(); n != 1 {
		t.Errorf("same digits in other sessions: %d findings, want 1", n)
	}
}

// A panel of two testers who contradict each other, while testers agree on all others,
// hangs on either. The finding is about the panel, so it names no tester as its subject.
func TestDependsOnOneTester(t *testing.T) {
	t.Parallel()
	f := usual().field()
	var kept []ranking.Observation
	for _, o := range f.in.Observations {
		if o.Panel != slugOf(0) {
			kept = append(kept, o)
			continue
		}
		if o.TesterID == f.testers[0] || o.TesterID == f.testers[2] {
			r := *o.Result
			if o.TesterID == f.testers[0] {
				r.StcPowerW *= 1.06
			}
			o.Result = &r
			kept = append(kept, o)
		}
	}
	f.in.Observations = kept
	hit := false
	for _, x := range f.found(t) {
		if x.Rule != "depends_on_one_tester" {
			continue
		}
		if x.TesterID != nil || *x.PanelModel != slugOf(0) || *x.Value <= *x.Limit {
			t.Errorf("finding about tester %v, panel %s, shift %v of at most %v", x.TesterID, *x.PanelModel, *x.Value, *x.Limit)
		}
		hit = true
	}
	if !hit {
		t.Error("a panel of two testers who contradict each other is not found")
	}
}

func TestEndedContext(t *testing.T) {
	t.Parallel()
	f := usual().field()
	out := f.computed(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := audit.Find(ctx, &f.in, out, f.raw); err == nil {
		t.Error("Find() of an ended context = nil, want its error")
	}
}

func TestAgreementOf(t *testing.T) {
	t.Parallel()
	p := usual()
	p.fault = fault{tester: [2]float64{3, -0.1}, opinion: -0.08}
	f := p.field()
	out := f.computed(t)
	of := func(id uuid.UUID) (audit.Agreement, bool) {
		a, ok, err := audit.AgreementOf(context.Background(), &f.in, out, id)
		if err != nil {
			t.Fatal(err)
		}
		return a, ok
	}
	low, _ := of(f.testers[3])
	if *low.Offset > -0.06 || *low.ZPrime > -1.5 || *low.En > -1 || math.Abs(*low.H) < *low.HLimit {
		t.Errorf("tester 10 %% low: offset %v, z' %v, En %v, h %v (limit %v)", *low.Offset, *low.ZPrime, *low.En, *low.H, *low.HLimit)
	}
	if d := *low.En - *low.Zeta/2; math.Abs(d) > 1e-5 {
		t.Errorf("En = %v, want half of zeta %v", *low.En, *low.Zeta)
	}
	odd, _ := of(f.testers[0])
	first := odd.Panels[0]
	if first.PanelModel != slugOf(0) || *first.Ratio > 0.96 || !(*first.RatioLo < *first.Ratio && *first.Ratio < *first.RatioHi) {
		t.Errorf("oddest panel of tester 0 = %+v, want panel 0, 8 %% low", first)
	}
	if _, ok := of(uuid.New()); ok {
		t.Error("a tester without readings has an agreement")
	}
	if _, err := json.Marshal(odd); err != nil {
		t.Errorf("Marshal() = %v", err)
	}
}
