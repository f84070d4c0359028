package intake

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"evensun/internal/conclusion"
	"evensun/internal/diode"
	"evensun/internal/fieldtest"
	"evensun/internal/ledger"
	"evensun/internal/normalise"
	"evensun/internal/store"
)

// A Service takes submissions.
type Service struct {
	store   *store.DB
	newID   func() (uuid.UUID, error)
	now     func() time.Time
	library *diode.Library // of covers, shared by all submissions
}

// New returns a service over a store. newID makes ids in order of time (UUIDv7).
func New(db *store.DB, newID func() (uuid.UUID, error), now func() time.Time) *Service {
	return &Service{store: db, newID: newID, now: now, library: &diode.Library{}}
}

// SubmitOptions say how a write is to be done.
type SubmitOptions struct {
	DryRun      bool
	Derivation  bool   // add the computing steps to every reading
	Method      string // of translation, in a dry run; empty: what the data allow
	Idempotency store.Idempotency
}

// job is one session on its way in.
type job struct {
	who         fieldtest.Caller
	session     fieldtest.Session // prepared
	raw         []byte            // JSON of what was submitted, place rounded
	sha256      string            // of what was measured
	firstSHA256 string            // by which earlier programs stored it
	refs        References
	rig         fieldtest.StoredRig
	newRig      bool
	models      map[string]fieldtest.StoredPanelModel
	created     []fieldtest.StoredPanelModel
	receipt     *fieldtest.Receipt
	revision    int
	spanning    []fieldtest.Finding // about all revisions of the session that it revises
	reopened    []uuid.UUID         // of those, the ones to be decided again
	standing    store.Judged        // what tester, rig and models are under
	before      store.Judged        // what the revision that it replaces is under

	described []normalise.PanelDoubts // about models that it describes and that are not stored yet
	ofModels  []fieldtest.Finding     // the same, as they are filed
	outside   []fieldtest.Finding     // doubts that reach its readings, but are not of this session
}

// newlyDescribed leaves out doubts about models that are stored: what is doubted of them
// stands on their record.
func (j *job) newlyDescribed(doubts []normalise.PanelDoubts) []normalise.PanelDoubts {
	var left []normalise.PanelDoubts
	for _, d := range doubts {
		m, stored := j.models[j.refs.Panels[d.Reading].Slug]
		if !stored || slices.ContainsFunc(j.created, func(c fieldtest.StoredPanelModel) bool { return c.ID == m.ID }) {
			left = append(left, d)
		}
	}
	return left
}

// movedAttempts is how often a write is computed anew because a nameplate changed in
// between, before it gives up.
const movedAttempts = 4

// retryMoved repeats a write whose ground moved.
func retryMoved(write func() (store.Response, bool, error)) (store.Response, bool, error) {
	for attempt := 1; ; attempt++ {
		response, replayed, err := write()
		if !errors.Is(err, store.ErrMoved) {
			return response, replayed, err
		}
		if attempt == movedAttempts {
			return response, replayed, &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "What this session rests on, a nameplate or a decision, is being changed at this moment. Nothing was stored; try again."}
		}
	}
}

// Submit judges a session and stores it. The session must have passed the contract. A
// dry run goes the same way to the end and stores nothing; it needs no caller.
func (s *Service) Submit(ctx context.Context, who fieldtest.Caller, session fieldtest.Session, o SubmitOptions) (store.Response, bool, error) {
	return retryMoved(func() (store.Response, bool, error) { return s.submit(ctx, who, session, o) })
}

func (s *Service) submit(ctx context.Context, who fieldtest.Caller, session fieldtest.Session, o SubmitOptions) (store.Response, bool, error) {
	j, err := s.prepare(ctx, who, session, nil, o)
	if err != nil {
		return store.Response{}, false, err
	}
	if o.DryRun {
		response, err := dryResponse(j.receipt)
		return response, false, err
	}
	if j.receipt.OwnOrder, err = s.ownOrder(ctx, j); err != nil {
		return store.Response{}, false, err
	}
	id, err := s.newID()
	if err != nil {
		return store.Response{}, false, err
	}
	response, replayed, err := s.store.Write(ctx, o.Idempotency, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		w, err := s.writeOf(j, id, 1)
		if err != nil {
			return store.Response{}, err
		}
		if err := s.storeNew(tx, j); err != nil {
			return store.Response{}, err
		}
		if err := tx.SaveSession(w); err != nil {
			return store.Response{}, err
		}
		if err := tx.AddFindings(ctx, j.ofModels); err != nil {
			return store.Response{}, err
		}
		return s.receiptAnswer(ctx, tx, j, id)
	})
	if existing, ok := errors.AsType[*store.ExistingSession](err); ok {
		response, err = s.existing(ctx, existing.ID)
		return response, true, err
	}
	return response, replayed, err
}

