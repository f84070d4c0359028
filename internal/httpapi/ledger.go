package httpapi

import (
	"strconv"
	"strings"

	"evensun/internal/ledger"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// ListLedger answers GET /v1/ledger.
func (s *Server) ListLedger(c echo.Context, params ListLedgerParams) error {
	return ledgerPage(s, c, "ledger", params.After, params.PageSize, func(e ledger.Entry) ledger.Entry { return e })
}

// ListChanges answers GET /v1/changes.
func (s *Server) ListChanges(c echo.Context, params ListChangesParams) error {
	return ledgerPage(s, c, "changes", params.After, params.PageSize, changeOf)
}

// ledgerPage answers with rows of the ledger after a sequence. The sequence is the
// cursor: rows never change.
func ledgerPage[T any](s *Server, c echo.Context, name string, after *int64, size *int, make func(ledger.Entry) T) error {
	f, err := s.formatOf(c, asList)
	if err != nil {
		return err
	}
	head, err := s.cfg.Store.LedgerHead(c.Request().Context())
	if err != nil {
		return err
	}
	get := rowsUpTo(s, c, head.Sequence, make)
	from := store.Page{Size: 50, After: &store.Cursor{Sequence: deref(after)}}
	if f != asJSON && size == nil {
		from.Size = streamPage
		return stream(s, c, name, f, from, get)
	}
	if size != nil {
		from.Size = *size
	}
	items, next, _, err := get(from)
	if err != nil {
		return err
	}
	p := page[T]{Items: items, AsOf: head.Sequence}
	if next != nil {
		q := c.Request().URL.Query()
		q.Set("after", strconv.FormatInt(next.Sequence, 10))
		link := s.cfg.BaseURL + c.Request().URL.Path + "?" + q.Encode()
		p.Next = &link
		c.Response().Header().Add("Link", "<"+link+`>; rel="next"`)
	}
	return sendPage(s, c, name, f, p)
}

// rowsUpTo reads rows of the ledger after a page's cursor and up to the head that the
// request found, however many others append meanwhile.
func rowsUpTo[T any](s *Server, c echo.Context, head int64, make func(ledger.Entry) T) fetch[T] {
	return func(p store.Page) ([]T, *store.Cursor, int64, error) {
		entries, err := s.cfg.Store.Ledger(c.Request().Context(), p.After.Sequence, p.Size)
		if err != nil {
			return nil, nil, head, err
		}
		items, last := []T{}, head
		for _, e := range entries {
			if e.Sequence > head {
				break
			}
			items, last = append(items, make(e)), e.Sequence
		}
		if last == head {
			return items, nil, head, nil
		}
		return items, &store.Cursor{Sequence: last}, head, nil
	}
}

func changeOf(e ledger.Entry) Change {
	return Change{Sequence: e.Sequence, At: e.At, Kind: e.Kind, SubjectID: e.SubjectID, Href: hrefOf(e)}
}

// hrefOf returns where the subject of a row is, nil for what is not public.
func hrefOf(e ledger.Entry) *string {
	for prefix, path := range map[string]string{"tester_": "/v1/testers/", "panel_model_": "/v1/panel-models/", "rig_": "/v1/rigs/", "session_": "/v1/sessions/", "verdict_": "/v1/findings/", "snapshot_": "/v1/snapshots/"} {
		if strings.HasPrefix(e.Kind, prefix) {
			return ptr(path + e.SubjectID)
		}
	}
	return nil
}

// GetLedgerHead answers GET /v1/ledger/head.
func (s *Server) GetLedgerHead(c echo.Context) error {
	head, err := s.cfg.Store.LedgerHead(c.Request().Context())
	if err != nil {
		return err
	}
	return s.sendJSON(c, LedgerHead{Sequence: head.Sequence, Hash: head.Hash}, byContent, cacheCheck)
}
