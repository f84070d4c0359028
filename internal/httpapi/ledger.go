package httpapi

import (
	"strconv"
	"strings"

	"evensun/internal/ledger"

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
	ctx := c.Request().Context()
	head, err := s.cfg.Store.LedgerHead(ctx)
	if err != nil {
		return err
	}
	limit := 50
	if size != nil {
		limit = *size
	}
	entries, err := s.cfg.Store.Ledger(ctx, deref(after), limit)
	if err != nil {
		return err
	}
	p := page[T]{Items: []T{}, AsOf: head.Sequence}
	for _, e := range entries {
		p.Items = append(p.Items, make(e))
	}
	if n := len(entries); n > 0 && entries[n-1].Sequence < head.Sequence {
		q := c.Request().URL.Query()
		q.Set("after", strconv.FormatInt(entries[n-1].Sequence, 10))
		link := s.cfg.BaseURL + c.Request().URL.Path + "?" + q.Encode()
		p.Next = &link
		c.Response().Header().Add("Link", "<"+link+`>; rel="next"`)
	}
	return sendPage(s, c, name, f, p)
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
