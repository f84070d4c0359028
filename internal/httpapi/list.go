package httpapi

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/snapshot"
	"evensun/internal/store"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// streamPage is how many rows of a whole list are read at a time.
const streamPage = 500

// A cursor is what a next link carries. It is input like any other: it is checked,
// and belongs to the list and filter that it was made for.
type cursor struct {
	Version   int          `json:"v"`
	List      string       `json:"list"`
	FilterSHA string       `json:"filter_sha"`
	AsOf      int64        `json:"as_of"`
	Last      store.Cursor `json:"last"`
}

func (k cursor) text() (string, error) {
	raw, err := marshal(k)
	return base64.RawURLEncoding.EncodeToString(raw), err
}

func cursorFrom(text, list, filterSHA string) (cursor, error) {
	var k cursor
	raw, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil {
		return k, cursorRefusal()
	}
	dec := json.NewDecoder(bytes.NewReader(raw))
	dec.DisallowUnknownFields()
	if dec.Decode(&k) != nil || dec.More() || k.Version != 1 || k.List != list || k.FilterSHA != filterSHA || k.AsOf <= 0 || !k.placed() {
		return k, cursorRefusal()
	}
	return k, nil
}

// placed tells whether the last item's id can be one of the list: a slug,
// the name of a snapshot or a uuid.
func (k cursor) placed() bool {
	switch k.List {
	case "panel-models":
		return slugForm.MatchString(k.Last.ID)
	case "snapshots":
		return snapshot.ValidName(k.Last.ID)
	}
	return uuid.Validate(k.Last.ID) == nil
}

var slugForm = regexp.MustCompile(`^[a-z0-9-]{1,80}$`)

func cursorRefusal() *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.CursorInvalid, Detail: "This cursor is not of this list with this filter.",
		Faults: []fieldtest.Fault{{Parameter: "cursor", Code: "cursor_invalid", Reason: "Begin again without it, and follow the next links as they are."}}}
}

// filterSHA names what a list was asked for besides the place in it.
func filterSHA(q url.Values) string {
	filter := url.Values{}
	for name, values := range q {
		if name != "cursor" && name != "page_size" && name != "format" && name != "bom" {
			filter[name] = values
		}
	}
	sum := sha256.Sum256([]byte(filter.Encode()))
	return hex.EncodeToString(sum[:8])
}

// A page is one part of a list.
type page[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next"`
	AsOf  int64   `json:"as_of"`
}

// A fetch reads one page of a list from the store.
type fetch[T any] func(store.Page) ([]T, *store.Cursor, int64, error)

// list answers a list request: a page as JSON, or as CSV or JSON Lines a page if
// page_size is given and the whole list if not.
func list[T any](s *Server, c echo.Context, name string, get fetch[T]) error {
	f, err := s.formatOf(c, asList)
	if err != nil {
		return err
	}
	from, err := pageFrom(c, name)
	if err != nil {
		return err
	}
	if f != asJSON && c.QueryParam("page_size") == "" {
		from.Size = streamPage
		return stream(s, c, name, f, from, get)
	}
	items, next, asOf, err := get(from)
	if err != nil {
		return err
	}
	p := page[T]{Items: items, AsOf: asOf}
	if p.Items == nil {
		p.Items = []T{}
	}
	if next != nil {
		link, err := s.nextLink(c, name, *next, asOf)
		if err != nil {
			return err
		}
		p.Next = &link
		c.Response().Header().Add("Link", "<"+link+`>; rel="next"`)
	}
	return sendPage(s, c, name, f, p)
}

func pageFrom(c echo.Context, name string) (store.Page, error) {
	p := store.Page{Size: 50}
	if size := c.QueryParam("page_size"); size != "" {
		n, err := strconv.Atoi(size)
		if err != nil {
			return p, err
		}
		p.Size = n
	}
	if text := c.QueryParam("cursor"); text != "" {
		k, err := cursorFrom(text, name, filterSHA(c.QueryParams()))
		if err != nil {
			return p, err
		}
		p.After, p.AsOf = &k.Last, k.AsOf
	}
	return p, nil
}

