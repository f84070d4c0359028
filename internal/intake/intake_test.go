package intake_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/uuid"

	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"
	"evensun/internal/storetest"
)

var now = time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)

func clock() time.Time { return now }

// A desk is a service over a fresh database with one panel model, a tester and a
// reviewer.
type desk struct {
	url      string
	db       *store.DB
	in       *intake.Service
	tester   fieldtest.Caller
	reviewer fieldtest.Caller
	model    fieldtest.PanelModel
}

const slug = "tarn-fold-200"

func newDesk(t testing.TB, trusted bool) *desk {
	t.Helper()
	d := &desk{url: storetest.URL(t)}
	d.db = storetest.Open(t, d.url)
	d.in = intake.New(d.db, uuid.NewV7, clock)
	d.tester = d.join(t, "Field Hand", trusted, fieldtest.RoleTester)
	d.reviewer = d.join(t, "Careful Reader", true, fieldtest.RoleReviewer)
	d.model = fieldtest.PanelModel{Slug: slug, Maker: "Tarn", Model: "Fold 200", Nameplate: plate(200)}
	if _, _, err := d.in.CreatePanelModel(t.Context(), d.reviewer, d.model, intake.SubmitOptions{}); err != nil {
		t.Fatal(err)
	}
	return d
}

func plate(pmaxW float64) fieldtest.Nameplate {
	ptr := func(x float64) *float64 { return &x }
	return fieldtest.Nameplate{PmaxW: &pmaxW, VocV: ptr(24.2), IscA: ptr(10.6 * pmaxW / 200), VmpV: ptr(20.2), ImpA: ptr(pmaxW / 20.2)}
}

func (d *desk) join(t testing.TB, name string, trusted bool, role fieldtest.Role) fieldtest.Caller {
	t.Helper()
	who := fieldtest.Tester{ID: storetest.NewID(t), DisplayName: name, Trusted: trusted}
	_, _, err := d.db.Write(t.Context(), store.Idempotency{}, false, func(_ context.Context, tx *store.Tx) (store.Response, error) {
		return store.Response{Status: 201}, tx.CreateTester(&who)
	})
	if err != nil {
		t.Fatal(err)
	}
	return fieldtest.Caller{TesterID: who.ID, Role: role, Trusted: trusted}
}

