package httpapi

import (
	"time"

	"evensun/internal/accounts"
	"evensun/internal/contract"
	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/store"

	"github.com/labstack/echo/v4"
)

// ListPanelModels answers GET /v1/panel-models.
func (s *Server) ListPanelModels(c echo.Context, params ListPanelModelsParams) error {
	filter := store.PanelModelFilter{Maker: params.Maker, Technology: wordsOf(params.Technology)}
	return list(s, c, "panel-models", func(p store.Page) ([]fieldtest.StoredPanelModel, *store.Cursor, int64, error) {
		return s.cfg.Store.PanelModels(c.Request().Context(), filter, p)
	})
}

// GetPanelModel answers GET /v1/panel-models/{slug}.
func (s *Server) GetPanelModel(c echo.Context, slug Slug, _ GetPanelModelParams) error {
	m, err := s.cfg.Store.PanelModel(c.Request().Context(), slug)
	if err != nil {
		return err
	}
	m.Cautions = normalise.PanelModelCautions(&m.PanelModel)
	return s.sendJSON(c, m, revisionTag(m.Revision), cachePublic)
}

// GetPanelModelRevision answers GET /v1/panel-models/{slug}/revisions/{revision}.
func (s *Server) GetPanelModelRevision(c echo.Context, slug Slug, revision Revision, _ GetPanelModelRevisionParams) error {
	m, err := s.cfg.Store.PanelModelRevision(c.Request().Context(), slug, revision)
	if err != nil {
		return missingRevision(err, revision)
	}
	m.Cautions = normalise.PanelModelCautions(&m.PanelModel)
	return s.sendJSON(c, m, revisionTag(m.Revision), cacheForever)
}

// CreatePanelModel answers POST /v1/panel-models.
func (s *Server) CreatePanelModel(c echo.Context, _ CreatePanelModelParams) error {
	m, o, err := submitted(s, c, "PanelModel", func(m fieldtest.PanelModel, _ time.Time) []fieldtest.Fault { return contract.CheckPanelModel(m) })
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.CreatePanelModel(c.Request().Context(), callerOf(c), m, o))
}

// UpdatePanelModel answers PUT /v1/panel-models/{slug}.
func (s *Server) UpdatePanelModel(c echo.Context, slug Slug, _ UpdatePanelModelParams) error {
	u, o, err := submitted(s, c, "PanelModelUpdate", func(u PanelModelUpdate, _ time.Time) []fieldtest.Fault { return updateFaults(&u, slug) })
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Intake.UpdatePanelModel(c.Request().Context(), callerOf(c), slug, ifRevision(c), deref(u.Reason), updated(&u, slug), o))
}

// updated is the panel model that an update makes.
func updated(u *PanelModelUpdate, slug string) fieldtest.PanelModel {
	return fieldtest.PanelModel{Slug: slug, Maker: u.Maker, Model: u.Model, Nameplate: u.Nameplate, Construction: deref(u.Construction), Size: deref(u.Size)}
}

func updateFaults(u *PanelModelUpdate, slug string) []fieldtest.Fault {
	faults := contract.CheckPanelModel(updated(u, slug))
	if u.Slug != nil && *u.Slug != slug {
		faults = append(faults, fieldtest.Fault{Pointer: "#/slug", Code: "slug_changed", Value: *u.Slug, Limit: slug, Relation: "=", Reason: "A slug never changes."})
	}
	return faults
}

// ListPrices answers GET /v1/panel-models/{slug}/prices.
func (s *Server) ListPrices(c echo.Context, slug Slug, _ ListPricesParams) error {
	ctx := c.Request().Context()
	if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
		return err
	}
	prices, err := s.cfg.Store.Prices(ctx, slug)
	if err != nil {
		return err
	}
	return sendWhole(s, c, "prices", asList, cachePublic, prices)
}

// AddPrice answers POST /v1/panel-models/{slug}/prices.
func (s *Server) AddPrice(c echo.Context, slug Slug, _ AddPriceParams) error {
	p, o, err := submitted(s, c, "Price", accounts.PriceFaults)
	if err != nil {
		return err
	}
	return s.answered(c)(s.cfg.Accounts.AddPrice(c.Request().Context(), callerOf(c), slug, p, accountOptions(o)))
}

// GetPanelConclusions answers GET /v1/panel-models/{slug}/conclusions.
func (s *Server) GetPanelConclusions(c echo.Context, slug Slug, _ GetPanelConclusionsParams) error {
	ctx := c.Request().Context()
	m, err := s.cfg.Store.PanelModel(ctx, slug)
	if err != nil {
		return err
	}
	all, err := s.cfg.Results.Conclusions(ctx, &m.PanelModel)
	if err != nil {
		return err
	}
	setAsOf(c, all.ComputedThrough)
	return s.sendJSON(c, all, byContent, cachePublic)
}

// GetPanelResults answers GET /v1/panel-models/{slug}/results.
func (s *Server) GetPanelResults(c echo.Context, slug Slug, _ GetPanelResultsParams) error {
	ctx := c.Request().Context()
	m, err := s.cfg.Store.PanelModel(ctx, slug)
	if err != nil {
		return err
	}
	r, err := s.cfg.Results.PanelResults(ctx, slug)
	if err != nil {
		return err
	}
	r.Entries, r.Contributions, r.Findings = orEmpty(r.Entries), orEmpty(r.Contributions), orEmpty(r.Findings)
	r.Cautions = orEmpty(append(r.Cautions, normalise.PanelModelCautions(&m.PanelModel)...))
	setAsOf(c, r.ComputedThrough)
	return s.sendJSON(c, r, byContent, cachePublic)
}