// prepare judges a session as far as that is possible before the transaction. before is
// the revision that it replaces, nil if it is new.
func (s *Service) prepare(ctx context.Context, who fieldtest.Caller, session fieldtest.Session, before *fieldtest.StoredSession, o SubmitOptions) (*job, error) {
	j := &job{who: who, session: Prepare(session), revision: 1}
	// What is kept is written anew and not the bytes as sent: those may hold a finer place,
	// which is never stored. The contract lets no unknown member in, so none is lost.
	session.Site = j.session.Site
	var err error
	if j.raw, err = store.Encode(session); err != nil {
		return nil, err
	}
	if err := s.load(ctx, j, o.DryRun); err != nil {
		return nil, err
	}
	judged, err := judge(ctx, &j.session, j.refs, JudgeOptions{Derivation: o.Derivation, Method: o.Method, Library: s.library, Conclude: true})
	if err != nil {
		return nil, err
	}
	j.receipt, j.described = judged.receipt, j.newlyDescribed(judged.panels)
	if o.DryRun {
		judged.tell(j.refs, j.described)
		return j, nil
	}
	if j.sha256, err = contentHash(j.session); err != nil {
		return nil, err
	}
	if j.firstSHA256, err = firstContentHash(j.session); err != nil {
		return nil, err
	}
	j.receipt.SHA256 = j.sha256
	return j, s.doubtsFromOutside(ctx, j, before)
}

// contentHash identifies what was measured: the same times, places, panels and readings of
// one tester are the same session, whatever it is called, says beside them or describes
// again of its rig and panels.
func contentHash(session fieldtest.Session) (string, error) {
	session.ClientRef, session.Note, session.Rig = "", "", fieldtest.SessionRig{}
	session.Readings = slices.Clone(session.Readings)
	for i := range session.Readings {
		r := &session.Readings[i]
		r.Label, r.Note, r.Contest = "", "", nil
		r.Panel = fieldtest.PanelRef{Model: r.Panel.Model, Specimen: r.Panel.Specimen}
	}
	return ledger.HashOf(session)
}

// firstContentHash is by which earlier programs knew a session again: all
// of it but the client_ref.
func firstContentHash(session fieldtest.Session) (string, error) {
	session.ClientRef = ""
	return ledger.HashOf(session)
}

// doubtsFromOutside adds what the service knows beside the session itself: a tester
// whom no reviewer knows yet, what was decided on the revision before (nil: there is
// none), and doubts that stand on tester, rig or model. Readings take the state that
// follows.
func (s *Service) doubtsFromOutside(ctx context.Context, j *job, before *fieldtest.StoredSession) error {
	if !j.who.Trusted {
		revised := uuid.Nil // of a session that changes, the decision on it as it was does not count
		if before != nil {
			revised = before.ID
		}
		kept, err := s.store.KeptCount(ctx, j.who.TesterID, revised)
		if err != nil {
			return err
		}
		if kept < sessionsToTrust {
			j.receipt.Findings = append(j.receipt.Findings, newTester(j.who.TesterID, kept))
		}
	}
	if before != nil {
		retain(before, j)
		j.before = judgedUnder(before)
	}
	slugs := make([]string, 0, len(j.models))
	for slug := range j.models {
		slugs = append(slugs, slug)
	}
	standing, err := s.store.StandingDoubts(ctx, j.who.TesterID, j.rig.ID, j.rig.Revision, slugs)
	if err != nil {
		return err
	}
	j.standing = store.JudgedUnder(standing)
	described, err := s.fileOnModels(j)
	if err != nil {
		return err
	}
	j.outside = reaching(append(standing, described...), j.receipt)
	setStates(j.receipt, slices.Concat(standing, described, j.spanning))
	return nil
}

// fileOnModels makes findings about the models that a session describes, as if each had
// been sent by itself: the next session that names the model meets them too.
func (s *Service) fileOnModels(j *job) ([]fieldtest.Finding, error) {
	j.ofModels = nil
	for _, d := range j.described {
		slug := j.refs.Panels[d.Reading].Slug
		findings := slices.Clone(d.Findings)
		for i := range findings {
			findings[i].Pointer = "#/" + findings[i].Pointer
		}
		if err := s.nameFindings(findings, func(f *fieldtest.Finding) { f.PanelModel = &slug }); err != nil {
			return nil, err
		}
		j.ofModels = append(j.ofModels, findings...)
	}
	return j.ofModels, nil
}

// judgedUnder notes the states of all findings about a session.
func judgedUnder(kept *fieldtest.StoredSession) store.Judged {
	findings := slices.Clone(kept.Findings)
	for i := range kept.Readings {
		findings = append(findings, kept.Readings[i].Findings...)
	}
	return store.JudgedUnder(findings)
}

