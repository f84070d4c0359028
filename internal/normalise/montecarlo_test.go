package normalise_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/normalise"
)

// TestFirstOrder scatters all inputs of a reading at once: the standard deviation of
// its power is what the first-order budget says, within 3 %.
func TestFirstOrder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		metered bool
		side    fieldtest.Side
	}{{"metered", true, fieldtest.PanelSide}, {"estimated", false, fieldtest.PanelSide}, {"battery_side", true, fieldtest.BatterySide}} {
		in := benchSession(t, 1, c.metered)
		in.Rig.PowerReadAt = c.side
		chain, err := normalise.NewChain(in)
		if err != nil {
			t.Fatal(err)
		}
		chain.Budget()
		sampled, want := chain.Sample(40000, 1), chain.Standard()
		if off := sampled/want - 1; !(math.Abs(off) < 0.03) {
			t.Errorf("%s: sampled u %v W, by the budget %v W (%.1f %% off), want within 3 %%", c.name, sampled, want, 100*off)
		}
	}
}
