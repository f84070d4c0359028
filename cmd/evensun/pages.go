package main

import (
	"context"
	"encoding/json"
	"errors"
	"strings"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
	"evensun/internal/normalise"
	"evensun/internal/refresh"
	"evensun/internal/store"
	"evensun/internal/web"
)

// published reads for the pages.
type published struct {
	*store.DB // Session and Tester as they are
	worker    *refresh.Worker
	in        *intake.Service
}

// Ranking returns a published ranking, an empty one before the first.
func (p published) Ranking(ctx context.Context, measure, key string) (fieldtest.Ranking, error) {
	m, _ := fieldtest.MeasureNamed(measure)
	r := fieldtest.Ranking{Measure: m.Name, Unit: m.Unit, Headline: "Nothing has been measured yet."}
	row, err := p.DB.Ranking(ctx, measure, key)
	if refusal, ok := errors.AsType[*fieldtest.Refusal](err); ok && refusal.Kind == fieldtest.NotFound {
		return r, nil
	}
	if err != nil {
		return r, err
	}
	return r, json.Unmarshal(row.Body, &r)
}

// Names returns what panel models are called, by slug.
func (p published) Names(ctx context.Context) (map[string]string, error) {
	names := map[string]string{}
	page := store.Page{Size: 1000}
	for {
		list, next, asOf, err := p.DB.PanelModels(ctx, store.PanelModelFilter{}, page)
		if err != nil {
			return nil, err
		}
		for i := range list {
			names[list[i].Slug] = list[i].Maker + " " + list[i].Model
		}
		if next == nil {
			return names, nil
		}
		page.After, page.AsOf = next, asOf
	}
}

// Panel returns all that is known of a panel model.
func (p published) Panel(ctx context.Context, slug string) (web.Panel, error) {
	m, err := p.DB.PanelModel(ctx, slug)
	if err != nil {
		return web.Panel{}, err
	}
	out := web.Panel{Model: m.PanelModel, Ranked: map[string]int{}}
	if out.Results, err = p.worker.PanelResults(ctx, slug); err != nil {
		return out, err
	}
	out.Results.Cautions = append(out.Results.Cautions, normalise.PanelModelCautions(&m.PanelModel)...)
	if out.Conclusions, err = p.worker.Conclusions(ctx, &m.PanelModel); err != nil {
		return out, err
	}
	if out.Prices, err = p.DB.Prices(ctx, slug); err != nil {
		return out, err
	}
	for _, e := range out.Results.Entries {
		r, err := p.Ranking(ctx, e.Measure, "")
		if err != nil {
			return out, err
		}
		out.Ranked[e.Measure] = len(r.Entries)
	}
	return out, nil
}

// Compare returns the pairs of some panel models on a measure.
func (p published) Compare(ctx context.Context, measure string, slugs []string) (fieldtest.Comparison, error) {
	for _, slug := range slugs {
		if _, err := p.PanelModel(ctx, slug); err != nil {
			return fieldtest.Comparison{}, err
		}
	}
	return background{p.worker}.Compare(ctx, measure, "", slugs)
}

// Reading returns a reading with the way to its result.
func (p published) Reading(ctx context.Context, id uuid.UUID) (web.Reading, error) {
	kept, err := p.DB.Reading(ctx, id)
	if err != nil {
		return web.Reading{}, err
	}
	session, err := p.SessionRevision(ctx, kept.SessionID, kept.SessionRevision)
	if err != nil {
		return web.Reading{}, err
	}
	out := web.Reading{SessionID: kept.SessionID, Judged: kept.JudgedReading}
	if kept.Position < len(session.Session.Readings) {
		out.Raw = session.Session.Readings[kept.Position]
	}
	out.Steps, err = p.in.Derivation(ctx, id)
	return out, err
}

// rulesForPages are those of /v1/meta/rules.
func rulesForPages() []web.Rule {
	var list []web.Rule
	for _, r := range ruleCatalogue() {
		list = append(list, web.Rule{ID: r.Rule, Group: r.Group, Severities: strings.Join(r.Severities, ", "), Doubts: r.Doubts, Source: r.Source, FalseAlarm: r.FalseAlarmReadings, Power: r.Power})
	}
	return list
}
