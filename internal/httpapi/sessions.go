package httpapi

import (
	"context"
	"strconv"
	"strings"
	"time"

	"evensun/internal/contract"
	"evensun/internal/explain"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/store"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// SubmitSession answers POST /v1/sessions.
func (s *Server) SubmitSession(c echo.Context, params SubmitSessionParams) error {
	session, o, err := submitted(s, c, "Session", contract.CheckSession)
	if err != nil {
		return err
	}
	if o.Method != "" && !o.DryRun {
		return methodOfRecord(o.Method)
	}
	return s.answered(c)(s.cfg.Intake.Submit(c.Request().Context(), callerOf(c), session, o))
}

func methodOfRecord(method string) error {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
		Faults: []fieldtest.Fault{{Parameter: "method", Code: "not_expected", Value: method, Reason: "A method is chosen in a dry run only; what is stored uses the best that the data allow."}}}
}

// ListSessions answers GET /v1/sessions.
func (s *Server) ListSessions(c echo.Context, params ListSessionsParams) error {
	if params.ClientRef != nil {
		return s.sessionByRef(c, params)
	}
	filter := store.SessionFilter{TesterID: params.Tester, RigID: params.Rig, PanelModels: wordsOf(params.PanelModel), From: params.From, To: params.To,
		Arrangements: wordsOf(params.Arrangement), States: wordsOf(params.State), Near: nearFrom(params.Near)}
	return list(s, c, "sessions", func(p store.Page) ([]fieldtest.SessionSummary, *store.Cursor, int64, error) {
		return s.cfg.Store.Sessions(c.Request().Context(), filter, p)
	})
}

// ListReadings answers GET /v1/readings.
func (s *Server) ListReadings(c echo.Context, params ListReadingsParams) error {
	filter := store.ReadingFilter{SessionID: params.Session, TesterID: params.Tester, RigID: params.Rig, PanelModels: wordsOf(params.PanelModel),
		Arrangements: wordsOf(params.Arrangement), States: wordsOf(params.State), From: params.From, To: params.To, WithResult: deref(params.WithResult)}
	return list(s, c, "readings", func(p store.Page) ([]store.FlatReading, *store.Cursor, int64, error) {
		return s.cfg.Store.Readings(c.Request().Context(), filter, p)
	})
}

// sessionByRef finds the one session that a tester gave a reference.
func (s *Server) sessionByRef(c echo.Context, params ListSessionsParams) error {
	if params.Tester == nil {
		return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
			Faults: []fieldtest.Fault{{Parameter: "tester", Code: "required", Reason: "A client_ref belongs to a tester; name it too."}}}
	}
	return list(s, c, "sessions", func(store.Page) ([]fieldtest.SessionSummary, *store.Cursor, int64, error) {
		ctx := c.Request().Context()
		head, err := s.cfg.Store.LedgerHead(ctx)
		if err != nil {
			return nil, nil, 0, err
		}
		id, err := s.cfg.Store.SessionKnownBy(ctx, *params.Tester, *params.ClientRef, "")
		if isKind(err, fieldtest.NotFound) {
			return nil, nil, head.Sequence, nil
		}
		if err != nil {
			return nil, nil, 0, err
		}
		one, err := s.cfg.Store.Session(ctx, id)
		return []fieldtest.SessionSummary{summaryOf(one)}, nil, head.Sequence, err
	})
}

func summaryOf(s fieldtest.StoredSession) fieldtest.SessionSummary {
	sum := fieldtest.SessionSummary{ID: s.ID, Revision: s.Revision, State: s.State, TesterID: s.TesterID, StartedAt: s.Session.StartedAt.UTC(),
		SubmittedAt: s.SubmittedAt, LatitudeDeg: s.Session.Site.LatitudeDeg, LongitudeDeg: s.Session.Site.LongitudeDeg,
		Readings: len(s.Readings), PanelModels: []string{}, Sequence: s.Sequence}
	sum.EndedAt = sum.StartedAt
	if s.Session.EndedAt != nil {
		sum.EndedAt = s.Session.EndedAt.UTC()
	}
	seen := map[string]bool{}
	for _, r := range s.Readings {
		if r.State == fieldtest.Held {
			sum.Held++
		}
		if r.PanelModel != nil && !seen[*r.PanelModel] {
			seen[*r.PanelModel] = true
			sum.PanelModels = append(sum.PanelModels, *r.PanelModel)
		}
		if s.Session.EndedAt == nil && r.TakenAt.After(sum.EndedAt) {
			sum.EndedAt = r.TakenAt
		}
	}
	return sum
}

// nearFrom reads latitude,longitude,km, whose form was checked.
func nearFrom(text *string) *store.Near {
	if text == nil {
		return nil
	}
	var x [3]float64
	for i, part := range strings.SplitN(*text, ",", 3) {
		x[i], _ = strconv.ParseFloat(part, 64) // digits by the pattern
	}
	return &store.Near{LatitudeDeg: x[0], LongitudeDeg: x[1], DistanceKm: x[2]}
}

