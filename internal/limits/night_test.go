package limits_test

import (
	"math"
	"testing"

	"evensun/internal/limits"
)

// unmetered is the honest reading by the clear sky alone.
func unmetered() limits.ReadingInput {
	in := honest()
	in.POAWM2, in.UPOAWM2, in.GHIWM2 = math.NaN(), math.NaN(), math.NaN()
	return in
}

// TestOneReasonAtNight sends a reading of noon with the hour of the night: the sun
// below the horizon is the one doubt, not the light, current and power that it forbids,
// while a voltage that no hour allows stays doubted.
func TestOneReasonAtNight(t *testing.T) {
	t.Parallel()
	in := unmetered()
	in.ApparentZenithDeg, in.IncidenceDeg, in.IncidenceTurnedDeg = 110, 120, 60
	in.ClearPOATL2WM2, in.ClearPOALimitWM2, in.ClearPOAHighTLWM2, in.ClearPOAWM2, in.ClearGHIWM2 = 0, 0, 0, 0, 0
	out := judge(in)
	if len(out.Doubts) != 1 || out.Doubts[0].Rule != "sun_below_horizon" || out.Doubts[0].Severity != limits.Reject {
		t.Errorf("doubts at night = %+v, want sun_below_horizon alone", out.Doubts)
	}
	in.VoltageV = 60
	if got := verdictOf(judge(in), "voltage_above_voc"); got != limits.Reject {
		t.Errorf("60 V of a 24 V panel at night: %v, want reject", got)
	}
}

// TestLowSunIsOneDoubt looks at a dim evening without a meter: no result comes of it, so
// nothing is said of a result that would be too dim.
func TestLowSunIsOneDoubt(t *testing.T) {
	t.Parallel()
	in := unmetered()
	in.ApparentZenithDeg, in.ClearPOAWM2 = 80, 313
	out := judge(in)
	if verdictOf(out, "sun_too_low") != limits.Note || verdictOf(out, "irradiance_too_low") != limits.OK {
		t.Errorf("unmetered at 10 deg: %+v, want sun_too_low alone of the two", out.Doubts)
	}
	in.ApparentZenithDeg = 60
	if verdictOf(judge(in), "irradiance_too_low") != limits.Note {
		t.Error("313 W/m2 by a clear sky with the sun at 30 deg: want a note")
	}
}
