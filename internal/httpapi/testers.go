package httpapi

import (
	"evensun/internal/accounts"
	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
)

// ListTesters answers GET /v1/testers.
func (s *Server) ListTesters(c echo.Context, _ ListTestersParams) error {
	return list(s, c, "testers", func(p store.Page) ([]fieldtest.Tester, *store.Cursor, int64, error) {
		return s.cfg.Store.Testers(c.Request().Context(), p)
	})
}

// GetTester answers GET /v1/testers/{tester_id}.
func (s *Server) GetTester(c echo.Context, id TesterID, _ GetTesterParams) error {
	t, err := s.cfg.Store.Tester(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return s.sendJSON(c, t, byContent, cachePublic)
}

// RegisterTester answers POST /v1/testers.
func (s *Server) RegisterTester(c echo.Context, _ RegisterTesterParams) error {
	a, o, err := submitted(s, c, "Registration", accounts.ApplicationFaults)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Accounts.Register(c.Request().Context(), callerOf(c), a, accountOptions(o)))
}

// SetTrust answers PUT /v1/testers/{tester_id}/trust.
func (s *Server) SetTrust(c echo.Context, id TesterID, _ SetTrustParams) error {
	t, o, err := submitted[accounts.Trust](s, c, "Trust", nil)
	if err != nil {
		return err
	}
	defer s.keys.empty()
	return s.answered(c)(s.cfg.Accounts.SetTrust(c.Request().Context(), callerOf(c), id, t, accountOptions(o)))
}

// ListKeys answers GET /v1/keys.
func (s *Server) ListKeys(c echo.Context, params ListKeysParams) error {
	ctx := c.Request().Context()
	whose, err := accounts.WhoseKeys(callerOf(c), params.Tester)
	if err != nil {
		return err
	}
	keys, err := s.cfg.Store.Keys(ctx, whose)
	if err != nil {
		return err
	}
	return sendWhole(s, c, "keys", jsonOnly, cacheNever, keys)
}

// CreateKey answers POST /v1/keys.
func (s *Server) CreateKey(c echo.Context, _ CreateKeyParams) error {
	r, o, err := submitted[accounts.KeyRequest](s, c, "KeyRequest", nil)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Accounts.CreateKey(c.Request().Context(), callerOf(c), r, accountOptions(o)))
}

// RevokeKey answers DELETE /v1/keys/{key_id}.
func (s *Server) RevokeKey(c echo.Context, id string, params RevokeKeyParams) error {
	defer s.keys.empty()
	return s.answered(c)(s.cfg.Accounts.RevokeKey(c.Request().Context(), callerOf(c), id, deref(params.MadeByIt)))
}

// RevokeKeys answers DELETE /v1/keys.
func (s *Server) RevokeKeys(c echo.Context, params RevokeKeysParams) error {
	defer s.keys.empty()
	return s.answered(c)(s.cfg.Accounts.RevokeKeys(c.Request().Context(), callerOf(c), params.Tester))
}

// GetAgreement answers GET /v1/testers/{tester_id}/agreement.
func (s *Server) GetAgreement(c echo.Context, id TesterID) error {
	a, err := s.agreementOf(c, id)
	if err != nil {
		return err
	}
	return s.sendJSON(c, a, byContent, cachePublic)
}

func (s *Server) agreementOf(c echo.Context, id uuid.UUID) (agreement, error) {
	ctx := c.Request().Context()
	if _, err := s.cfg.Store.Tester(ctx, id); err != nil {
		return agreement{}, err
	}
	states := []string{string(fieldtest.FindingOpen), string(fieldtest.FindingKept), string(fieldtest.FindingExcluded), string(fieldtest.FindingAsked)}
	found, _, _, err := s.cfg.Store.Findings(ctx, store.FindingFilter{TesterID: &id, States: states, ByPriority: true}, store.Page{Size: streamPage})
	if err != nil {
		return agreement{}, err
	}
	a, err := s.cfg.Agree.Agreement(ctx, id)
	a.Panels = orEmpty(a.Panels)
	return agreement{a, orEmpty(found)}, err
}

// An agreement is what the audit says of a tester, in numbers and in findings.
type agreement struct {
	audit.Agreement
	Findings []fieldtest.Finding `json:"findings"`
}
