package main

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"

	"evensun/internal/contract"
	"evensun/internal/demo"
	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

const (
	demoSeed     = 1
	demoReviewer = "Orla Venn, reviewer"
)

// fillDemo fills an empty database with the invented weekend, through the checks and the
// write path that submissions over HTTP take, and prints keys to try with. A database
// that is not empty keeps what it has.
func fillDemo(ctx context.Context, std streams, s settings, db *store.DB, in *intake.Service, worker *refresh.Worker) error {
	head, err := db.LedgerHead(ctx)
	if err != nil {
		return err
	}
	if head.Sequence > 0 {
		fmt.Fprintf(std.out, "The database is not empty: the demonstration is not filled in again. For a key: evensun keys create NAME\n")
		return nil
	}
	d := &filling{db: db, in: in, week: demo.NewWeekend(demoSeed, time.Now())}
	for _, step := range []func(context.Context) error{d.people, d.models, d.rigs, d.sessions, worker.Once} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	fmt.Fprintf(std.out, `The demonstration: %d panel models, %d testers, %d sessions, all invented.
  a trusted tester's key:  %s
  a reviewer's key:        %s
Try:
  curl -sS %[6]s/v1/rankings/share-of-rating
  curl -sS '%[6]s/v1/findings?state=open&sort=-priority&page_size=3'
  curl -sS '%[6]s/v1/sessions?dry_run=true' -H 'Content-Type: application/json' -d @testdata/tour/session.json
`, len(d.week.PanelModels), len(d.week.Testers), len(d.week.Sessions), d.testerKey, d.reviewerKey, s.BaseURL)
	return nil
}

// filling is a demonstration on its way into the database.
type filling struct {
	db                     *store.DB
	in                     *intake.Service
	week                   demo.Weekend
	testers                []fieldtest.Caller
	rigIDs                 []uuid.UUID
	testerKey, reviewerKey string
}

// people registers the testers and a reviewer, and a further tester for whoever tries
// the service.
func (d *filling) people(ctx context.Context) error {
	for _, name := range d.week.Testers {
		id, _, err := newTester(ctx, d.db, name, fieldtest.RoleTester, true)
		if err != nil {
			return err
		}
		d.testers = append(d.testers, fieldtest.Caller{TesterID: id, Role: fieldtest.RoleTester, Trusted: true})
	}
	var err error
	if _, d.testerKey, err = newTester(ctx, d.db, "You", fieldtest.RoleTester, true); err != nil {
		return err
	}
	_, d.reviewerKey, err = newTester(ctx, d.db, demoReviewer, fieldtest.RoleReviewer, true)
	return err
}

// models stores panel models and prices.
func (d *filling) models(ctx context.Context) error {
	for _, m := range d.week.PanelModels {
		raw, err := json.Marshal(m)
		if err != nil {
			return err
		}
		checked, err := contract.PanelModel(raw)
		if err != nil {
			return fmt.Errorf("panel model %s: %w", m.Slug, err)
		}
		if _, _, err = d.in.CreatePanelModel(ctx, d.testers[0], checked, intake.SubmitOptions{}); err != nil {
			return fmt.Errorf("panel model %s: %w", m.Slug, err)
		}
		if err = d.prices(ctx, m.Slug); err != nil {
			return err
		}
	}
	return nil
}

func (d *filling) prices(ctx context.Context, slug string) error {
	if len(d.week.Prices[slug]) == 0 {
		return nil
	}
	_, _, err := d.db.Write(ctx, store.Idempotency{}, false, func(ctx context.Context, tx *store.Tx) (store.Response, error) {
		for _, p := range d.week.Prices[slug] {
			id, err := uuid.NewV7()
			if err != nil {
				return store.Response{}, err
			}
			stored := fieldtest.StoredPrice{Price: p, ID: id, PanelModel: slug, TesterID: d.testers[0].TesterID}
			if err := tx.AddPrice(ctx, &stored); err != nil {
				return store.Response{}, err
			}
		}
		return store.Response{}, nil
	})
	return err
}

// rigs stores the testers' rigs.
func (d *filling) rigs(ctx context.Context) error {
	_, _, err := d.db.Write(ctx, store.Idempotency{}, false, func(_ context.Context, tx *store.Tx) (store.Response, error) {
		d.rigIDs = nil
		for _, r := range d.week.Rigs {
			id, err := uuid.NewV7()
			if err != nil {
				return store.Response{}, err
			}
			d.rigIDs = append(d.rigIDs, id)
			if err := tx.CreateRig(&fieldtest.StoredRig{Rig: r.Rig, ID: id, TesterID: d.testers[r.Tester].TesterID}); err != nil {
				return store.Response{}, err
			}
		}
		return store.Response{}, nil
	})
	return err
}

// sessions submits the weekend in order.
func (d *filling) sessions(ctx context.Context) error {
	for i := range d.week.Sessions {
		sub := &d.week.Sessions[i]
		session := sub.Session
		session.Rig = fieldtest.SessionRig{ID: &d.rigIDs[sub.Rig]}
		raw, err := json.Marshal(session)
		if err != nil {
			return err
		}
		checked, err := contract.Session(raw, time.Now())
		if err != nil {
			return fmt.Errorf("session %d: %w", i, err)
		}
		if _, _, err = d.in.Submit(ctx, d.testers[sub.Tester], checked, intake.SubmitOptions{}); err != nil {
			return fmt.Errorf("session %d: %w", i, err)
		}
	}
	return nil
}
