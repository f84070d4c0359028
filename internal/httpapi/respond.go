package httpapi

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"maps"
	"mime"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evensun/internal/coding"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

const (
	jsonType  = "application/json; charset=utf-8"
	textType  = "text/plain; charset=utf-8"
	csvType   = "text/csv; charset=utf-8; header=present"
	jsonlType = "application/x-ndjson; charset=utf-8"

	cachePublic  = "public, max-age=30, stale-while-revalidate=60"
	cacheForever = "public, max-age=31536000, immutable"
	cacheNever   = "private, no-store"
	cacheCheck   = "no-cache"

	licence = `<https://creativecommons.org/licenses/by/4.0/>; rel="license"`
)

// A reply is a whole answer with a body.
type reply struct {
	status int // 0: 200
	media  string
	cache  string
	etag   string // without quotes; empty: none
	body   []byte
	packed func() ([]byte, error) // the body compressed, where that is kept; nil: compress it
}

// reply sends an answer: 304 if the client has it, compressed if the client wants
// that and it is worth it. Two encodings may not share a strong tag (RFC 9110
// 8.8.3.3), so a compressed answer's ends in -gzip.
func (s *Server) reply(c echo.Context, r reply) error {
	h := c.Response().Header()
	h.Set("Cache-Control", r.cache)
	compress := len(r.body) >= coding.WorthFrom && coding.Accepts(c.Request().Header.Get("Accept-Encoding"), "gzip")
	if r.etag != "" {
		tag := r.etag
		if compress {
			tag += "-gzip"
		}
		h.Set("ETag", `"`+tag+`"`)
		if noneMatch(c.Request().Header.Get("If-None-Match"), r.etag) {
			return c.NoContent(http.StatusNotModified)
		}
	}
	if r.status == 0 {
		r.status = http.StatusOK
	}
	if !compress {
		h.Set("Content-Length", strconv.Itoa(len(r.body)))
		return c.Blob(r.status, r.media, r.body)
	}
	if r.packed == nil {
		r.packed = func() ([]byte, error) { return coding.Gzip(r.body) }
	}
	packed, err := r.packed()
	if err != nil {
		return err
	}
	h.Set("Content-Encoding", "gzip")
	h.Set("Content-Length", strconv.Itoa(len(packed)))
	return c.Blob(r.status, r.media, packed)
}

// noneMatch tells whether the client has the tag already (weak comparison).
func noneMatch(header, etag string) bool {
	if header == "" {
		return false
	}
	if strings.TrimSpace(header) == "*" {
		return true
	}
	for tag := range strings.SplitSeq(header, ",") {
		tag = strings.TrimPrefix(strings.TrimSpace(tag), "W/")
		if strings.TrimSuffix(strings.Trim(tag, `"`), "-gzip") == etag {
			return true
		}
	}
	return false
}

// sendJSON answers with a value as JSON.
func (s *Server) sendJSON(c echo.Context, v any, etag, cache string) error {
	if _, err := s.formatOf(c, jsonOnly); err != nil {
		return err
	}
	return s.replyJSON(c, v, etag, cache)
}

// replyJSON answers with a value as JSON, whatever else could have been asked for.
func (s *Server) replyJSON(c echo.Context, v any, etag, cache string) error {
	body, err := marshal(v)
	if err != nil {
		return err
	}
	if etag == byContent {
		etag = contentTag(body)
	}
	dataHeaders(c)
	return s.reply(c, reply{media: jsonType, cache: cache, etag: etag, body: body})
}

// byContent asks for an ETag made of the body.
const byContent = "by content"

func contentTag(body []byte) string {
	sum := sha256.Sum256(body)
	return hex.EncodeToString(sum[:8])
}

func revisionTag(revision int) string { return "r" + strconv.Itoa(revision) }

func dataHeaders(c echo.Context) { c.Response().Header().Add("Link", licence) }

// written answers a write with what the store keeps for a repetition. A dry run
// tells nothing that would name what was not stored.
func (s *Server) written(c echo.Context, r store.Response, replayed bool) error {
	h := c.Response().Header()
	if c.QueryParam("dry_run") == "true" {
		body, err := withoutIdentity(r.Body)
		if err != nil {
			return err
		}
		r = store.Response{Status: http.StatusOK, Body: body}
	}
	for name, value := range r.Header {
		h.Set(name, value)
	}
	if replayed {
		h.Set("Idempotency-Replayed", "true")
	}
	h.Set("Cache-Control", cacheNever)
	if r.Status == http.StatusNoContent {
		return c.NoContent(r.Status)
	}
	return c.Blob(r.Status, jsonType, r.Body)
}

// A format is how an answer is written.
type format string

const (
	asJSON  format = "json"
	asCSV   format = "csv"
	asJSONL format = "jsonl"
	asText  format = "text"
)

// offers are the formats that an answer comes in, by media type as in Accept.
type offers map[string]format

