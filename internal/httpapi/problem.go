package httpapi

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"evensun/internal/fieldtest"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// maxErrors is how many faults a problem document tells; the rest are counted.
const maxErrors = 100

// A status is what a kind of refusal is on the wire.
type status struct {
	code  int
	title string
	cure  string // for the page at /problems/<kind>
}

// statuses is the only place where a kind of refusal meets HTTP. A test walks all
// kinds.
var statuses = map[fieldtest.RefusalKind]status{
	fieldtest.MalformedRequest:     {400, "The request cannot be read", "Send one JSON value in UTF-8, without members that stand there twice, NUL characters or anything behind it."},
	fieldtest.InvalidParameter:     {400, "A parameter is not right", "Look at errors for which one. Unknown parameters are refused so that a mistyped name cannot silently do nothing; allowed lists the known ones."},
	fieldtest.CursorInvalid:        {400, "This is not a cursor of this list", "Begin again without cursor, and follow the next links as they are. A cursor belongs to the filter that it was made with."},
	fieldtest.Unauthenticated:      {401, "A valid key is needed", "Send Authorization: Bearer with a key that is neither revoked nor expired."},
	fieldtest.Forbidden:            {403, "This key may not do this", "Use a key with the role named in required_role, or the key of whoever owns the thing. Nobody decides on own data."},
	fieldtest.NotFound:             {404, "There is no such thing", "Check the address. Paths have no slash at the end."},
	fieldtest.MethodNotAllowed:     {405, "This method does not work here", "The Allow header lists those that do. Nothing submitted is ever deleted: withdraw or revise it."},
	fieldtest.NotAcceptable:        {406, "This format is not available", "available lists those that are."},
	fieldtest.UnsupportedMediaType: {415, "This content type is not taken", "supported lists those that are. Send Content-Type: application/json."},
	fieldtest.IllegalTransition:    {409, "This cannot be done in the present state", "Read the thing again; detail says what state it is in."},
	fieldtest.NameTaken:            {409, "This name is taken", "Choose another name, or use what already has it."},
	fieldtest.IdempotencyKeyInUse:  {409, "The first request with this Idempotency-Key still runs", "Try again in a second to get its answer."},
	fieldtest.Gone:                 {410, "This was removed", "It does not come back."},
	fieldtest.PreconditionFailed:   {412, "It changed in the meantime", "Read it again, repeat your change on what it is now, and send its ETag in If-Match."},
	fieldtest.PayloadTooLarge:      {413, "The body is too large", "limit_bytes is the limit. Split a long session in two."},
	fieldtest.ValidationFailed:     {422, "The content is not right", "Look at errors: each names the member, what was sent and what is allowed."},
	fieldtest.PhysicallyImpossible: {422, "A reading is outside what physics allows", "Look at errors: each names the member, the limit and the numbers behind it. If you stand by a value, contest the rule on that reading; it is then stored as held."},
	fieldtest.IdempotencyKeyReused: {422, "This Idempotency-Key was used for another request", "Use a new key for new content."},
	fieldtest.PreconditionRequired: {428, "If-Match is missing", "Send the ETag of the revision that you changed in If-Match, so that nobody's change is lost."},
	fieldtest.RateLimited:          {429, "Too many requests", "Wait as long as Retry-After says."},
	fieldtest.Internal:             {500, "Something went wrong here", "It is logged under the id in instance. Trying again with the same Idempotency-Key is safe."},
	fieldtest.NotYetIncluded:       {503, "The ranking does not cover this write yet", "Try again after Retry-After, or send Prefer: wait=10."},
	fieldtest.Overloaded:           {503, "The service is busy", "Try again after Retry-After. With the same Idempotency-Key that is safe."},
	fieldtest.ReadOnly:             {503, "The service takes no writes at the moment", "Try again later. Reading works."},
}

// HandleError answers a failed request with a problem document. It is the only place
// that does. What is not a Refusal is logged and answered as internal.
func (s *Server) HandleError(err error, c echo.Context) {
	if errors.Is(err, errLeft) {
		s.cfg.Log.InfoContext(c.Request().Context(), "the answer was not taken whole", slog.Any("err", err), slog.String("request_id", requestID(c)))
		return
	}
	if c.Response().Committed {
		s.cfg.Log.ErrorContext(c.Request().Context(), "request failed after its answer began", slog.Any("err", err), slog.String("request_id", requestID(c)))
		return
	}
	refusal, ours := s.refusalFrom(err, c)
	if ours {
		s.cfg.Log.ErrorContext(c.Request().Context(), "request failed", slog.Any("err", err), slog.String("request_id", requestID(c)))
	}
	if err := s.sendProblem(c, refusal); err != nil {
		s.cfg.Log.WarnContext(c.Request().Context(), "problem not sent", slog.Any("err", err))
	}
}

// refusalFrom returns what to tell the client, and whether the fault is ours.
func (s *Server) refusalFrom(err error, c echo.Context) (refusal *fieldtest.Refusal, ours bool) {
	if r, ok := errors.AsType[*fieldtest.Refusal](err); ok {
		return r, r.Kind == fieldtest.Internal
	}
	if h, ok := errors.AsType[*echo.HTTPError](err); ok {
		return refusalOfEcho(h, c), false
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "The answer took too long."}, true
	}
	if errors.Is(err, context.Canceled) { // the client left; nobody reads the answer
		return &fieldtest.Refusal{Kind: fieldtest.Overloaded, Detail: "The request was cancelled."}, false
	}
	return &fieldtest.Refusal{Kind: fieldtest.Internal}, true
}

