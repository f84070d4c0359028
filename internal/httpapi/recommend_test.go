package httpapi_test

import (
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
	none := newBench(t)
	if x := none.send(ask{do: call + "use=hot"}); x.status() != 503 {
		t.Errorf("where nothing is computed = %d", x.status())
	}
}