// session has three readings; another n is another session.
func session(t testing.TB, n int) fieldtest.Session {
	t.Helper()
	at := time.Date(2026, 6, 14, 17, 22, 0, 0, time.UTC)
	var readings []any
	for i := range 3 {
		readings = append(readings, map[string]any{
			"label": fmt.Sprint("A", i), "panel": map[string]any{"model": slug}, "taken_at": at.Add(time.Duration(i) * time.Minute),
			"voltage_v": 18.1, "current_a": 8.42, "power_w": 152.4, "irradiance": map[string]any{"poa_w_m2": 912 + n, "sensor": "reference_cell"},
			"back_temperature_c": 47.5, "warm_up_min": 20,
		})
	}
	raw, err := json.Marshal(map[string]any{
		"started_at": at, "ended_at": at.Add(time.Hour), "site": map[string]any{"latitude_deg": 38.5, "longitude_deg": -106.0, "altitude_m": 2150},
		"sky": map[string]any{"condition": "clear"}, "plane": map[string]any{"tilt_deg": 35, "azimuth_deg": 180},
		"rig":      map[string]any{"kind": "mppt_controller", "power_read_at": "panel_side", "instrument": "inline_meter"},
		"readings": readings,
	})
	if err != nil {
		t.Fatal(err)
	}
	s, err := contract.Session(raw, now)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func (d *desk) submit(t testing.TB, s fieldtest.Session) fieldtest.Receipt {
	t.Helper()
	response, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return receiptOf(t, response)
}

func receiptOf(t testing.TB, response store.Response) fieldtest.Receipt {
	t.Helper()
	var r fieldtest.Receipt
	if err := json.Unmarshal(response.Body, &r); err != nil {
		t.Fatalf("receipt %s: %v", response.Body, err)
	}
	return r
}

func (d *desk) sessions(t testing.TB) []fieldtest.SessionSummary {
	t.Helper()
	list, _, _, err := d.db.Sessions(t.Context(), store.SessionFilter{}, store.Page{Size: 200})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestTheSameSessionAtOnceIsStoredOnce(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	s := session(t, 0)
	ids := make([]uuid.UUID, 8)
	var group sync.WaitGroup
	for i := range ids {
		group.Go(func() {
			response, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{})
			if err != nil {
				t.Error(err)
				return
			}
			ids[i] = *receiptOf(t, response).ID
		})
	}
	group.Wait()
	for _, id := range ids {
		if id != ids[0] {
			t.Errorf("answers name sessions %v, want one", ids)
		}
	}
	if n := len(d.sessions(t)); n != 1 {
		t.Errorf("%d sessions stored, want 1", n)
	}
}

func TestASessionStoredBeforeIsAnsweredAsThen(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	first := d.submit(t, session(t, 0))
	response, replayed, err := d.in.Submit(t.Context(), d.tester, session(t, 0), intake.SubmitOptions{})
	if err != nil || !replayed {
		t.Fatalf("replayed %v, %v", replayed, err)
	}
	again := receiptOf(t, response)
	if *again.ID != *first.ID || *again.Sequence != *first.Sequence || len(again.Cautions) != len(first.Cautions) || len(first.Cautions) == 0 {
		t.Errorf("answer %+v, first %+v", again, first)
	}
}

func TestOfTwoRevisionsAtOnceOneWins(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	id := *d.submit(t, session(t, 0)).ID
	outcomes := make([]error, 6)
	var group sync.WaitGroup
	for i := range outcomes {
		changed := session(t, i+1)
		group.Go(func() {
			_, _, outcomes[i] = d.in.Revise(t.Context(), d.tester, id, 1, intake.Reason{Code: "mistyped_reading", Text: "misread"}, changed, intake.SubmitOptions{})
		})
	}
	group.Wait()
	won := 0
	for _, err := range outcomes {
		if err == nil {
			won++
			continue
		}
		if refusal, ok := errors.AsType[*fieldtest.Refusal](err); !ok || refusal.Kind != fieldtest.PreconditionFailed {
			t.Errorf("a lost revision ends in %v", err)
		}
	}
	kept, err := d.db.Session(t.Context(), id)
	if won != 1 || err != nil || kept.Revision != 2 {
		t.Errorf("%d revisions won, the session has revision %d (%v)", won, kept.Revision, err)
	}
}

// Whatever goes wrong on the way, nothing is half stored.
func TestAFailedSubmissionStoresNothing(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	before, err := d.db.LedgerHead(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	failed := errors.New("no more ids")
	for lasts := 0; ; lasts++ {
		left := lasts
		in := intake.New(d.db, func() (uuid.UUID, error) {
			if left == 0 {
				return uuid.Nil, failed
			}
			left--
			return uuid.NewV7()
		}, clock)
		_, _, err := in.Submit(t.Context(), d.tester, session(t, 0), intake.SubmitOptions{})
		if err == nil {
			if lasts < 5 {
				t.Errorf("a session of three readings with a rig needs only %d ids", lasts)
			}
			return
		}
		head, headErr := d.db.LedgerHead(t.Context())
		if !errors.Is(err, failed) || headErr != nil || head != before || len(d.sessions(t)) != 0 {
			t.Fatalf("with %d ids: %v; the ledger went from %d to %d", lasts, err, before.Sequence, head.Sequence)
		}
	}
}

// A nameplate that changes at any point of a submission, from before it is read to just
// before it is locked, does not leave a result that rests on the old one.
func TestANameplateChangedUnderASubmission(t *testing.T) {
	t.Parallel()
	for at := 1; at <= 5; at++ {
		d := newDesk(t, true)
		calls := 0
		in := intake.New(d.db, func() (uuid.UUID, error) {
			if calls++; calls == at {
				m := d.model
				m.Nameplate = plate(210)
				if _, _, err := d.in.UpdatePanelModel(t.Context(), d.reviewer, slug, 1, "label read again", m, intake.SubmitOptions{}); err != nil {
					t.Error(err)
				}
			}
			return uuid.NewV7()
		}, clock)
		response, _, err := in.Submit(t.Context(), d.tester, session(t, 0), intake.SubmitOptions{})
		if err != nil || calls < at {
			t.Fatalf("at id %d of %d: %v", at, calls, err)
		}
		for _, r := range receiptOf(t, response).Readings {
			if rating := r.Result.StcPowerW / *r.Result.ShareOfRating; math.Abs(rating/210-1) > 1e-5 {
				t.Errorf("at id %d: a reading rests on a rating of %.6g W, the current one is 210 W", at, rating)
			}
		}
	}
}

// A nameplate that changes while sessions come in leaves no result that rests on an
// old one.
func TestResultsRestOnTheCurrentNameplate(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	const sessions, changes = 24, 12
	var group sync.WaitGroup
	for worker := range 3 {
		group.Go(func() {
			for i := range sessions / 3 {
				_, _, err := d.in.Submit(t.Context(), d.tester, session(t, worker*sessions/3+i), intake.SubmitOptions{})
				if refusal, ok := errors.AsType[*fieldtest.Refusal](err); err != nil && (!ok || refusal.Kind != fieldtest.Overloaded) {
					t.Error(err)
				}
			}
		})
	}
	pmaxW := 200.0
	group.Go(func() {
		for i := range changes {
			m := d.model
			m.Nameplate = plate(201 + float64(i))
			current, err := d.db.PanelModel(t.Context(), slug)
			if err == nil {
				_, _, err = d.in.UpdatePanelModel(t.Context(), d.reviewer, slug, current.Revision, "label read again", m, intake.SubmitOptions{})
			}
			if refusal, ok := errors.AsType[*fieldtest.Refusal](err); err != nil && (!ok || refusal.Kind != fieldtest.Overloaded) {
				t.Error(err)
			}
			if err == nil {
				pmaxW = *m.Nameplate.PmaxW
			}
		}
	})
	group.Wait()
	list := d.sessions(t)
	if len(list) == 0 || pmaxW == 200 {
		t.Fatalf("%d sessions stored, rating %g W: nothing to look at", len(list), pmaxW)
	}
	for _, one := range list {
		kept, err := d.db.Session(t.Context(), one.ID)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range kept.Readings {
			if got := r.Result.StcPowerW / *r.Result.ShareOfRating; math.Abs(got/pmaxW-1) > 1e-5 {
				t.Errorf("session of sequence %d: a reading rests on a rating of %.6g W, the current one is %g W", one.Sequence, got, pmaxW)
			}
		}
	}
}

func TestATestersReadingsCountAfterThreeKeptSessions(t *testing.T) {
	t.Parallel()
	d := newDesk(t, false)
	for n := range 3 {
		r := d.submit(t, session(t, n))
		if len(r.Findings) != 1 || r.Findings[0].Rule != "new_tester" || *r.Findings[0].Value != float64(n) || r.Readings[0].State != fieldtest.Held {
			t.Fatalf("session %d: findings %+v, state %s; want it held as that of a new tester", n, r.Findings, r.Readings[0].State)
		}
		if _, _, err := d.in.Verdict(t.Context(), d.reviewer, r.Findings[0].ID, fieldtest.Keep, "careful work", intake.SubmitOptions{}); err != nil {
			t.Fatal(err)
		}
		kept, err := d.db.Session(t.Context(), *r.ID)
		if err != nil || kept.Readings[0].State != fieldtest.Counted {
			t.Errorf("session %d: kept, but its reading is %s (%v)", n, kept.Readings[0].State, err)
		}
	}
	if r := d.submit(t, session(t, 3)); len(r.Findings) != 0 || r.Readings[0].State != fieldtest.Counted {
		t.Errorf("after three kept sessions: findings %+v, state %s", r.Findings, r.Readings[0].State)
	}
}

// What a dry run says, with or without a server, is what is stored.
func TestDryRunsAndStorageAgree(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	response, _, err := d.in.Submit(t.Context(), d.tester, session(t, 0), intake.SubmitOptions{DryRun: true})
	if err != nil {
		t.Fatal(err)
	}
	dry, stored := receiptOf(t, response), d.submit(t, session(t, 0))
	alone := session(t, 0)
	alone.Readings[0].Panel.Nameplate = &d.model.Nameplate
	offline, err := intake.Offline(t.Context(), alone, intake.JudgeOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range stored.Readings {
		want := fmt.Sprintf("%+v", *stored.Readings[i].Result.ShareOfRating)
		for name, r := range map[string]fieldtest.JudgedReading{"dry run": dry.Readings[i], "offline": offline.Readings[i]} {
			got := r.Result
			if fmt.Sprintf("%+v", *got.ShareOfRating) != want || got.StcPowerW != stored.Readings[i].Result.StcPowerW || got.StcPowerUW != stored.Readings[i].Result.StcPowerUW {
				t.Errorf("reading %d, %s: %g W, stored %g W", i, name, got.StcPowerW, stored.Readings[i].Result.StcPowerW)
			}
		}
	}
	if dry.Stored || dry.ID != nil {
		t.Errorf("dry run says it stored %v", dry.ID)
	}
}

func TestOnlyTheOwnerRevisesAndStrangersRigsAreRefused(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	r := d.submit(t, session(t, 0))
	other := d.join(t, "Passer-by", true, fieldtest.RoleTester)
	if _, _, err := d.in.Revise(t.Context(), other, *r.ID, 1, intake.Reason{Code: "other", Text: "mine now"}, session(t, 1), intake.SubmitOptions{}); kindOf(err) != fieldtest.Forbidden {
		t.Errorf("a stranger's revision ends in %v", err)
	}
	kept, err := d.db.Session(t.Context(), *r.ID)
	if err != nil {
		t.Fatal(err)
	}
	s := session(t, 2)
	s.Rig = fieldtest.SessionRig{ID: &kept.RigID}
	_, _, err = d.in.Submit(t.Context(), other, s, intake.SubmitOptions{})
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok || len(refusal.Faults) != 1 || refusal.Faults[0].Pointer != "#/rig/id" || refusal.Faults[0].Code != "not_yours" {
		t.Errorf("a stranger's rig ends in %v", err)
	}
}

func kindOf(err error) fieldtest.RefusalKind {
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok {
		return ""
	}
	return refusal.Kind
}

func TestImpossibleReadingsAreToldAllAtOnce(t *testing.T) {
	t.Parallel()
	d := newDesk(t, true)
	s := session(t, 0)
	high, hot := 31.0, 40.0
	s.Readings[0].VoltageV, s.Readings[2].CurrentA = &high, &hot
	_, _, err := d.in.Submit(t.Context(), d.tester, s, intake.SubmitOptions{})
	refusal, ok := errors.AsType[*fieldtest.Refusal](err)
	if !ok || refusal.Kind != fieldtest.PhysicallyImpossible {
		t.Fatalf("ends in %v", err)
	}
	named := map[string]bool{}
	for _, f := range refusal.Faults {
		named[f.Pointer] = true
		if f.Reason == "" || f.Limit == nil || f.Unit == "" {
			t.Errorf("fault %+v lacks a reason or a limit", f)
		}
	}
	for _, pointer := range []string{"#/readings/0/voltage_v", "#/readings/2/current_a"} {
		if !named[pointer] {
			t.Errorf("faults %v do not name %s", strconv.Quote(refusal.Error()), pointer)
		}
	}
	if n := len(d.sessions(t)); n != 0 {
		t.Errorf("%d sessions stored", n)
	}
}
