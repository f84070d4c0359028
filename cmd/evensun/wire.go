package main

import (
	"context"

	"evensun/internal/audit"
	"evensun/internal/caution"
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
		rule := httpapi.Rule{Rule: r.ID, Group: string(r.Group), Doubts: r.Doubts, Source: r.Source, FalseAlarmReadings: r.FalseAlarmReadings, FalseAlarmSessions: r.FalseAlarmSessions, Power: r.Power}
		for _, severity := range r.Severities {
			rule.Severities = append(rule.Severities, severity.String())
		}
		list = append(list, rule)
	}
	for _, r := range audit.Rules() {
		list = append(list, httpapi.Rule{Rule: r.ID, Group: "comparison with others: " + r.Level, Severities: []string{string(fieldtest.Note)}, Doubts: r.Sentence, Source: r.Source})
	}
	for _, c := range cautionCatalogue {
		list = append(list, httpapi.Rule{Rule: c.id, Group: "caution: never a verdict", Severities: c.levels, Doubts: c.about, Source: "package caution"})
	}
	return list
}

var (
	warnsOrInforms = []string{string(caution.Warn), string(caution.Inform)}
	warns          = []string{string(caution.Warn)}
	informs        = []string{string(caution.Inform)}
)

// cautionCatalogue lists the cautions by id.
var cautionCatalogue = []struct {
	id     string
	levels []string
	about  string
}{
	{"series_voltage_cold", warnsOrInforms, "Voltage of cold panels in series against the controller's limit."},
	{"touch_voltage", warnsOrInforms, "Voltage at bare contacts."},
	{"parallel_reverse_current", warns, "Current that parallel panels drive into a damaged one."},
	{"dc_arc", warnsOrInforms, "Arcs of direct current."},
	{"cable_current", warnsOrInforms, "Current against the cross-section of the cable."},
	{"battery", informs, "Short circuits, gas and fuses of batteries."},
	{"battery_cold", warnsOrInforms, "Charging below freezing."},
	{"mains", warns, "What is tied to the mains."},
	{"hot_surface", warnsOrInforms, "Surfaces that burn."},
	{"wind_load", warnsOrInforms, "Force of the wind on a panel."},
	{"lifting", warnsOrInforms, "Weight to lift."},
	{"heat_illness", warnsOrInforms, "Heat and humidity for those who measure."},
	{"eyes_and_skin", informs, "Sun in the eyes and on the skin."},
	{"storm_and_water", informs, "Thunder and rain."},
	{"general", informs, "The text that closes every list."},
}
