package main

import (
	"context"

	"evensun/internal/audit"
	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/limits"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

// background is the worker in the words of the API.
type background struct{ *refresh.Worker }

// Compare implements httpapi.Comparer.
func (b background) Compare(ctx context.Context, measure, currency string, models []string) (fieldtest.Comparison, error) {
	c, err := b.Worker.Compare(ctx, measure, currency, models)
	if err != nil {
		return fieldtest.Comparison{}, err
	}
	return *c, nil
}

// Refit implements httpapi.Refitter.
func (b background) Refit(ctx context.Context, q httpapi.RefitQuery) (store.RankingRow, error) {
	f := refresh.Filter{From: q.From, To: q.To, RigKinds: q.RigKinds, Metered: q.Metered, Near: q.Near, Panels: q.PanelModels, Component: q.Component, MinTesters: q.MinTesters}
	switch q.Measure.Name {
	case fieldtest.PowerPerPrice:
		f.Currency = q.Key
	case fieldtest.ShadeRetention:
		f.Cover = q.Key
	}
	return b.Filtered(ctx, q.Measure.Name, f)
}

// ruleCatalogue is what /v1/meta/rules shows: the limits of each reading and the checks
// of the audit.
func ruleCatalogue() []httpapi.Rule {
	var list []httpapi.Rule
	for _, r := range limits.Rules() {
		rule := httpapi.Rule{Rule: r.ID, Group: string(r.Group), Doubts: r.Doubts, Source: r.Source}
		for _, severity := range r.Severities {
			rule.Severities = append(rule.Severities, severity.String())
		}
		list = append(list, rule)
	}
	for _, r := range audit.Rules() {
		list = append(list, httpapi.Rule{Rule: r.ID, Group: "comparison with others: " + r.Level, Severities: []string{string(fieldtest.Note)}, Doubts: r.Sentence, Source: r.Source})
	}
	return list
}
