package httpapi

import (
	"context"
	"net/http"
	"strings"
	"time"

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
	raw, err := s.body(c)
	if err != nil {
		return err
	}
	m, err := contract.PanelModel(raw)
	if err != nil {
		return err
	}
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	resp, replayed, err := s.cfg.Intake.CreatePanelModel(c.Request().Context(), callerOf(c), m, o)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}

// UpdatePanelModel answers PUT /v1/panel-models/{slug}.
func (s *Server) UpdatePanelModel(c echo.Context, slug Slug, _ UpdatePanelModelParams) error {
	raw, err := s.body(c)
	if err != nil {
		return err
	}
	m, why, err := panelModelUpdate(raw, slug)
	if err != nil {
		return err
	}
	o, err := s.options(c, raw)
	if err != nil {
		return err
	}
	resp, replayed, err := s.cfg.Intake.UpdatePanelModel(c.Request().Context(), callerOf(c), slug, ifRevision(c), why, m, o)
	if err != nil {
		return err
	}
	return s.written(c, resp, replayed)
}

func panelModelUpdate(raw []byte, slug string) (fieldtest.PanelModel, string, error) {
	var u PanelModelUpdate
	model := func() fieldtest.PanelModel {
		return fieldtest.PanelModel{Slug: slug, Maker: u.Maker, Model: u.Model, Nameplate: u.Nameplate, Construction: deref(u.Construction), Size: deref(u.Size)}
	}
	err := contract.Checked(raw, "PanelModelUpdate", &u, func() []fieldtest.Fault {
		faults := contract.CheckPanelModel(model())
		if u.Slug != nil && *u.Slug != slug {
			faults = append(faults, fieldtest.Fault{Pointer: "#/slug", Code: "slug_changed", Value: *u.Slug, Limit: slug, Relation: "=", Reason: "A slug never changes."})
		}
		return faults
	})
	return model(), deref(u.Reason), err
}

// ListPrices answers GET /v1/panel-models/{slug}/prices.
func (s *Server) ListPrices(c echo.Context, slug Slug, _ ListPricesParams) error {
	ctx := c.Request().Context()
	if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
		return err
	}
	head, err := s.cfg.Store.LedgerHead(ctx)
	if err != nil {
		return err
	}
	prices, err := s.cfg.Store.Prices(ctx, slug)
	if err != nil {
		return err
	}
	f, err := s.formatOf(c, asList)
	if err != nil {
		return err
	}
	return sendPage(s, c, "prices", f, page[fieldtest.StoredPrice]{Items: orEmpty(prices), AsOf: head.Sequence})
}

// AddPrice answers POST /v1/panel-models/{slug}/prices.
func (s *Server) AddPrice(c echo.Context, slug Slug, _ AddPriceParams) error {
	raw, err := s.body(c)
	if err != nil {
		return err
	}
	p := fieldtest.StoredPrice{PanelModel: slug, TesterID: callerOf(c).TesterID}
	if err = contract.Checked(raw, "Price", &p.Price, func() []fieldtest.Fault { return s.priceFaults(p.Price) }); err != nil {
		return err
	}
	if p.Condition == "" {
		p.Condition = "new"
	}
	if p.ID, err = s.newID(); err != nil {
		return err
	}
	return s.write(c, raw, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		if err := tx.AddPrice(ctx, &p); err != nil {
			return store.Response{}, err
		}
		return seal(ctx, tx, created{status: http.StatusCreated, location: "/v1/panel-models/" + slug + "/prices",
			value: func(*int64) any { return p }})
	})
}

// priceFaults returns what the form of a price does not show.
func (s *Server) priceFaults(p fieldtest.Price) []fieldtest.Fault {
	var faults []fieldtest.Fault
	if strings.Trim(p.Amount, "0.") == "" {
		faults = append(faults, fieldtest.Fault{Pointer: "#/amount", Code: "out_of_range", Value: p.Amount, Limit: 0, Relation: ">", Reason: "A price is more than 0."})
	}
	tomorrow := s.cfg.Now().UTC().AddDate(0, 0, 1).Format(time.DateOnly) // it is tomorrow already somewhere
	if p.Date > tomorrow {
		faults = append(faults, fieldtest.Fault{Pointer: "#/date", Code: "time_in_future", Value: p.Date, Reason: "This day lies ahead."})
	}
	return faults
}

// GetPanelConclusions answers GET /v1/panel-models/{slug}/conclusions.
func (s *Server) GetPanelConclusions(c echo.Context, slug Slug, _ GetPanelConclusionsParams) error {
	ctx := c.Request().Context()
	m, err := s.cfg.Store.PanelModel(ctx, slug)
	if err != nil {
		return err
	}
	all, err := s.results().Conclusions(ctx, &m.PanelModel)
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
	r, err := s.results().PanelResults(ctx, slug)
	if err != nil {
		return err
	}
	r.Entries, r.Contributions, r.Findings = orEmpty(r.Entries), orEmpty(r.Contributions), orEmpty(r.Findings)
	r.Cautions = orEmpty(append(r.Cautions, normalise.PanelModelCautions(&m.PanelModel)...))
	setAsOf(c, r.ComputedThrough)
	return s.sendJSON(c, r, byContent, cachePublic)
}
