package intake_test

import (
	"slices"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

// misprinted is the desk's panel with a short-circuit current ten times too small.
func misprinted(m fieldtest.PanelModel) fieldtest.PanelModel {
	tenth := *m.Nameplate.IscA / 10
	m.Nameplate.IscA, m.Nameplate.ImpA, m.Nameplate.VmpV, m.Nameplate.VocV = &tenth, nil, nil, nil
	return m
}

// contested makes the tester stand by the currents of a session.
func contested(s fieldtest.Session) fieldtest.Session {
	for i := range s.Readings {
		s.Readings[i].Contest = []fieldtest.Contest{{Rule: "current_above_isc", Reason: "the label says 10.6 A"}}
	}
	return s
}

// change stores the next revision of the desk's panel model.
func (d *desk) change(t testing.TB, revision int, m fieldtest.PanelModel) {
	t.Helper()
	if _, _, err := d.in.UpdatePanelModel(t.Context(), d.reviewer, slug, revision, "label read again", m, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
}

// findings returns the findings of a stored session's readings of one rule, by state.
func (d *desk) findings(t testing.TB, session uuid.UUID, rule string) map[fieldtest.FindingState][]fieldtest.Finding {
	t.Helper()
	kept, err := d.db.Session(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	byState := map[fieldtest.FindingState][]fieldtest.Finding{}
	for i := range kept.Readings {
		for _, f := range kept.Readings[i].Findings {
			if f.Rule == rule {
				byState[f.State] = append(byState[f.State], f)
			}
		}
	}
	return byState
}

// whole fails if the ledger and what is stored do not agree.
func (d *desk) whole(t testing.TB) {
	t.Helper()
	entries, err := d.db.Ledger(t.Context(), 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	content, err := d.db.VerifyContent(t.Context(), entries)
	if err != nil {
		t.Fatal(err)
	}
	states, err := d.db.VerifyStates(t.Context(), 10)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range append(content, states...) {
		t.Error(f)
	}
}

// A short-circuit current ten times too small holds every reading. With the nameplate
// corrected the findings are obsolete and the readings count, in one transaction that
// marks the ranking as stale.
func TestACorrectedNameplateFreesWhatItHeld(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	d.change(t, 1, misprinted(d.model))
	r := d.submit(t, contested(session(t, 0)))
	if !all(d.states(t, *r.ID), fieldtest.Held) || len(d.findings(t, *r.ID, "current_above_isc")[fieldtest.FindingOpen]) != 3 {
		t.Fatalf("readings %v, findings %v: want all held by open findings", d.states(t, *r.ID), d.findings(t, *r.ID, "current_above_isc"))
	}
	conn := d.connect(t)
	if _, err := conn.Exec(t.Context(), "DELETE FROM dirty"); err != nil {
		t.Fatal(err)
	}
	d.change(t, 2, d.model)
	if !all(d.states(t, *r.ID), fieldtest.Counted) {
		t.Errorf("readings are %v, want them counted", d.states(t, *r.ID))
	}
	after := d.findings(t, *r.ID, "current_above_isc")
	if len(after) != 1 || len(after[fieldtest.FindingObsolete]) != 3 {
		t.Errorf("findings are %v, want three obsolete", after)
	}
	var transactions, stale int
	err := conn.QueryRow(t.Context(), `SELECT (SELECT count(DISTINCT x) FROM (
		SELECT xmin::text AS x FROM reading UNION ALL SELECT xmin::text FROM reading_result
		UNION ALL SELECT xmin::text FROM finding WHERE rule = 'current_above_isc' UNION ALL SELECT xmin::text FROM rejudgement
		UNION ALL SELECT xmin::text FROM dirty WHERE stale_group = 'tilted' UNION ALL SELECT xmin::text FROM panel_model_revision WHERE revision = 3) AS rows),
		(SELECT count(*) FROM dirty WHERE stale_group = 'tilted')`).Scan(&transactions, &stale)
	if err != nil || transactions != 1 || stale != 1 {
		t.Errorf("%d transactions, %d marks, %v: want one of each", transactions, stale, err)
	}
	d.whole(t)
}

// What a reviewer has decided stays decided when the nameplate that caused it is corrected.
// One who has only asked has nothing left to ask.
func TestDecisionsOutliveACorrectedNameplate(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	d.change(t, 1, misprinted(d.model))
	r := d.submit(t, contested(session(t, 0)))
	open := d.findings(t, *r.ID, "current_above_isc")[fieldtest.FindingOpen]
	for i, decision := range []fieldtest.Decision{fieldtest.Keep, fieldtest.Exclude, fieldtest.Ask} {
		d.verdict(t, open[i].ID, decision)
	}
	d.change(t, 2, d.model)
	after := d.findings(t, *r.ID, "current_above_isc")
	for _, state := range []fieldtest.FindingState{fieldtest.FindingKept, fieldtest.FindingExcluded, fieldtest.FindingObsolete} {
		if len(after[state]) != 1 {
			t.Errorf("findings are %v, want one %s", after, state)
		}
	}
	want := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Excluded, fieldtest.Counted}
	if got := d.states(t, *r.ID); !slices.Equal(got, want) {
		t.Errorf("readings are %v, want %v", got, want)
	}
	d.whole(t)
}

// A nameplate that gets worse raises findings on sessions that were fine, and holds their
// readings; what is decided is not raised a second time by the next revision.
func TestAWorseNameplateHoldsWhatWasCounted(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	r := d.submit(t, session(t, 0))
	if !all(d.states(t, *r.ID), fieldtest.Counted) {
		t.Fatalf("readings are %v, want them counted", d.states(t, *r.ID))
	}
	d.change(t, 1, misprinted(d.model))
	raised := d.findings(t, *r.ID, "current_above_isc")[fieldtest.FindingOpen]
	if len(raised) != 3 || !all(d.states(t, *r.ID), fieldtest.Held) {
		t.Fatalf("findings %v, readings %v: want three open, all held", raised, d.states(t, *r.ID))
	}
	for i, f := range raised {
		if f.ReadingID == nil || f.Label == nil || *f.Label != r.Readings[i].Label || *f.TesterID != d.tester.TesterID || f.Priority <= 0 || f.CreatedAt.IsZero() {
			t.Errorf("finding %+v does not say what it is about", f)
		}
	}
	d.verdict(t, raised[0].ID, fieldtest.Keep)
	d.change(t, 2, misprinted(d.model)) // the same again
	same := d.findings(t, *r.ID, "current_above_isc")
	if len(same[fieldtest.FindingKept]) != 1 || len(same[fieldtest.FindingOpen]) != 2 || len(same[fieldtest.FindingObsolete]) != 0 {
		t.Errorf("findings are %v, want those of before", same)
	}
	worse := misprinted(d.model)
	half := *worse.Nameplate.IscA / 2
	worse.Nameplate.IscA = &half
	d.change(t, 3, worse)
	other := d.findings(t, *r.ID, "current_above_isc")
	if len(other[fieldtest.FindingKept]) != 1 || len(other[fieldtest.FindingOpen]) != 2 || len(other[fieldtest.FindingObsolete]) != 2 {
		t.Errorf("findings are %v, want those undecided replaced by ones with today's numbers", other)
	}
	if want := []fieldtest.ReadingState{fieldtest.Counted, fieldtest.Held, fieldtest.Held}; !slices.Equal(d.states(t, *r.ID), want) {
		t.Errorf("readings are %v, want %v", d.states(t, *r.ID), want)
	}
	d.whole(t)
}

// What other sources than a judgement doubt is left alone by a corrected nameplate.
func TestACorrectedNameplateLeavesOtherDoubts(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	r := d.submit(t, session(t, 0)) // held: new_tester
	about := d.raise(t, fieldtest.Finding{Severity: fieldtest.Hold, RigID: d.rigOf(t, *r.ID)})
	d.change(t, 1, d.model)
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil || len(kept.Findings) != 1 || kept.Findings[0].State != fieldtest.FindingOpen || !all(d.states(t, *r.ID), fieldtest.Held) {
		t.Errorf("findings %+v, %v, readings %v: want new_tester open, all held", kept.Findings, err, d.states(t, *r.ID))
	}
	if f, err := d.db.Finding(t.Context(), about); err != nil || f.State != fieldtest.FindingOpen {
		t.Errorf("the finding about the rig is %s, %v, want open", f.State, err)
	}
	d.whole(t)
}

func (d *desk) rigOf(t testing.TB, session uuid.UUID) *uuid.UUID {
	t.Helper()
	kept, err := d.db.Session(t.Context(), session)
	if err != nil {
		t.Fatal(err)
	}
	return &kept.RigID
}

// A doubt about the nameplate itself is raised once, whatever else is changed, and goes
// when the nameplate is put right.
func TestDoubtsAboutANameplateComeAndGo(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	doubtful := d.model
	pmaxW := 215.0 // Vmp times Imp are 200 W
	doubtful.Nameplate.PmaxW = &pmaxW
	states := func() (list []fieldtest.FindingState) {
		t.Helper()
		model := slug
		found := d.about(t, &model, nil)
		for _, f := range found {
			list = append(list, f.State)
		}
		return list
	}
	r := d.submit(t, session(t, 0))
	for i, step := range []struct {
		model fieldtest.PanelModel
		want  []fieldtest.FindingState
		held  fieldtest.ReadingState
	}{
		{doubtful, []fieldtest.FindingState{fieldtest.FindingOpen}, fieldtest.Held},
		{doubtful, []fieldtest.FindingState{fieldtest.FindingOpen}, fieldtest.Held},
		{d.model, []fieldtest.FindingState{fieldtest.FindingObsolete}, fieldtest.Counted},
		{doubtful, []fieldtest.FindingState{fieldtest.FindingOpen, fieldtest.FindingObsolete}, fieldtest.Held},
	} {
		d.change(t, i+1, step.model)
		if got := states(); !slices.Equal(got, step.want) || !all(d.states(t, *r.ID), step.held) {
			t.Errorf("step %d: findings %v, readings %v, want %v and %s", i, got, d.states(t, *r.ID), step.want, step.held)
		}
	}
	d.whole(t)
}

// A corrected rig is no longer doubted, and readings that come later count. Sessions that
// used it as it was keep what they used, and the doubt, until they are revised.
func TestACorrectedRigIsNoLongerDoubted(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	good := session(t, 0).Rig.Rig
	wrong := good
	lengthM, metres := 500.0, 5.0
	wrong.Cable.LengthM, good.Cable.LengthM = &lengthM, &metres
	unused, used := d.rig(t, wrong), d.rig(t, wrong)
	old := d.submit(t, withRig(session(t, 0), used))
	doubt := d.about(t, nil, &used)
	if len(doubt) != 1 || !all(d.states(t, *old.ID), fieldtest.Held) {
		t.Fatalf("findings %v, readings %v: want one, all held", doubt, d.states(t, *old.ID))
	}
	d.changeRig(t, unused, 1, good)
	d.changeRig(t, used, 1, good)
	if f := d.about(t, nil, &unused); len(f) != 1 || f[0].State != fieldtest.FindingObsolete {
		t.Errorf("findings about a rig that no session used: %v, want one, obsolete", f)
	}
	if f := d.about(t, nil, &used); len(f) != 1 || f[0].State != fieldtest.FindingOpen || !all(d.states(t, *old.ID), fieldtest.Held) {
		t.Errorf("findings %v, readings %v: want the old session held as it was", f, d.states(t, *old.ID))
	}
	later := d.submit(t, withRig(session(t, 1), used))
	if !all(d.states(t, *later.ID), fieldtest.Counted) {
		t.Errorf("readings with the corrected rig are %v, want them counted", d.states(t, *later.ID))
	}
	d.whole(t)
	if _, _, err := d.in.Revise(t.Context(), d.tester, *old.ID, 1, intake.Reason{Code: "other"}, withRig(session(t, 0), used), intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	if !all(d.states(t, *old.ID), fieldtest.Counted) {
		t.Errorf("readings are %v after a revision with the corrected rig, want them counted", d.states(t, *old.ID))
	}
	d.changeRig(t, used, 2, good)
	if f := d.about(t, nil, &used); f[0].State != fieldtest.FindingObsolete {
		t.Errorf("finding %v reaches no session and no rig, want it obsolete", f)
	}
	d.whole(t)
}

func (d *desk) rig(t testing.TB, r fieldtest.Rig) uuid.UUID {
	t.Helper()
	response, _, err := d.in.CreateRig(t.Context(), d.tester, r, intake.SubmitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var made struct {
		ID uuid.UUID `json:"id"`
	}
	if err := json.Unmarshal(response.Body, &made); err != nil {
		t.Fatal(err)
	}
	return made.ID
}

func (d *desk) changeRig(t testing.TB, id uuid.UUID, revision int, r fieldtest.Rig) {
	t.Helper()
	if _, _, err := d.in.UpdateRig(t.Context(), d.tester, id, revision, r, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
}

func withRig(s fieldtest.Session, rig uuid.UUID) fieldtest.Session {
	s.Rig = fieldtest.SessionRig{ID: &rig}
	return s
}

// Two models of one session may be corrected at once: the results then rest on both.
func TestTwoNameplatesCorrectedAtOnce(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	second := d.model
	second.Slug = "halden-200"
	if _, _, err := d.in.CreatePanelModel(t.Context(), d.reviewer, second, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	s := session(t, 0)
	s.Readings[2].Panel.Model = "halden-200"
	r := d.submit(t, s)
	done := make(chan error, 2)
	for _, m := range []fieldtest.PanelModel{d.model, second} {
		go func() {
			m.Nameplate = plate(210)
			_, _, err := d.in.UpdatePanelModel(t.Context(), d.reviewer, m.Slug, 1, "label read again", m, intake.SubmitOptions{})
			done <- err
		}()
	}
	for range 2 {
		if err := storetest.Await(t, done, "two nameplates to be corrected"); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i := range kept.Readings {
		if rating := kept.Readings[i].Result.StcPowerW / *kept.Readings[i].Result.ShareOfRating; rating < 209.9 || rating > 210.1 {
			t.Errorf("reading %d rests on a rating of %.4g W, want 210", i, rating)
		}
	}
	d.whole(t)
}

// about returns the findings about a panel model or a rig as such, the newest first.
func (d *desk) about(t testing.TB, model *string, rig *uuid.UUID) []fieldtest.Finding {
	t.Helper()
	list, _, _, err := d.db.Findings(t.Context(), store.FindingFilter{PanelModel: model, RigID: rig}, store.Page{Size: 100})
	if err != nil {
		t.Fatal(err)
	}
	return slices.DeleteFunc(list, func(f fieldtest.Finding) bool { return f.SessionID != nil })
}
