package combine_test

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evensun/internal/combine"
	"evensun/internal/seedrand"
)

// Above 2,000 panels the covariance is not held: standard errors of differences
// leave it out, degrees of freedom are sampled, and the document says so.
func TestManyPanels(t *testing.T) {
	t.Parallel()
	const panels = 2050
	var b strings.Builder
	b.WriteString("value,panel,tester,session\n")
	s := seedrand.New(2050)
	for session := range 3 * panels / 2 {
		hour := 0.03 * s.Normal()
		for k := range 3 {
			i := (session*5 + k*(1+session%7)) % panels
			fmt.Fprintf(&b, "%.5f,p%04d,t%03d,s%05d\n", float64(i)/panels+hour+0.01*s.Normal(), i, session%80, session)
		}
	}
	opt := combine.Options{Random: []string{"session"}, SkipLikelihood: true}
	got, err := combine.Combine(context.Background(), strings.NewReader(b.String()), opt)
	if err != nil {
		t.Fatal(err)
	}
	if !math.IsNaN(float64(got.LogLikelihood)) || len(got.Notes) < 3 {
		t.Errorf("log_likelihood = %v with notes %q, want none and three reasons", got.LogLikelihood, got.Notes)
	}
	for _, c := range got.Contrasts {
		i := slices.IndexFunc(got.Fixed, func(e combine.Estimate) bool { return e.Panel == c.Panel })
		want := math.Hypot(float64(got.Fixed[0].StandardError), float64(got.Fixed[i].StandardError))
		near(t, "standard error of "+c.Panel, c.StandardError, want, 1e-12)
	}
	inside := 0
	for _, r := range got.Rank {
		var i int
		if _, err := fmt.Sscanf(r.Panel, "p%d", &i); err != nil {
			t.Fatal(err)
		}
		if truth := panels - i; truth >= r.RankLo && truth <= r.RankHi {
			inside++
		}
	}
	if inside != panels {
		t.Errorf("%d of %d true ranks are inside their intervals, want all", inside, panels)
	}
}

// A table whose rigs would make too large a system is fitted without them.
func TestTooManyGroupings(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("value,panel,session,rig\n")
	s := seedrand.New(7)
	for k := range 14000 {
		fmt.Fprintf(&b, "%.4f,p%d,s%d,r%d\n", s.Normal(), k%4, k/2, (k*7)%6800)
	}
	got, err := combine.Combine(context.Background(), strings.NewReader(b.String()), combine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(got.Notes, "; "), "the random term rig is left out") {
		t.Errorf("notes %q do not say that rig is left out", got.Notes)
	}
}
