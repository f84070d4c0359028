package ranking_test

import (
	"math"
	"testing"

	"evensun/internal/fieldtest"
)

// dim gives readings lights from 400 to 1000 W/m2 and panels a low-light slope of their
// own: ln P grows with slope times ln(G/1000).
func (w *world) dim(slopes []float64) {
	lights := []float64{1000, 400, 820, 480, 950, 430, 700}
	for i := range w.in.Observations {
		o := &w.in.Observations[i]
		o.Result.EffectiveWM2 = lights[i%len(lights)]
		for p := range w.in.Panels {
			if o.Panel == w.in.Panels[p].Slug {
				w.in.Observations[i] = scaled(*o, math.Exp(slopes[p]*math.Log(o.Result.EffectiveWM2/1000)))
			}
		}
	}
}

// Watts per litre are the power over the folded volume, in the order of that quotient.
func TestPowerPerPackedVolume(t *testing.T) {
	t.Parallel()
	w := newWorld(71, 3, usual).fill(4, 3, 2)
	for p, litres := range []float64{20, 8, 0} {
		if litres > 0 {
			w.in.Panels[p].FoldedVolumeL = pointer(litres)
		}
	}
	out := w.compute(t)
	power, packed := list(t, out, fieldtest.StcPower, "", 1), list(t, out, fieldtest.PowerPerPackedVolume, "", 1)
	for p, litres := range []float64{20, 8} {
		got, want := entry(t, packed, slugOf(p)), entry(t, power, slugOf(p)).Estimate/litres
		if math.Abs(got.Estimate/want-1) > 1e-5 {
			t.Errorf("%s: %v W/L, want %v", slugOf(p), got.Estimate, want)
		}
		if least := 0.05 * got.Estimate; !(got.EstimateU > least) {
			t.Errorf("%s: u %v, the volume alone is %v", slugOf(p), got.EstimateU, least)
		}
	}
	if entry(t, packed, slugOf(1)).Rank != 1 {
		t.Error("the small one is not first")
	}
	if u := unranked(t, packed, slugOf(2)); u.Reason != "no_volume" || u.Estimate != nil {
		t.Errorf("without a volume: %+v", u)
	}
}

// In the heat a share of rating is less by the temperature coefficient times 40 K: the
// nameplate's, else that of the technology.
func TestHot(t *testing.T) {
	t.Parallel()
	w := newWorld(72, 2, usual).fill(4, 3, 2)
	for i := range w.in.Observations {
		w.in.Observations[i].Result.EffectiveWM2 = 0 // no slopes
	}
	w.in.Panels[0].GammaPerK = pointer(-0.0040)
	w.in.Panels[1].Technology = fieldtest.Heterojunction
	out := w.compute(t)
	share, hot := list(t, out, fieldtest.ShareOfRating, "", 1), list(t, out, fieldtest.Hot, "", 1)
	for p, kept := range []float64{1 - 0.0040*40, 1 - 0.0026*40} {
		got, want := entry(t, hot, slugOf(p)).Estimate, kept*entry(t, share, slugOf(p)).Estimate
		if math.Abs(got/want-1) > 1e-5 {
			t.Errorf("%s: %v, want %v", slugOf(p), got, want)
		}
	}
}

// Panels that fall off in weak light are found behind one that does not, by what readings
// tell; their share of rating has no part in it.
func TestWeakLight(t *testing.T) {
	t.Parallel()
	w := newWorld(73, 3, spreads{tester: 0.02, session: 0.02, opinion: 0.005, cell: 0.003, reading: 0.003}).fill(5, 4, 4)
	slopes := []float64{0.05, 0.0, -0.03}
	w.dim(slopes)
	r := list(t, w.compute(t), fieldtest.WeakLight, "", 1)
	usual := 1 + (-0.006756-0.016444*math.Log(0.2))*math.Log(0.2) // Chatzipanagi et al. 2025
	for p, slope := range slopes {
		e := entry(t, r, slugOf(p))
		if want := usual * math.Exp(slope*math.Log(0.2)); math.Abs(math.Log(e.Estimate/want)) > 2.5*e.EstimateU/e.Estimate {
			t.Errorf("%s: %v +- %v, truth %v", slugOf(p), e.Estimate, e.EstimateU, want)
		}
		if e.PredictionLo != nil || e.MaxShift != nil {
			t.Errorf("%s: has what is known of mu only: %+v", slugOf(p), e)
		}
	}
	if entry(t, r, slugOf(2)).Rank != 1 || entry(t, r, slugOf(0)).Rank != 3 {
		t.Errorf("order: %+v", r.Entries)
	}
}

// In one light nothing is told of another, and nobody is ranked by what is usual.
func TestWeakLightNotTold(t *testing.T) {
	t.Parallel()
	w := newWorld(74, 2, usual).fill(4, 3, 2)
	out := w.compute(t)
	r := list(t, out, fieldtest.WeakLight, "", 1)
	if len(r.Entries) != 0 || unranked(t, r, slugOf(0)).Reason != "weak_light_not_told" {
		t.Errorf("entries %+v, unranked %+v", r.Entries, r.Unranked)
	}
	if _, err := out.Compare(&w.in, fieldtest.WeakLight, "", []string{slugOf(0), slugOf(1)}); err == nil {
		t.Error("what nobody read is compared")
	}
	w.dim([]float64{0, 0})
	c, err := w.compute(t).Compare(&w.in, fieldtest.WeakLight, "", []string{slugOf(0), slugOf(1)})
	if err != nil || c.Pairs[0].DirectRatio != nil || !(c.Pairs[0].RatioLo < 1 && 1 < c.Pairs[0].RatioHi) {
		t.Errorf("two alike: %+v, %v", c, err)
	}
}
