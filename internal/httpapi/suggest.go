package httpapi

import (
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"

	"github.com/labstack/echo/v4"
)

// mostSuggestions are as many pairs as fit one day in the field [common practice, no
// source].
const mostSuggestions = 10

// Suggest answers GET /v1/suggestions.
func (s *Server) Suggest(c echo.Context, params SuggestParams) error {
	ctx := c.Request().Context()
	models := wordsOf(params.Models)
	for _, slug := range models {
		if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
			return err
		}
	}
	suggest := s.cfg.Suggest
	if suggest == nil {
		suggest = fromRanking{s.cfg.Store, s.cfg.Now}
	}
	r, err := suggest.Suggest(ctx, params.Lat, params.Lon, models)
	if err != nil {
		return err
	}
	r.Items, r.GoodHours = orEmpty(r.Items), orEmpty(r.GoodHours)
	return s.sendJSON(c, r, byContent, cachePublic)
}

// fromRanking suggests pairs that the published ranking of stc-power cannot tell
// apart. Without the fit it promises no gain.
type fromRanking struct {
	store Store
	now   func() time.Time
}

// Suggest implements Suggester.
func (f fromRanking) Suggest(ctx context.Context, latitudeDeg, longitudeDeg float64, models []string) (Suggestions, error) {
	var r fieldtest.Ranking
	row, err := f.store.Ranking(ctx, fieldtest.StcPower, "")
	if err != nil && !isKind(err, fieldtest.NotFound) {
		return Suggestions{}, err
	}
	if err == nil {
		if err := json.Unmarshal(row.Body, &r); err != nil {
			return Suggestions{}, err
		}
	}
	return Suggestions{Items: pairsWorthMeasuring(r, models), GoodHours: ranking.GoodHours(latitudeDeg, longitudeDeg, f.now())}, nil
}

// pairsWorthMeasuring returns pairs of the models at hand (none: all), those first
// about which least is known.
func pairsWorthMeasuring(r fieldtest.Ranking, models []string) []Suggestion {
	type scored struct {
		Suggestion
		sessions int // of the one that was measured less
	}
	var all []scored
	places := placesOf(r, models)
	for i, a := range places {
		for _, b := range places[i+1:] {
			if reason := whyMeasure(a, b); reason != "" {
				all = append(all, scored{Suggestion{Models: []string{a.slug, b.slug}, Reason: reason, RunningOrder: []string{a.slug, b.slug, a.slug}}, min(a.sessions, b.sessions)})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Compare(a.sessions, b.sessions) })
	items := []Suggestion{}
	for _, s := range all[:min(len(all), mostSuggestions)] {
		items = append(items, s.Suggestion)
	}
	return items
}

// A place is what a ranking knows of a panel.
type place struct {
	slug      string
	ties      string // letters; empty: not ranked
	needs     string // what an unranked panel lacks
	component int
	sessions  int
}

func placesOf(r fieldtest.Ranking, models []string) []place {
	var places []place
	known := map[string]bool{}
	wanted := func(slug string) bool {
		known[slug] = true
		return len(models) == 0 || slices.Contains(models, slug)
	}
	for _, e := range r.Entries {
		if wanted(e.PanelModel) {
			places = append(places, place{slug: e.PanelModel, ties: e.TieGroup, component: e.Component, sessions: e.Sessions})
		}
	}
	for _, u := range r.Unranked {
		if wanted(u.PanelModel) {
			places = append(places, place{slug: u.PanelModel, needs: u.Needs, sessions: u.Sessions})
		}
	}
	for _, slug := range models {
		if !known[slug] {
			places = append(places, place{slug: slug, needs: "a first session"})
		}
	}
	return places
}

// whyMeasure says what a session with both would bring, or nothing.
func whyMeasure(a, b place) string {
	switch {
	case a.ties == "" && b.ties == "":
		return "Neither is ranked; " + a.slug + " needs " + a.needs + "."
	case a.ties == "":
		return a.slug + " is not ranked; it needs " + a.needs + "."
	case b.ties == "":
		return b.slug + " is not ranked; it needs " + b.needs + "."
	case a.component != b.component:
		return "Nothing connects them: no session holds both, nor panels in common."
	case strings.ContainsAny(a.ties, b.ties):
		return "The readings so far cannot tell them apart."
	}
	return ""
}