// writeOf gives a judged session its ids.
func (s *Service) writeOf(j *job, id uuid.UUID, revision int) (store.SessionWrite, error) {
	r := j.receipt
	w := store.SessionWrite{
		ID: id, Revision: revision, TesterID: j.who.TesterID, RigID: j.rig.ID, RigRevision: j.rig.Revision,
		Raw: j.raw, SHA256: j.sha256, EarlierSHA256: j.firstSHA256, Session: j.session, Method: normalise.MethodVersion,
		NewModels: j.created, Standing: j.standing, Before: j.before, Reopened: j.reopened, ModelRevisions: map[string]int{},
	}
	for slug, m := range j.models {
		w.ModelRevisions[slug] = m.Revision
	}
	for i := range r.Readings {
		readingID, err := s.newID()
		if err != nil {
			return w, err
		}
		r.Readings[i].ID = &readingID
		reading := &r.Readings[i]
		err = s.nameFindings(reading.Findings, func(f *fieldtest.Finding) {
			f.SessionID, f.TesterID, f.ReadingID, f.Label, f.PanelModel = &id, &j.who.TesterID, reading.ID, &reading.Label, reading.PanelModel
		})
		if err != nil {
			return w, err
		}
	}
	err := s.nameFindings(r.Findings, func(f *fieldtest.Finding) { f.SessionID, f.TesterID = &id, &j.who.TesterID })
	if err != nil {
		return w, err
	}
	w.Judged, w.Findings = r.Readings, r.Findings
	return w, nil
}

// storeNew stores what the session describes inline.
func (s *Service) storeNew(tx *store.Tx, j *job) error {
	if !j.newRig {
		return nil
	}
	return tx.CreateRig(&j.rig)
}

// receiptAnswer answers with the write's place in the ledger.
func (s *Service) receiptAnswer(ctx context.Context, tx *store.Tx, j *job, id uuid.UUID) (store.Response, error) {
	return tx.Answer(ctx, store.Answer{Status: 201, Location: "/v1/sessions/" + id.String(), ETag: tagOf(j.revision), Body: func(sequence int64) any {
		r := *j.receipt
		r.ID, r.Stored, r.Sequence, r.Revision = &id, true, &sequence, j.revision
		r.Affects, r.Findings = affects(&r, sequence), slices.Concat(r.Findings, j.outside)
		return r
	}})
}

// affects names the rankings that a session changes.
func affects(r *fieldtest.Receipt, sequence int64) []string {
	has := map[fieldtest.Arrangement]bool{}
	for i := range r.Readings {
		has[r.Readings[i].Arrangement] = true
	}
	list := []string{}
	for _, m := range fieldtest.Measures() {
		if has[m.Arrangement] {
			list = append(list, fmt.Sprintf("/v1/rankings/%s?at_least=%d", m.Name, sequence))
		}
	}
	return list
}

func dryResponse(r *fieldtest.Receipt) (store.Response, error) {
	r.Stored = false
	body, err := store.Encode(r)
	if err != nil {
		return store.Response{}, err
	}
	return store.Response{Status: 200, Header: map[string]string{}, Body: body}, nil
}

// existing answers a session that is stored already with what is stored.
func (s *Service) existing(ctx context.Context, id uuid.UUID) (store.Response, error) {
	kept, err := s.store.Session(ctx, id)
	if err != nil {
		return store.Response{}, err
	}
	r := fieldtest.Receipt{
		ID: &kept.ID, Revision: kept.Revision, State: kept.State, Stored: true, Sequence: &kept.Sequence, SHA256: kept.SHA256,
		Readings: kept.Readings, Findings: kept.Findings, Conclusions: conclusion.SessionWirings(s.library, kept.Readings),
	}
	standing, err := s.store.StandingDoubts(ctx, kept.TesterID, kept.RigID, kept.RigRevision, distinctSlugs(kept.Session.Readings))
	if err != nil {
		return store.Response{}, err
	}
	r.Findings = slices.Concat([]fieldtest.Finding{}, r.Findings, reaching(standing, &r))
	r.Affects = affects(&r, kept.Sequence)
	if r.Cautions, err = s.Cautions(ctx, &kept); err != nil {
		return store.Response{}, err
	}
	body, err := store.Encode(r)
	if err != nil {
		return store.Response{}, err
	}
	return store.Response{Status: 200, Header: map[string]string{
		"Location": "/v1/sessions/" + id.String(), "ETag": `"` + tagOf(kept.Revision) + `"`, "Evensun-Sequence": strconv.FormatInt(kept.Sequence, 10),
	}, Body: body}, nil
}
