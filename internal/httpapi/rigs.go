package httpapi

import (
	"context"

	"evensun/internal/contract"
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
	raw, r, err := s.rigBody(c)
	if err != nil {
		return err
	}
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	resp, replayed, err := s.cfg.Intake.CreateRig(c.Request().Context(), callerOf(c), r, o)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}

// UpdateRig answers PUT /v1/rigs/{rig_id}.
func (s *Server) UpdateRig(c echo.Context, id RigID, _ UpdateRigParams) error {
	raw, r, err := s.rigBody(c)
	if err != nil {
		return err
	}
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	resp, replayed, err := s.cfg.Intake.UpdateRig(c.Request().Context(), callerOf(c), id, ifRevision(c), r, o)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}

func (s *Server) rigBody(c echo.Context) (raw []byte, r fieldtest.Rig, err error) {
	if raw, err = s.body(c); err != nil {
		return nil, r, err
	}
	return raw, r, contract.Decode(raw, "Rig", &r)
}

// write runs a write of a handler in the store and answers with its outcome.
func (s *Server) write(c echo.Context, raw []byte, do func(ctx context.Context, tx *store.Tx) (store.Response, error)) error {
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	resp, replayed, err := s.cfg.Store.Write(c.Request().Context(), o.Idempotency, o.DryRun, do)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}
