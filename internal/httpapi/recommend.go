package httpapi

import (
	"strconv"
	"strings"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
	"evensun/internal/ranking"

	"github.com/labstack/echo/v4"
)

// Recommend answers GET /v1/recommendations.
func (s *Server) Recommend(c echo.Context, params RecommendParams) error {
	wish, err := wishOf(&params)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	for _, slug := range wish.Models {
		if _, err := s.cfg.Store.PanelModel(ctx, slug); err != nil {
			return err
		}
	}
	r, err := s.cfg.Recommend.Recommend(ctx, wish)
	if err != nil {
		return err
	}
	setAsOf(c, r.ComputedThrough)
	return s.sendJSON(c, r, byContent, cachePublic)
}

// wishOf reads uses with their weights, as part-shade:2.
func wishOf(params *RecommendParams) (ranking.Wish, error) {
	wish := ranking.Wish{Models: wordsOf(params.Models), Currency: deref(params.Currency)}
	seen := map[string]bool{}
	for _, text := range params.Use {
		name, weight, weighted := strings.Cut(text, ":")
		if seen[name] {
			return wish, notHere("use", "Every use is named once; "+name+" stands there twice.")
		}
		seen[name] = true
		if _, ok := fieldtest.UseNamed(name); !ok {
			return wish, badUse(text, "Uses are most-power, lightest, smallest-packed, cheapest-per-watt, part-shade, flat-on-the-ground, hot and weak-light.")
		}
		w := 1.0
		if weighted {
			w, _ = strconv.ParseFloat(weight, 64) // the pattern lets nothing but a number through
		}
		if !(w > 0) {
			return wish, badUse(text, "A weight is above 0.")
		}
		wish.Uses, wish.Weights = append(wish.Uses, name), append(wish.Weights, w)
	}
	return wish, wishDetails(&wish, params, seen)
}

// wishDetails takes a currency and a cover where a use has one.
func wishDetails(wish *ranking.Wish, params *RecommendParams, uses map[string]bool) error {
	if params.Currency != nil && !uses["cheapest-per-watt"] {
		return notHere("currency", "Only cheapest-per-watt has a currency.")
	}
	if params.Cover == nil {
		return nil
	}
	if !uses["part-shade"] {
		return notHere("cover", "Only part-shade has a cover.")
	}
	if wish.Cover = normalise.CoverClass(*params.Cover); wish.Cover == "" {
		return notHere("cover", "Covers are ranked at 0.25, 0.33 and 0.5.")
	}
	return nil
}

func badUse(value, reason string) *fieldtest.Refusal {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A parameter of the request is not right.",
		Faults: []fieldtest.Fault{{Parameter: "use", Code: "wrong_form", Value: cut(value), Reason: reason}}}
}
