package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"evensun/internal/fieldtest"
)

// CreatePanelModel stores a panel model with its first revision. Revision, times and
// sequence are filled in by Seal. A slug that was ever used is a name_taken refusal.
func (tx *Tx) CreatePanelModel(m *fieldtest.StoredPanelModel) error {
	m.Revision = 1
	tx.early.Queue(query("insert_panel_model"), m.ID, m.Slug, m.CreatedBy)
	return tx.recordModel(kindModelCreated, m.CreatedBy, m)
}

// UpdatePanelModel adds a revision to the panel model slug if its current revision
// is ifRevision, else refuses with the current one. m carries the new content, the
// reason and in CreatedBy who changes; the rest is filled in.
func (tx *Tx) UpdatePanelModel(ctx context.Context, slug string, ifRevision int, m *fieldtest.StoredPanelModel) error {
	m.Slug, m.Revision = slug, ifRevision+1
	by := m.CreatedBy
	err := tx.conn.QueryRow(ctx, query("advance_panel_model"), slug, ifRevision).Scan(&m.ID, &m.CreatedBy, &m.CreatedAt)
	if errors.Is(err, pgx.ErrNoRows) {
		var current int
		if err := tx.conn.QueryRow(ctx, query("panel_model_current"), slug).Scan(&current); err != nil {
			return found(err, "panel model", slug)
		}
		return staleRevision(current)
	}
	if err != nil {
		return found(err, "panel model", slug)
	}
	tx.touch(allGroups()...)
	return tx.recordModel(kindModelRevised, by, m)
}

func (tx *Tx) recordModel(kind string, by uuid.UUID, m *fieldtest.StoredPanelModel) error {
	body, err := json.Marshal(m.PanelModel)
	if err != nil {
		return fmt.Errorf("store panel model %s: %w", m.Slug, err)
	}
	content := modelRecord{ID: m.ID, Slug: m.Slug, Revision: m.Revision, Maker: m.Maker, Model: m.Model, Technology: m.Construction.Technology,
		PmaxW: m.Nameplate.PmaxW, MassKg: m.Size.MassKg, CellAreaM2: m.Size.CellAreaM2, PanelAreaM2: m.Size.PanelAreaM2,
		Body: body, Reason: m.Reason, CreatedBy: by}
	return tx.recordValue(kind, m.Slug, content, func(at sealedAt) {
		if m.Revision == 1 {
			m.CreatedAt = at.at
		}
		m.UpdatedAt, m.Sequence = at.at, at.sequence
		at.batch.Queue(query("insert_panel_model_revision"), m.ID, m.Revision, m.Maker, m.Model, m.Construction.Technology,
			m.Nameplate.PmaxW, m.Size.MassKg, m.Size.CellAreaM2, m.Size.PanelAreaM2, string(body), m.Reason, by, at.at, at.sequence)
	})
}

// PanelModel returns the current revision of a panel model.
func (db *DB) PanelModel(ctx context.Context, slug string) (fieldtest.StoredPanelModel, error) {
	return db.panelModel(ctx, slug, nil)
}

// PanelModelRevision returns one revision of a panel model.
func (db *DB) PanelModelRevision(ctx context.Context, slug string, revision int) (fieldtest.StoredPanelModel, error) {
	return db.panelModel(ctx, slug, &revision)
}

func (db *DB) panelModel(ctx context.Context, slug string, revision *int) (fieldtest.StoredPanelModel, error) {
	rows, err := db.pool.Query(ctx, query("panel_model"), slug, revision)
	if err != nil {
		return fieldtest.StoredPanelModel{}, found(err, "panel model", slug)
	}
	m, err := pgx.CollectExactlyOneRow(rows, scanModel)
	return m, found(err, "panel model", slug)
}

// PanelModelsNamed returns the current revisions of those of the slugs that exist.
func (db *DB) PanelModelsNamed(ctx context.Context, slugs []string) (map[string]fieldtest.StoredPanelModel, error) {
	rows, err := db.pool.Query(ctx, query("panel_models_named"), slugs)
	if err != nil {
		return nil, refusalOf(fmt.Errorf("read %d panel models: %w", len(slugs), err))
	}
	models, err := pgx.CollectRows(rows, scanModel)
	if err != nil {
		return nil, refusalOf(fmt.Errorf("read %d panel models: %w", len(slugs), err))
	}
	named := make(map[string]fieldtest.StoredPanelModel, len(models))
	for _, m := range models {
		named[m.Slug] = m
	}
	return named, nil
}

// A PanelModelFilter narrows a list of panel models. Zero members do not narrow.
type PanelModelFilter struct {
	Maker      *string
	Technology []string
	Slugs      []string
}

// PanelModels returns the current revisions of panel models by slug.
func (db *DB) PanelModels(ctx context.Context, f PanelModelFilter, p Page) ([]fieldtest.StoredPanelModel, *Cursor, int64, error) {
	place := func(m fieldtest.StoredPanelModel) Cursor { return Cursor{Sequence: m.Sequence, ID: m.Slug} }
	return listing[fieldtest.StoredPanelModel]{"panel_models", scanModel, place, afterID}.page(ctx, db, p, f.Maker, f.Technology, f.Slugs)
}

func scanModel(row pgx.CollectableRow) (fieldtest.StoredPanelModel, error) {
	var m fieldtest.StoredPanelModel
	var body []byte
	err := row.Scan(&m.ID, &m.Revision, &m.Reason, &m.CreatedBy, &m.CreatedAt, &m.UpdatedAt, &m.Sequence, &body)
	if err != nil {
		return m, err
	}
	m.CreatedAt, m.UpdatedAt = m.CreatedAt.UTC(), m.UpdatedAt.UTC()
	return m, json.Unmarshal(body, &m.PanelModel)
}

// AddPrice stores a price of a panel model. Time and sequence are filled in by Seal.
func (tx *Tx) AddPrice(ctx context.Context, p *fieldtest.StoredPrice) error {
	var model uuid.UUID
	content := priceRecord{ID: p.ID, PanelModel: p.PanelModel, TesterID: p.TesterID, Currency: p.Currency, Region: p.Region, Condition: p.Condition}
	err := tx.conn.QueryRow(ctx, query("price_to_be"), p.PanelModel, p.Amount, p.Date).Scan(&model, &content.Amount, &content.Date)
	if err != nil {
		return found(err, "panel model", p.PanelModel)
	}
	tx.touch(groupPrice)
	return tx.recordValue(kindPriceAdded, p.ID.String(), content, func(at sealedAt) {
		p.CreatedAt, p.Sequence = at.at, at.sequence
		at.batch.Queue(query("insert_price"), p.ID, model, p.TesterID, p.Amount, p.Currency, p.Date, p.Region, p.Condition, at.at, at.sequence)
	})
}

// Prices returns a panel model's prices, oldest first; of all models for an empty slug.
func (db *DB) Prices(ctx context.Context, slug string) ([]fieldtest.StoredPrice, error) {
	rows, err := db.pool.Query(ctx, query("prices"), slug)
	if err != nil {
		return nil, found(err, "prices of panel model", slug)
	}
	prices, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (fieldtest.StoredPrice, error) {
		var p fieldtest.StoredPrice
		err := row.Scan(&p.ID, &p.PanelModel, &p.TesterID, &p.Amount, &p.Currency, &p.Date, &p.Region, &p.Condition, &p.CreatedAt, &p.Sequence)
		p.CreatedAt = p.CreatedAt.UTC()
		return p, err
	})
	return prices, found(err, "prices of panel model", slug)
}
