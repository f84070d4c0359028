package ranking

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
	"evensun/internal/sun"
)

// Numbers of the suggestions (common practice, no source).
const (
	suggestedItems    = 10
	suggestedPanels   = 4    // side by side at most
	consideredPanels  = 300  // by one question at most
	neighboursTried   = 3    // in the list, on each side
	pairsExtended     = 24   // of the best pairs, to three or four panels
	worthOfExtension  = 0.5  // of the gain a panel so far: less is not worth a further panel
	readingsPerPanel  = 2    // of a running order
	unreadSD          = 0.10 // of ln(share) of a panel before its first reading
	usualCritical     = 3.0  // of a list that has none yet
	usualReadingU     = 0.015
	goodHoursAhead    = 48 * time.Hour
	suggestedSunMinEl = sun.GoodElevationDeg
)

// SuggestOptions say for whom and of which panels to suggest.
type SuggestOptions struct {
	LatitudeDeg  float64 // north positive, -90 to 90
	LongitudeDeg float64 // east positive, -180 to 180
	At           time.Time
	Models       []string // slugs of the panels at hand; none: all
}

// Suggestions say what to measure next, the most useful first, and when.
type Suggestions struct {
	Items     []Suggestion `json:"items"`
	GoodHours []SunWindow  `json:"good_hours"`
}

// A Suggestion names panels to read side by side in one session.
type Suggestion struct {
	Models       []string `json:"models"`
	Reason       string   `json:"reason"`
	ExpectedGain *Gain    `json:"expected_gain"` // nil where the fit is not at hand
	RunningOrder []string `json:"running_order"` // slugs; up and down again, so that drift cancels
}

// A Gain is what one more session of a new tester is expected to do.
type Gain struct {
	PairsToldApart       float64 `json:"pairs_told_apart"`       // pairs with one of the models that the list will newly tell apart
	RankWidthRanks       float64 `json:"rank_width_ranks"`       // by which the mean rank interval shrinks for it
	ToldApartProbability float64 `json:"told_apart_probability"` // of the two models that the reason names
	RatioUNowRelative    float64 `json:"ratio_u_now_relative"`   // standard uncertainty of their ratio
	RatioUThenRelative   float64 `json:"ratio_u_then_relative"`
}

// A SunWindow is a stretch with the sun at least 20 deg high.
type SunWindow struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Suggest returns the side-by-side sessions that would decide most pairs of the list of
// shares of rating, among the models asked for, and the hours of good sun of the next
// two days at a place. The gain of panels S in one session of a new tester follows from
//
//	C' = C - C_S (B^-1 + C_SS)^-1 C_S',  B^-1 = diag(1/p) + g
//
// with the variances of the fit: 1/p of a panel's cell and opinion, g of session, rig
// and tester. A difference then moves by N(0, v - v'), which gives the probability that
// it leaves the critical value. Pairs of panels that no list holds together count as
// undecided. A model that nobody knows is a *fieldtest.Refusal.
//
// Error: variances and the critical value count as known and as unchanged by the
// session; only pairs with a panel of the session are counted.
func Suggest(out *Output, in *Inputs, opts SuggestOptions) (Suggestions, error) {
	made := Suggestions{Items: []Suggestion{}, GoodHours: GoodHours(opts.LatitudeDeg, opts.LongitudeDeg, opts.At)}
	panels := in.bySlug()
	for _, slug := range opts.Models {
		if panels[slug] == nil {
			return Suggestions{}, unknownModel(slug)
		}
	}
	c := newCandidates(out, in, opts)
	if len(c.panels) < 2 {
		return made, nil
	}
	for _, set := range c.best() {
		made.Items = append(made.Items, c.suggestion(set))
	}
	return made, nil
}

