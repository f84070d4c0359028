package httpapi_test

import (
	"strings"
	"testing"

	"evensun/internal/httpapi"
)

// Every parameter of a day is refused outside its range, by its name.
func TestEnergyRefusesWhatIsNoDay(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Compare = compares{} })
	const energy, good = "GET /v1/panel-models/tarn-fold-200/energy", "latitude_deg=38.5&longitude_deg=-106&date=2026-06-21"
	s.must(200, ask{do: energy + "?" + good})
	for query, parameter := range map[string]string{
		"longitude_deg=-106&date=2026-06-21":                         "latitude_deg",
		"latitude_deg=91&longitude_deg=-106&date=2026-06-21":         "latitude_deg",
		"latitude_deg=38&longitude_deg=181&date=2026-06-21":          "longitude_deg",
		"latitude_deg=38&longitude_deg=18":                           "date",
		"latitude_deg=38&longitude_deg=18&date=2026-02-30":           "date",
		"latitude_deg=38&longitude_deg=18&date=2026-06-21T00:00:00Z": "date",
		"latitude_deg=38&longitude_deg=18&date=1949-12-31":           "date",
		"latitude_deg=38&longitude_deg=18&date=2101-01-01":           "date",
		good + "&tilt_deg=91":                                        "tilt_deg",
		good + "&tilt_deg=NaN":                                       "tilt_deg",
		good + "&azimuth_deg=180":                                    "azimuth_deg",
		good + "&altitude_m=9000":                                    "altitude_m",
		good + "&clearness=1":                                        "clearness",
		good + "&linke_turbidity=0":                                  "linke_turbidity",
		good + "&air_temperature_c=80":                               "air_temperature_c",
		good + "&wind_speed_m_s=-1":                                  "wind_speed_m_s",
		good + "&tilt=30":                                            "tilt",
		good + "&tilt_deg=30&tilt_deg=40":                            "tilt_deg",
	} {
		x := s.send(ask{do: energy + "?" + query})
		if x.status() != 400 || x.json("errors.0.parameter") != parameter {
			t.Errorf("%s = %d %s, want 400 about %s", query, x.status(), x.text(), parameter)
		}
	}
	if x := s.send(ask{do: strings.Replace(energy, "tarn-fold-200", "nobody", 1) + "?" + good}); x.status() != 404 {
		t.Errorf("a panel that does not exist = %d %s", x.status(), x.text())
	}
}

// A comparison computes the day of each panel where it is told all of place and day, and
// refuses a part of it.
func TestComparisonNamesADayWholly(t *testing.T) {
	t.Parallel()
	s := newScene(t, func(c *httpapi.Config) { c.Compare = compares{} })
	s.must(201, ask{do: "POST /v1/panel-models", key: s.key, body: strings.Replace(panelBody, "tarn-fold-200", "halden-120", 1)})
	const compared = "GET /v1/comparisons?models=tarn-fold-200,halden-120"
	if x := s.must(200, ask{do: compared}); x.json("energy") != nil {
		t.Errorf("without a day: %v", x.json("energy"))
	}
	x := s.must(200, ask{do: compared + "&latitude_deg=38.5&longitude_deg=-106&date=2026-06-21"})
	if x.json("energy.0.panel_model") != "tarn-fold-200" || x.json("energy.1.panel_model") != "halden-120" {
		t.Errorf("with a day: %s", x.text())
	}
	for query, parameter := range map[string]string{
		"&latitude_deg=38.5&longitude_deg=-106": "latitude_deg", "&date=2026-06-21": "date", "&clearness=0.5": "clearness", "&azimuth_deg=90": "azimuth_deg",
	} {
		if x := s.send(ask{do: compared + query}); x.status() != 400 || x.json("errors.0.parameter") != parameter {
			t.Errorf("%s = %d %s, want 400 about %s", query, x.status(), x.text(), parameter)
		}
	}
}