// GetSession answers GET /v1/sessions/{session_id}.
func (s *Server) GetSession(c echo.Context, id SessionID, _ GetSessionParams) error {
	one, err := s.cfg.Store.Session(c.Request().Context(), id)
	if err != nil {
		return err
	}
	if one, err = s.told(c, one); err != nil {
		return err
	}
	tag, err := sessionTag(one)
	if err != nil {
		return err
	}
	return s.sendJSON(c, one, tag, cacheCheck)
}

// sessionTag names the revision and, where findings, verdicts or a withdrawal may
// have changed what is told of it, the content too.
func sessionTag(one fieldtest.StoredSession) (string, error) {
	plain := one.State == fieldtest.SessionAccepted && len(one.Findings) == 0
	for _, r := range one.Readings {
		plain = plain && r.State == fieldtest.Counted && len(r.Findings) == 0
	}
	if plain {
		return revisionTag(one.Revision), nil
	}
	body, err := marshal(one)
	return revisionTag(one.Revision) + "-" + contentTag(body), err
}

// GetSessionRevision answers GET /v1/sessions/{session_id}/revisions/{revision}.
func (s *Server) GetSessionRevision(c echo.Context, id SessionID, revision Revision, _ GetSessionRevisionParams) error {
	one, err := s.cfg.Store.SessionRevision(c.Request().Context(), id, revision)
	if err != nil {
		return missingRevision(err, revision)
	}
	if one, err = s.told(c, one); err != nil {
		return err
	}
	return s.sendJSON(c, one, byContent, cachePublic)
}

// told completes a stored session with what is not stored.
func (s *Server) told(c echo.Context, one fieldtest.StoredSession) (fieldtest.StoredSession, error) {
	cautions, err := s.cfg.Intake.Cautions(c.Request().Context(), &one)
	if err != nil {
		return one, err
	}
	one.Readings, one.Findings, one.Cautions = orEmpty(one.Readings), orEmpty(one.Findings), orEmpty(cautions)
	return one, nil
}

// ReviseSession answers POST /v1/sessions/{session_id}/revisions.
func (s *Server) ReviseSession(c echo.Context, id SessionID, _ ReviseSessionParams) error {
	r, o, err := submitted(s, c, "SessionRevision", func(r SessionRevision, now time.Time) []fieldtest.Fault {
		return contract.Under("session", contract.CheckSession(r.Session, now))
	})
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.Revise(c.Request().Context(), callerOf(c), id, ifRevision(c), reasonOf(r.ReasonCode, r.Reason), r.Session, o))
}

func reasonOf[T ~string](code *T, text string) intake.Reason {
	r := intake.Reason{Code: "other", Text: text}
	if code != nil {
		r.Code = string(*code)
	}
	return r
}

// WithdrawSession answers POST /v1/sessions/{session_id}/withdrawals.
func (s *Server) WithdrawSession(c echo.Context, id SessionID, _ WithdrawSessionParams) error {
	return s.withdrawal(c, id, s.cfg.Intake.Withdraw)
}

// RestoreSession answers POST /v1/sessions/{session_id}/restorations.
func (s *Server) RestoreSession(c echo.Context, id SessionID, _ RestoreSessionParams) error {
	return s.withdrawal(c, id, s.cfg.Intake.Restore)
}

// withdrawal reads why a session is withdrawn or restored, and does that.
func (s *Server) withdrawal(c echo.Context, id SessionID, do func(context.Context, fieldtest.Caller, uuid.UUID, int, intake.Reason, intake.SubmitOptions) (store.Response, bool, error)) error {
	w, o, err := submitted[Withdrawal](s, c, "Withdrawal", nil)
	if err != nil {
		return err
	}
	return s.answered(c)(do(c.Request().Context(), callerOf(c), id, ifRevision(c), reasonOf(w.ReasonCode, w.Reason), o))
}

// GetReading answers GET /v1/readings/{reading_id}.
func (s *Server) GetReading(c echo.Context, id ReadingID, _ GetReadingParams) error {
	r, err := s.cfg.Store.Reading(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return s.sendJSON(c, readingBody(r), byContent, cachePublic)
}

func readingBody(r store.StoredReading) StoredReading {
	return StoredReading{SessionID: r.SessionID, SessionRevision: r.SessionRevision, ID: deref(r.ID), Label: r.Label, PanelModel: r.PanelModel,
		Specimen: r.Specimen, Kind: string(r.Kind), Arrangement: string(r.Arrangement), TakenAt: r.TakenAt.In(time.UTC), State: string(r.State),
		Result: r.Result, ResultReason: r.ResultReason, Findings: orEmpty(r.Findings)}
}

// GetDerivation answers GET /v1/readings/{reading_id}/derivation, in numbers or, for
// people, in sentences.
func (s *Server) GetDerivation(c echo.Context, id ReadingID, _ GetDerivationParams) error {
	f, err := s.formatOf(c, jsonOrText)
	if err != nil {
		return err
	}
	steps, err := s.cfg.Intake.Derivation(c.Request().Context(), id)
	if err != nil {
		return err
	}
	if f == asJSON {
		return s.replyJSON(c, Derivation{ReadingID: id, Derivation: orEmpty(steps)}, byContent, cachePublic)
	}
	text := []byte(strings.Join(explain.Paragraphs(steps), "\n\n") + "\n")
	dataHeaders(c)
	return s.reply(c, reply{media: textType, cache: cachePublic, etag: contentTag(text), body: text})
}