func unknownModel(slug string) error {
	return &fieldtest.Refusal{Kind: fieldtest.InvalidParameter, Detail: "A panel model of the request is not known.",
		Faults: []fieldtest.Fault{{Parameter: "models", Code: "unknown_panel_model", Value: slug, Reason: fmt.Sprintf("There is no panel model %q.", slug)}}}
}

// GoodHours returns when in the 48 h from an instant the sun stands at least 20 deg
// high over a place (deg, north and east positive), in UTC.
//
// Error: one minute; mean refraction, no terrain.
func GoodHours(latitudeDeg, longitudeDeg float64, at time.Time) []SunWindow {
	windows := []SunWindow{}
	at = at.UTC()
	site, end := sun.At(latitudeDeg, longitudeDeg, 0), at.Add(goodHoursAhead)
	for day := -1; day <= 2; day++ { // a solar day begins up to 12 h off the day in UTC
		for _, w := range sun.GoodSun(site, at.AddDate(0, 0, day), sun.Wish{MinElevationDeg: suggestedSunMinEl}) {
			from, to := within(w.From, at, end), within(w.To, at, end)
			if to.Sub(from) < time.Minute {
				continue
			}
			if n := len(windows); n > 0 && from.Sub(windows[n-1].To) < 2*time.Minute { // a sun that never sets
				windows[n-1].To = to
				continue
			}
			windows = append(windows, SunWindow{From: from, To: to})
		}
	}
	return windows
}

// within rounds an instant to minutes and keeps it between two others.
func within(t, from, to time.Time) time.Time {
	t = t.UTC().Truncate(time.Minute)
	switch {
	case t.Before(from):
		return from
	case t.After(to):
		return to
	}
	return t
}

// Tiers of panels: what a session does for them, the most first.
const (
	tierConnect = iota // joins the list
	tierRank           // gets a rank
	tierDecide         // gets a narrower interval
)

// A prospect is one panel of a question.
type prospect struct {
	slug      string
	code      int // in the fit; -1: never read
	mu        float64
	variance  float64 // of mu, that a session can lower
	model     float64 // further variance that it cannot
	component int     // 0: never read
	ranked    bool
	tier      int
	reason    string // why it has no rank
}

// candidates are the panels of a question, in the order of their estimates, with what
// one more session is expected to be like.
type candidates struct {
	fit      *Fitted // nil before any reading
	panels   []prospect
	unranked map[string]string // reason by slug
	must     int               // a panel that every session must have; -1: none
	critical float64
	cell     float64 // 1/p: variance of one panel in a new tester's session
	shared   float64 // g: variance that its panels share
}

func newCandidates(out *Output, in *Inputs, opts SuggestOptions) *candidates {
	c := &candidates{fit: out.Fit("tilted"), must: -1, critical: usualCritical}
	c.expect()
	c.read(out)
	asked := slices.Compact(slices.Sorted(slices.Values(opts.Models)))
	for _, p := range in.Panels {
		_, chosen := slices.BinarySearch(asked, p.Slug)
		if p.PmaxW != nil && *p.PmaxW > 0 && (chosen || len(asked) < 2) {
			c.panels = append(c.panels, c.prospect(p.Slug))
		}
	}
	c.order(asked)
	return c
}

// read takes the critical value and who has no rank from the lists of the shares.
func (c *candidates) read(out *Output) {
	c.unranked = map[string]string{}
	for i := range out.Lists {
		l := &out.Lists[i]
		if l.Measure != fieldtest.ShareOfRating {
			continue
		}
		if m := l.Ranking.Model; l.Component == 1 && m != nil && m.CriticalValue != nil && *m.CriticalValue > 0 {
			c.critical = *m.CriticalValue
		}
		for _, u := range l.Ranking.Unranked {
			if u.Reason != "not_connected" { // that is told by the component
				c.unranked[u.PanelModel] = u.Reason
			}
		}
	}
}

