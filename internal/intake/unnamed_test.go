package intake_test

import (
	"encoding/json"
	"fmt"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/intake"
)

// TestUnnamedPanelsBelongTogether judges a tilted and a flat reading of a panel that has a
// nameplate and no name: the flat one has its ratio to the other, unless the nameplates
// differ.
func TestUnnamedPanelsBelongTogether(t *testing.T) {
	t.Parallel()
	for pmaxW, paired := range map[int]bool{200: true, 195: false} {
		body := fmt.Sprintf(`{"started_at": "2026-06-20T12:30:00-06:00", "site": {"latitude_deg": 39.7, "longitude_deg": -105, "altitude_m": 1600}, "sky": {"condition": "clear"},
 "rig": {"kind": "electronic_load", "power_read_at": "panel_side"}, "plane": {"tilt_deg": 30, "azimuth_deg": 180}, "weather": {"air_temperature_c": 26},
 "readings": [{"panel": {"nameplate": {"pmax_w": 200}}, "taken_at": "2026-06-20T13:00:00-06:00", "power_w": 165},
  {"panel": {"nameplate": {"pmax_w": %d}}, "taken_at": "2026-06-20T13:05:00-06:00", "power_w": 155, "arrangement": "flat"}]}`, pmaxW)
		var s fieldtest.Session
		if err := json.Unmarshal([]byte(body), &s); err != nil {
			t.Fatal(err)
		}
		receipt, err := intake.Offline(t.Context(), s, intake.JudgeOptions{})
		if err != nil {
			t.Fatal(err)
		}
		r := receipt.Readings[1].Result
		if r == nil || (r.Retention != nil) != paired {
			t.Errorf("flat beside a tilted panel of 200 W, itself of %d W: result %+v, want a ratio: %v", pmaxW, r, paired)
		}
	}
}