// nextLink returns the absolute address of the next page, from the public base URL
// and never from the Host header.
func (s *Server) nextLink(c echo.Context, name string, last store.Cursor, asOf int64) (string, error) {
	q := url.Values{}
	for param, values := range c.QueryParams() {
		q[param] = values
	}
	text, err := cursor{Version: 1, List: name, FilterSHA: filterSHA(q), AsOf: asOf, Last: last}.text()
	q.Set("cursor", text)
	return s.cfg.BaseURL + c.Request().URL.Path + "?" + q.Encode(), err
}

func sendPage[T any](s *Server, c echo.Context, name string, f format, p page[T]) error {
	if f == asJSON {
		return s.sendJSON(c, p, byContent, cachePublic)
	}
	var out bytes.Buffer
	w := newRowWriter[T](c, &out, f)
	if err := w.head(); err != nil {
		return err
	}
	for _, item := range p.Items {
		if err := w.row(item); err != nil {
			return err
		}
	}
	if err := w.flush(); err != nil {
		return err
	}
	dataHeaders(c)
	tableHeaders(c, name, f)
	return s.reply(c, reply{media: f.media(), cache: cachePublic, etag: contentTag(out.Bytes()), body: out.Bytes()})
}

// sendWhole answers with a list that is short enough for one page.
func sendWhole[T any](s *Server, c echo.Context, name string, o offers, cache string, items []T) error {
	f, err := s.formatOf(c, o)
	if err != nil {
		return err
	}
	head, err := s.cfg.Store.LedgerHead(c.Request().Context())
	if err != nil {
		return err
	}
	p := page[T]{Items: orEmpty(items), AsOf: head.Sequence}
	if f == asJSON && cache == cacheNever {
		return s.replyJSON(c, p, "", cache)
	}
	return sendPage(s, c, name, f, p)
}

func (f format) media() string {
	switch f {
	case asCSV:
		return csvType
	case asJSONL:
		return jsonlType
	}
	return jsonType
}

func tableHeaders(c echo.Context, name string, f format) {
	c.Response().Header().Set("Content-Disposition", `attachment; filename="`+name+"."+string(f)+`"`)
}

// stream writes a whole list. The first rows are read before the header goes out,
// because an error after the first byte cannot change the status; a later one breaks
// the connection off, so that nobody takes a part for the whole.
func stream[T any](s *Server, c echo.Context, name string, f format, from store.Page, get fetch[T]) error {
	get = paced(s, c, get)
	items, next, asOf, err := get(from)
	if err != nil {
		return err
	}
	dataHeaders(c)
	tableHeaders(c, name, f)
	h := c.Response().Header()
	h.Set("Content-Type", f.media())
	h.Set("Cache-Control", cachePublic)
	h.Set("Evensun-As-Of", strconv.FormatInt(asOf, 10))
	c.Response().WriteHeader(http.StatusOK)
	w := newRowWriter[T](c, c.Response(), f)
	if err := w.head(); err != nil {
		return err
	}
	for {
		for _, item := range items {
			if err := w.row(item); err != nil {
				return err
			}
		}
		if err := w.flush(); err != nil || next == nil {
			return err
		}
		c.Response().Flush()
		from.After, from.AsOf = next, asOf
		if items, next, _, err = get(from); err != nil {
			return err
		}
	}
}

// batchTime is how long a client may take to receive streamPage rows: 6 kB/s, a poor
// mobile connection [common practice, no source].
const batchTime = 30 * time.Second

// paced gives every batch of a stream a time of its own: a whole table may take longer
// than other answers, but nobody who does not receive it may hold a place.
func paced[T any](s *Server, c echo.Context, get fetch[T]) fetch[T] {
	whole := context.WithoutCancel(c.Request().Context()) // a client that left shows when it is written to
	wire := http.NewResponseController(c.Response())
	return func(p store.Page) ([]T, *store.Cursor, int64, error) {
		ctx, cancel := context.WithTimeout(whole, s.cfg.Timeout)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		items, next, asOf, err := get(p)
		if err != nil {
			return nil, nil, asOf, err
		}
		err = wire.SetWriteDeadline(s.cfg.Now().Add(batchTime))
		if errors.Is(err, http.ErrNotSupported) { // not on a network
			err = nil
		}
		return items, next, asOf, err
	}
}