// order sorts by estimate, after dropping what is too much for one question: panels
// that are decided best go first.
func (c *candidates) order(asked []string) {
	single := ""
	if len(asked) == 1 {
		single = asked[0]
	}
	sort.Slice(c.panels, func(i, j int) bool {
		a, b := &c.panels[i], &c.panels[j]
		switch {
		case (a.slug == single) != (b.slug == single):
			return a.slug == single
		case a.tier != b.tier && (a.code < 0) == (b.code < 0):
			return a.tier < b.tier
		case (a.code < 0) != (b.code < 0):
			return b.code < 0
		case a.mu != b.mu:
			return a.mu > b.mu
		}
		return a.slug < b.slug
	})
	c.panels = c.panels[:min(len(c.panels), consideredPanels)]
	sort.Slice(c.panels, func(i, j int) bool {
		a, b := &c.panels[i], &c.panels[j]
		if a.mu != b.mu {
			return a.mu > b.mu
		}
		return a.slug < b.slug
	})
	for i := range c.panels {
		if c.panels[i].slug == single {
			c.must = i
		}
	}
}

// expect takes the variances of the fit, and the median of the known ones, for the
// session to come.
func (c *candidates) expect() {
	theta, u2, known := blindStart(), usualReadingU*usualReadingU, 0.0
	if c.fit != nil {
		theta = c.fit.Fit.Theta
		u2 = median(c.fit.Table.Variance)
		known = median(c.fit.Table.SessionVariance) + median(c.fit.Table.RigVariance)
	}
	c.cell = theta[compare.TesterPanel] + theta[compare.Specimen] + theta[compare.SessionPanel] + (theta[compare.Residual]+u2)/readingsPerPanel
	c.shared = theta[compare.Tester] + theta[compare.Session] + known
}

func median(list []float64) float64 {
	if len(list) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(list))
	return s[len(s)/2]
}

func (c *candidates) prospect(slug string) prospect {
	p := prospect{slug: slug, code: -1, variance: unreadSD * unreadSD, tier: tierConnect}
	if c.fit == nil {
		return p
	}
	code, ok := c.fit.index(slug)
	if !ok {
		p.mu = median(c.fit.Fit.Mu)
		return p
	}
	p.code, p.mu, p.component = code, c.fit.Fit.Mu[code], c.fit.Component[code]
	p.model = c.fit.ModelVar[code]
	p.variance = c.fit.covariance(code, code) - p.model
	p.reason, p.ranked = c.unranked[slug], c.unranked[slug] == ""
	switch {
	case p.component > 1:
	case p.ranked:
		p.tier = tierDecide
	default:
		p.tier = tierRank
	}
	return p
}

// cov is what the estimates of two panels share.
func (c *candidates) cov(i, j int) float64 {
	a, b := &c.panels[i], &c.panels[j]
	switch {
	case i == j:
		return a.variance
	case a.code < 0 || b.code < 0 || !c.fit.Fit.Dense():
		return 0
	}
	return c.fit.Fit.Cov(a.code, b.code)
}

// A pairing is what is known of a difference now, and after a session.
type pairing struct {
	d, now, then float64 // difference; variances that a session can lower
	model        float64
}

// apartProbability is the probability that the difference will be beyond the critical value.
func (p pairing) apartProbability(critical float64) float64 {
	limit := critical * math.Sqrt(p.then+p.model)
	move := math.Sqrt(max(0, p.now-p.then))
	if move < 1e-12 {
		if math.Abs(p.d) > limit {
			return 1
		}
		return 0
	}
	return tail((limit-math.Abs(p.d))/move) + tail((limit+math.Abs(p.d))/move)
}

// tail is the probability that a standard normal number is above z.
func tail(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }

// decided tells whether a list tells two panels apart today.
func (c *candidates) decided(i, j int, p pairing) bool {
	a, b := &c.panels[i], &c.panels[j]
	return a.ranked && b.ranked && a.component == b.component && math.Abs(p.d) > c.critical*math.Sqrt(p.now+p.model)
}
