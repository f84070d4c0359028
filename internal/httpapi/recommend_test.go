package httpapi_test

import (
	"strings"
	"testing"

	"evensun/internal/httpapi"
)

// What is asked of a recommendation is refused by the parameter's name.
func TestRecommendationRefusals(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Recommend = recommends{} })
	const call = "GET /v1/recommendations?"
	for _, good := range []string{"use=most-power", "use=most-power:2,lightest:0.5", "use=part-shade&cover=0.5", "use=cheapest-per-watt&currency=EUR", "use=hot&models=tarn-fold-200"} {
		s.must(200, ask{do: call + good})
	}
	for query, parameter := range map[string]string{
		"":                                    "use",
		"use=":                                "use",
		"use=prettiest":                       "use",
		"use=most-power:0":                    "use",
		"use=most-power:-1":                   "use",
		"use=most-power:1e3":                  "use",
		"use=most-power,most-power:2":         "use",
		"use=most-power&cover=0.5":            "cover",
		"use=part-shade&cover=0.9":            "cover",
		"use=part-shade&currency=EUR":         "currency",
		"use=cheapest-per-watt&currency=euro": "currency",
		"use=hot&model=tarn-fold-200":         "model",
	} {
		if x := s.send(ask{do: call + query}); x.status() != 400 || x.json("errors.0.parameter") != parameter {
			t.Errorf("%q = %d %s, want 400 about %s", query, x.status(), x.text(), parameter)
		}
	}
	if x := s.send(ask{do: call + "use=hot&models=nobody"}); x.status() != 404 {
		t.Errorf("a panel that does not exist = %d %s", x.status(), x.text())
	}
}

// The receipt of a session with a covered reading says how the panel seems to be wired, in
// a dry run as in a submission and when it is sent again.
func TestReceiptTellsTheWiring(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	covered := `, {"label": "A3", "panel": {"model": "tarn-fold-200", "specimen": "unit-1"}, "taken_at": "2026-06-14T11:28:00-06:00", "arrangement": "covered",
	  "cover": {"sections_covered": 1, "sections_total": 4, "transmission": 0.0, "reference_label": "A1"},
	  "voltage_v": 18.0, "current_a": 6.3, "power_w": 113.4, "irradiance": {"poa_w_m2": 912, "sensor": "reference_cell"}, "back_temperature_c": 47.5, "warm_up_min": 20}`
	body := s.session()
	end := strings.LastIndex(body, "]")
	body = body[:end] + covered + body[end:]
	for _, do := range []string{"POST /v1/sessions?dry_run=true", "POST /v1/sessions", "POST /v1/sessions"} {
		x := s.send(ask{do: do, key: s.key, body: body})
		if x.status() >= 300 || x.json("conclusions.0.panel_model") != "tarn-fold-200" || x.json("conclusions.0.wiring.conclusion") != "parallel" || x.json("conclusions.1") != nil {
			t.Errorf("%s = %d, conclusions %v", do, x.status(), x.json("conclusions"))
		}
	}
}
