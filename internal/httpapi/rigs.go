package httpapi

import (
	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// ListRigs answers GET /v1/rigs.
func (s *Server) ListRigs(c echo.Context, params ListRigsParams) error {
	filter := store.RigFilter{TesterID: params.Tester, Kind: wordsOf(params.Kind)}
	return list(s, c, "rigs", func(p store.Page) ([]fieldtest.StoredRig, *store.Cursor, int64, error) {
		return s.cfg.Store.Rigs(c.Request().Context(), filter, p)
	})
}

// GetRig answers GET /v1/rigs/{rig_id}.
func (s *Server) GetRig(c echo.Context, id RigID, _ GetRigParams) error {
	r, err := s.cfg.Store.Rig(c.Request().Context(), id)
	if err != nil {
		return err
	}
	r.Cautions = normalise.RigCautions(&r.Rig)
	return s.sendJSON(c, r, revisionTag(r.Revision), cachePublic)
}

// GetRigRevision answers GET /v1/rigs/{rig_id}/revisions/{revision}.
func (s *Server) GetRigRevision(c echo.Context, id RigID, revision Revision, _ GetRigRevisionParams) error {
	r, err := s.cfg.Store.RigRevision(c.Request().Context(), id, revision)
	if err != nil {
		return missingRevision(err, revision)
	}
	r.Cautions = normalise.RigCautions(&r.Rig)
	return s.sendJSON(c, r, revisionTag(r.Revision), cacheForever)
}

// CreateRig answers POST /v1/rigs.
func (s *Server) CreateRig(c echo.Context, _ CreateRigParams) error {
	r, o, err := submitted[fieldtest.Rig](s, c, "Rig", nil)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.CreateRig(c.Request().Context(), callerOf(c), r, o))
}

// UpdateRig answers PUT /v1/rigs/{rig_id}.
func (s *Server) UpdateRig(c echo.Context, id RigID, _ UpdateRigParams) error {
	r, o, err := submitted[fieldtest.Rig](s, c, "Rig", nil)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.UpdateRig(c.Request().Context(), callerOf(c), id, ifRevision(c), r, o))
}
