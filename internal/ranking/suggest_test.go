package ranking_test

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"

	"evensun/internal/fieldtest"
	"evensun/internal/ranking"
)

func suggest(t testing.TB, w *world, models ...string) ranking.Suggestions {
	t.Helper()
	out := w.compute(t)
	s, err := ranking.Suggest(out, &w.in, ranking.SuggestOptions{LatitudeDeg: 38.5, LongitudeDeg: -106, At: noon, Models: models})
	if err != nil {
		t.Fatalf("Suggest() = %v", err)
	}
	return s
}

func TestSuggestConnectsFirst(t *testing.T) {
	t.Parallel()
	w := newWorld(1, 6, usual).fill(5, 2, 1)
	w.in.Observations = slices.DeleteFunc(w.in.Observations, func(o ranking.Observation) bool { return o.Panel >= slugOf(4) })
	for tester := range 3 {
		w.session(tester, 2, 4, 5)
	}
	s := suggest(t, w)
	if len(s.Items) == 0 {
		t.Fatal("no suggestions")
	}
	m := s.Items[0].Models
	outside := slices.ContainsFunc(m, func(x string) bool { return x >= slugOf(4) })
	inside := slices.ContainsFunc(m, func(x string) bool { return x < slugOf(4) })
	if !outside || !inside || !strings.Contains(s.Items[0].Reason, "never compared side by side") {
		t.Errorf("first suggestion = %+v, want one that joins the components", s.Items[0])
	}
}

func TestSuggestUnreadAndOneTester(t *testing.T) {
	t.Parallel()
	w := newWorld(2, 5, usual)
	for tester := range 5 {
		for range 3 {
			w.session(tester, 2, 0, 1, 2)
		}
	}
	w.session(0, 2, 0, 3)
	w.session(0, 2, 1, 3)
	for _, c := range []struct{ slug, want string }{{slugOf(4), "no readings yet"}, {slugOf(3), "one tester only"}} {
		s := suggest(t, w, c.slug, slugOf(0))
		if len(s.Items) != 1 || !strings.Contains(s.Items[0].Reason, c.slug) || !strings.Contains(s.Items[0].Reason, c.want) {
			t.Errorf("Suggest(%s, %s) = %+v, want a reason with %q", c.slug, slugOf(0), s.Items, c.want)
		}
		for _, item := range suggest(t, w, c.slug).Items {
			if !slices.Contains(item.Models, c.slug) {
				t.Errorf("Suggest(%s) suggests %v without it", c.slug, item.Models)
			}
		}
	}
}

func TestSuggestBeforeData(t *testing.T) {
	t.Parallel()
	s := suggest(t, newWorld(3, 3, usual))
	if len(s.Items) == 0 || !strings.Contains(s.Items[0].Reason, "no readings yet") {
		t.Errorf("Suggest() = %+v, want a first session", s.Items)
	}
	if got := suggest(t, newWorld(3, 1, usual)); len(got.Items) != 0 {
		t.Errorf("Suggest() with one panel = %+v, want none", got.Items)
	}
}

func TestSuggestUnknownModel(t *testing.T) {
	t.Parallel()
	w := newWorld(4, 3, usual).fill(4, 1, 2)
	_, err := ranking.Suggest(w.compute(t), &w.in, ranking.SuggestOptions{At: noon, Models: []string{"no-such"}})
	var refusal *fieldtest.Refusal
	if !errors.As(err, &refusal) || refusal.Kind != fieldtest.InvalidParameter || refusal.Faults[0].Value != "no-such" {
		t.Errorf("Suggest(no-such) = %v, want a refusal that names it", err)
	}
}

// The promised uncertainty of a ratio is what a fit with one more session of a new
// tester finds, the variances held close by the many sessions there are.
func TestSuggestPromise(t *testing.T) {
	t.Parallel()
	w := newWorld(5, 4, usual).fill(8, 3, 2)
	s := suggest(t, w, slugOf(1), slugOf(2))
	g := s.Items[0].ExpectedGain
	if !(g.RatioUThenRelative < g.RatioUNowRelative) {
		t.Fatalf("u now %v, then %v: want a gain", g.RatioUNowRelative, g.RatioUThenRelative)
	}
	before, err := w.compute(t).Fit("tilted").Fit.Contrast(1, 2)
	if err != nil {
		t.Fatal(err)
	}
	w.session(8, 2, 1, 2)
	after, err := w.compute(t).Fit("tilted").Fit.Contrast(1, 2)
	if err != nil {
		t.Fatal(err)
	}
	promised, found := g.RatioUThenRelative/g.RatioUNowRelative, after.SE/before.SE
	if d := promised - found; d > 0.05 || d < -0.05 {
		t.Errorf("uncertainty falls to %.3f of what it was, promised %.3f", found, promised)
	}
}

func TestSuggestOrderAndLimits(t *testing.T) {
	t.Parallel()
	w := newWorld(6, 12, usual).fill(4, 1, 1)
	for p := range w.mu {
		w.mu[p] = -0.1
	}
	s := suggest(t, w)
	if len(s.Items) == 0 || len(s.Items) > 10 {
		t.Fatalf("got %d items, want 1 to 10", len(s.Items))
	}
	for _, item := range s.Items {
		n := len(item.Models)
		if n < 2 || n > 4 || len(item.RunningOrder) != 2*n-1 {
			t.Errorf("models %v in the order %v", item.Models, item.RunningOrder)
		}
		back := slices.Clone(item.RunningOrder)
		slices.Reverse(back)
		if !slices.Equal(back, item.RunningOrder) || back[0] != item.Models[0] {
			t.Errorf("order %v is not the same backwards from %s", item.RunningOrder, item.Models[0])
		}
		if g := item.ExpectedGain; !(g.ToldApartProbability >= 0 && g.ToldApartProbability <= 1 && g.PairsToldApart >= 0) {
			t.Errorf("gain %+v", g)
		}
	}
	again := suggest(t, w)
	if !reflect.DeepEqual(s, again) {
		t.Error("the same question has two answers")
	}
}

func TestSuggestGoodHours(t *testing.T) {
	t.Parallel()
	w := newWorld(7, 2, usual)
	for _, c := range []struct {
		lat, lon float64
		want     int
	}{{38.5, -106, 2}, {38.5, 179, 2}, {-85, 0, 0}, {38.5, 0, 3}} {
		s, err := ranking.Suggest(&ranking.Output{}, &w.in, ranking.SuggestOptions{LatitudeDeg: c.lat, LongitudeDeg: c.lon, At: noon})
		if err != nil || len(s.GoodHours) != c.want {
			t.Errorf("good hours at %v %v = %v, %v; want %d", c.lat, c.lon, s.GoodHours, err, c.want)
		}
		for i, h := range s.GoodHours {
			if !h.To.After(h.From) || !h.To.After(noon) || i > 0 && !h.From.After(s.GoodHours[i-1].To) {
				t.Errorf("window %d of %v", i, s.GoodHours)
			}
		}
	}
}

func BenchmarkSuggest300(b *testing.B) {
	w := newWorld(8, 300, usual)
	for k := range 400 {
		p := k * 7 % 298
		w.session(k%20, 2, p, p+1, p+2, (p+150)%300)
	}
	out := w.compute(b)
	for b.Loop() {
		if _, err := ranking.Suggest(out, &w.in, ranking.SuggestOptions{LatitudeDeg: 38, At: noon}); err != nil {
			b.Fatal(err)
		}
	}
}