// refusalOfEcho turns the router's own errors into refusals.
func refusalOfEcho(h *echo.HTTPError, c echo.Context) *fieldtest.Refusal {
	path := c.Request().URL.Path
	switch h.Code {
	case http.StatusNotFound:
		return fieldtest.Missing("page", cut(path))
	case http.StatusMethodNotAllowed:
		return &fieldtest.Refusal{Kind: fieldtest.MethodNotAllowed, Detail: c.Request().Method + " does not work here."}
	case http.StatusRequestEntityTooLarge:
		return &fieldtest.Refusal{Kind: fieldtest.PayloadTooLarge, Detail: "The body is too large. Nothing was stored."}
	case http.StatusUnsupportedMediaType:
		return &fieldtest.Refusal{Kind: fieldtest.UnsupportedMediaType, Detail: "This content type is not taken."}
	case http.StatusBadRequest:
		return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right."}
	}
	return &fieldtest.Refusal{Kind: fieldtest.Internal}
}

func (s *Server) sendProblem(c echo.Context, r *fieldtest.Refusal) error {
	st, known := statuses[r.Kind]
	if !known {
		r, st = &fieldtest.Refusal{Kind: fieldtest.Internal}, statuses[fieldtest.Internal]
	}
	h := c.Response().Header()
	h.Set("Cache-Control", "no-store")
	if st.code == http.StatusNotFound || st.code == http.StatusGone {
		h.Set("Cache-Control", "public, max-age=30")
	}
	if st.code == http.StatusUnauthorized {
		h.Set("WWW-Authenticate", `Bearer realm="evensun"`)
	}
	if (st.code == http.StatusServiceUnavailable || r.Kind == fieldtest.IdempotencyKeyInUse) && h.Get("Retry-After") == "" {
		h.Set("Retry-After", "1")
	}
	for _, name := range []string{"ETag", "Location", "Evensun-Sequence", "Content-Disposition", "Link"} {
		h.Del(name)
	}
	if s.errorPage != nil && wantsPage(c.Request()) {
		return s.errorPage(c, st.code, st.title, r.Detail, st.cure)
	}
	body, err := s.problem(c, r, st)
	if err != nil {
		return err
	}
	return c.Blob(st.code, "application/problem+json; charset=utf-8", body)
}

// wantsPage tells whether a request came from a browser that shows a page. The API answers
// with problem documents whoever asks.
func wantsPage(r *http.Request) bool {
	read := r.Method == http.MethodGet || r.Method == http.MethodHead
	return read && !strings.HasPrefix(r.URL.Path, "/v1/") && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// A problemBody holds the members that every problem document may have, in the order
// in which people read them.
type problemBody struct {
	Type          string            `json:"type"`
	Code          string            `json:"code"`
	Status        int               `json:"status"`
	Title         string            `json:"title"`
	Detail        string            `json:"detail,omitempty"`
	Instance      string            `json:"instance"`
	Errors        []fieldtest.Fault `json:"errors,omitempty"`
	ErrorsOmitted int               `json:"errors_omitted,omitempty"`
}

// problem returns a problem document, with the members that only this kind of refusal
// has at its end.
func (s *Server) problem(c echo.Context, r *fieldtest.Refusal, st status) ([]byte, error) {
	p := problemBody{Type: s.cfg.BaseURL + "/problems/" + slugOf(r.Kind), Code: string(r.Kind), Status: st.code, Title: st.title,
		Detail: r.Detail, Instance: instanceOf(requestID(c)), Errors: r.Faults}
	p.ErrorsOmitted, _ = r.Extra["errors_omitted"].(int)
	if n := len(p.Errors); n > maxErrors {
		p.Errors, p.ErrorsOmitted = p.Errors[:maxErrors], p.ErrorsOmitted+n-maxErrors
	}
	body, err := marshal(p)
	if err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(r.Extra)) {
		if name == "errors_omitted" {
			continue
		}
		value, err := marshal(map[string]any{name: r.Extra[name]})
		if err != nil {
			return nil, err
		}
		body = append(append(body[:len(body)-1], ','), value[1:]...)
	}
	return body, nil
}

func instanceOf(id string) string {
	if uuid.Validate(id) == nil {
		return "urn:uuid:" + id
	}
	return "urn:request:" + id
}

func slugOf(kind fieldtest.RefusalKind) string {
	return strings.ReplaceAll(string(kind), "_", "-")
}

// problemPage answers GET /problems/:code for people.
func (s *Server) problemPage(c echo.Context) error {
	kind := fieldtest.RefusalKind(strings.ReplaceAll(c.Param("code"), "-", "_"))
	st, known := statuses[kind]
	if !known || strings.Contains(c.Param("code"), "_") {
		return fieldtest.Missing("problem", cut(c.Param("code")))
	}
	pageHeaders(c)
	return problemTemplate.Execute(startHTML(c), map[string]string{
		"Code": string(kind), "Status": strconv.Itoa(st.code), "Title": st.title, "Cure": st.cure,
	})
}
