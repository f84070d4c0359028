package main

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"evensun/internal/fieldtest"
	"evensun/internal/httpapi"
	"evensun/internal/intake"
	"evensun/internal/limits"
	"evensun/internal/refresh"
	"evensun/internal/store"
)

// taker is the intake in the words of the API.
type taker struct{ *intake.Service }

func take(o httpapi.SubmitOptions) intake.SubmitOptions { return intake.SubmitOptions(o) }

// Submit implements httpapi.Intake.
func (t taker) Submit(ctx context.Context, who fieldtest.Caller, s fieldtest.Session, raw []byte, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.Submit(ctx, who, s, raw, take(o))
}

// Revise implements httpapi.Intake.
func (t taker) Revise(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why httpapi.Reason, s fieldtest.Session, raw []byte, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.Revise(ctx, who, id, ifRevision, intake.Reason(why), s, raw, take(o))
}

// Withdraw implements httpapi.Intake.
func (t taker) Withdraw(ctx context.Context, who fieldtest.Caller, id uuid.UUID, ifRevision int, why httpapi.Reason, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.Withdraw(ctx, who, id, ifRevision, intake.Reason(why), take(o))
}

// Verdict implements httpapi.Intake.
func (t taker) Verdict(ctx context.Context, who fieldtest.Caller, finding uuid.UUID, v fieldtest.Decision, note string, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.Verdict(ctx, who, finding, v, note, take(o))
}

// CreatePanelModel implements httpapi.Intake.
func (t taker) CreatePanelModel(ctx context.Context, who fieldtest.Caller, m fieldtest.PanelModel, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.CreatePanelModel(ctx, who, m, take(o))
}

// UpdatePanelModel implements httpapi.Intake.
func (t taker) UpdatePanelModel(ctx context.Context, who fieldtest.Caller, slug string, ifRevision int, why string, m fieldtest.PanelModel, o httpapi.SubmitOptions) (store.Response, bool, error) {
	return t.Service.UpdatePanelModel(ctx, who, slug, ifRevision, why, m, take(o))
}

// background is the worker in the words of the API.
type background struct{ *refresh.Worker }

// Compare implements httpapi.Comparer.
func (b background) Compare(ctx context.Context, measure string, models []string) (fieldtest.Comparison, error) {
	c, err := b.Worker.Compare(ctx, measure, "", models)
	if err != nil {
		return fieldtest.Comparison{}, err
	}
	return *c, nil
}

// Refit implements httpapi.Refitter.
func (b background) Refit(ctx context.Context, q httpapi.RefitQuery) (store.RankingRow, error) {
	f := refresh.Filter{From: q.From, To: q.To, RigKinds: q.RigKinds, Metered: q.Metered, Near: q.Near, Panels: q.PanelModels}
	switch q.Measure.Name {
	case fieldtest.PowerPerPrice:
		f.Currency = q.Key
	case fieldtest.ShadeRetention:
		f.Cover = q.Key
	}
	return b.Filtered(ctx, q.Measure.Name, f)
}

// ruleCatalogue is what /v1/meta/rules shows.
func ruleCatalogue() []httpapi.Rule {
	var list []httpapi.Rule
	for _, r := range limits.Rules() {
		rule := httpapi.Rule{Rule: r.ID, Group: string(r.Group), Doubts: r.Doubts, Source: r.Source}
		for _, severity := range r.Severities {
			rule.Severities = append(rule.Severities, severity.String())
		}
		list = append(list, rule)
	}
	return list
}

var errNoDemo = errors.New("the demonstration is not in this build")