var (
	jsonOnly   = offers{"application/json": asJSON}
	asList     = offers{"application/json": asJSON, "text/csv": asCSV, "application/x-ndjson": asJSONL}
	jsonOrText = offers{"application/json": asJSON, "text/plain": asText}
)

// text returns the one format of these that is a kind of text, if one is.
func (o offers) text() (format, bool) {
	for media, f := range o {
		if strings.HasPrefix(media, "text/") {
			return f, true
		}
	}
	return "", false
}

// formatOf returns the format asked for by ?format= or else by Accept. Browsers'
// long lists end in */* and get JSON.
func (s *Server) formatOf(c echo.Context, o offers) (format, error) {
	if f := c.QueryParam("format"); f != "" && len(o) > 1 {
		return format(f), nil
	}
	header := c.Request().Header.Get("Accept")
	if header == "" {
		return asJSON, nil
	}
	best, most := format(""), 0.0
	for item := range strings.SplitSeq(header, ",") {
		name, params, _ := strings.Cut(item, ";")
		f, ok := o[strings.ToLower(strings.TrimSpace(name))]
		switch strings.TrimSpace(name) {
		case "*/*", "application/*":
			f, ok = asJSON, true
		case "text/*":
			f, ok = o.text()
		}
		if q := coding.Quality(params); ok && q > most {
			best, most = f, q
		}
	}
	if best == "" {
		return "", &fieldtest.Refusal{Kind: fieldtest.NotAcceptable, Detail: "None of the formats asked for is available.",
			Extra: map[string]any{"available": slices.Sorted(maps.Keys(o))}}
	}
	return best, nil
}

// body reads a JSON body whole.
func (s *Server) body(c echo.Context) ([]byte, error) {
	r := c.Request()
	media, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	charset := strings.ToLower(params["charset"])
	if err != nil || media != "application/json" || charset != "" && charset != "utf-8" || r.Header.Get("Content-Encoding") != "" {
		return nil, &fieldtest.Refusal{Kind: fieldtest.UnsupportedMediaType, Detail: "The body must be JSON, uncompressed. Nothing was stored.",
			Extra: map[string]any{"supported": []string{"application/json"}}}
	}
	return readWhole(c, s.cfg.MaxBody)
}

// readWhole reads a body of at most limit bytes.
func readWhole(c echo.Context, limit int64) ([]byte, error) {
	r := c.Request()
	var raw []byte
	var err error
	if r.ContentLength <= limit { // else it is not waited for
		raw, err = io.ReadAll(io.LimitReader(r.Body, limit+1))
	}
	if err != nil {
		return nil, &fieldtest.Refusal{Kind: fieldtest.MalformedRequest, Detail: "The body ended before it was whole. Nothing was stored."}
	}
	if max(int64(len(raw)), r.ContentLength) > limit {
		c.Response().Header().Set("Connection", "close")
		return nil, &fieldtest.Refusal{Kind: fieldtest.PayloadTooLarge, Detail: "The body is too large. Nothing was stored.",
			Extra: map[string]any{"limit_bytes": limit}}
	}
	return raw, nil
}

// missingRevision says what is not there: the thing of which it is asked for may well be.
func missingRevision(err error, revision int) error {
	if isKind(err, fieldtest.NotFound) {
		return fieldtest.Missing("revision", strconv.Itoa(revision))
	}
	return err
}

// preconditions refuses a change that does not say which revision it changes.
func preconditions(c echo.Context, o *contract.Operation) error {
	if !o.Needs("If-Match") {
		return nil
	}
	switch tag := strings.TrimSpace(c.Request().Header.Get("If-Match")); {
	case tag == "":
		return &fieldtest.Refusal{Kind: fieldtest.PreconditionRequired, Detail: "Send the ETag of the revision that you changed in If-Match. Nothing was stored."}
	case tag == "*":
		return badIfMatch(tag, "Name the revision that you changed; * would overwrite any.")
	case !tagForm.MatchString(tag):
		return badIfMatch(tag, `Send one ETag as it came, with its quotation marks, as "r3".`)
	}
	return nil
}

// tagForm is one entity tag (RFC 9110 8.8.3). Of a list nobody could say which revision
// was changed.
var tagForm = regexp.MustCompile(`^(W/)?"[^"]*"$`)

func badIfMatch(tag, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
		Faults: []fieldtest.Fault{{Header: "If-Match", Code: "wrong_form", Value: cut(tag), Reason: reason}}}
}

// revisionForm is a tag of ours: the revision, and what else may follow.
var revisionForm = regexp.MustCompile(`^"r([1-9][0-9]{0,8})(-[0-9a-f]+)?(-gzip)?"$`)

// ifRevision returns the revision that If-Match names (strong comparison), 0 for a
// tag that no revision has.
func ifRevision(c echo.Context) int {
	found := revisionForm.FindStringSubmatch(strings.TrimSpace(c.Request().Header.Get("If-Match")))
	if found == nil {
		return 0
	}
	n, err := strconv.Atoi(found[1])
	if err != nil {
		return 0
	}
	return n
}
