package httpapi

import (
	"evensun/internal/fieldtest"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// ListFindings answers GET /v1/findings.
func (s *Server) ListFindings(c echo.Context, params ListFindingsParams) error {
	filter := store.FindingFilter{States: wordsOf(params.State), Severities: wordsOf(params.Severity), Rules: wordsOf(params.Rule),
		SessionID: params.Session, ReadingID: params.Reading, TesterID: params.Tester, RigID: params.Rig, PanelModel: params.PanelModel,
		ByPriority: c.QueryParam("sort") == "-priority"}
	return list(s, c, "findings", func(p store.Page) ([]fieldtest.Finding, *store.Cursor, int64, error) {
		return s.cfg.Store.Findings(c.Request().Context(), filter, p)
	})
}

// GetFinding answers GET /v1/findings/{finding_id}.
func (s *Server) GetFinding(c echo.Context, id FindingID, _ GetFindingParams) error {
	f, err := s.cfg.Store.Finding(c.Request().Context(), id)
	if err != nil {
		return err
	}
	return s.sendJSON(c, f, byContent, cacheCheck)
}

// AddVerdict answers POST /v1/findings/{finding_id}/verdicts.
func (s *Server) AddVerdict(c echo.Context, id FindingID, _ AddVerdictParams) error {
	v, o, err := submitted[VerdictRequest](s, c, "VerdictRequest", nil)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.Verdict(c.Request().Context(), callerOf(c), id, fieldtest.Decision(v.Verdict), deref(v.Note), o))
}
