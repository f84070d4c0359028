package httpapi_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"evensun/internal/httpapi"
	"evensun/internal/refresh"
)

// The worker answers suggestions from the fit itself.
var _ httpapi.Suggester = (*refresh.Worker)(nil)

func TestSuggestions(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for _, slug := range []string{"halden-120", "ostra-60"} {
		s.must(201, ask{do: "POST /v1/panel-models", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", slug, 1)})
	}
	x := s.must(200, ask{do: "GET /v1/suggestions?lat=38.5&lon=-106&models=tarn-fold-200,halden-120,ostra-60"})
	conforms(t, "Suggestions", x.response.Body.Bytes())
	if got := fmt.Sprint(x.json("items.0.models")); got != "[halden-120 ostra-60 tarn-fold-200]" {
		t.Errorf("suggested %s of three panels that nobody has measured, want all three on one day: %s", got, x.text())
	}
	refused(t, s.bench, bad{"unknown panel", ask{do: "GET /v1/suggestions?lat=1&lon=1&models=nobody"}, 404, "not_found", "", ""})
	refused(t, s.bench, bad{"no place", ask{do: "GET /v1/suggestions?lat=91&lon=1"}, 400, "invalid_parameter", "", "out_of_range"})
}

// The windows lie in the 48 h ahead; a winter pole has none, a summer pole nearly all.
func TestGoodHours(t *testing.T) {
	t.Parallel()
	b := newBench(t) // 1 January, noon UTC
	hours := func(lat, lon string) time.Duration {
		var got httpapi.Suggestions
		x := b.must(200, ask{do: "GET /v1/suggestions?lat=" + lat + "&lon=" + lon})
		if err := json.Unmarshal(x.response.Body.Bytes(), &got); err != nil {
			t.Fatal(err)
		}
		var sum time.Duration
		for _, w := range got.GoodHours {
			if w.From.Before(at) || w.To.After(at.Add(48*time.Hour)) || !w.To.After(w.From) {
				t.Errorf("at %s,%s a window %v to %v", lat, lon, w.From, w.To)
			}
			sum += w.To.Sub(w.From)
		}
		return sum
	}
	if got := hours("80", "0"); got != 0 {
		t.Errorf("in the polar night %v", got)
	}
	if got := hours("-89.9", "0"); got < 47*time.Hour {
		t.Errorf("at the summer pole, sun at 23 degrees, %v", got)
	}
	if got := hours("0", "0"); got < 16*time.Hour || got > 22*time.Hour {
		t.Errorf("at the equator %v, want about 18 hours above 20 degrees", got)
	}
	west, east := hours("0", "-90"), hours("0", "90")
	if d := west - east; d < -5*time.Minute || d > 5*time.Minute {
		t.Errorf("west of noon %v, east of it %v, want the same", west, east)
	}
}
