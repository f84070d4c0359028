package ranking

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/fieldtest"
)

// A sessionSet is the panels of a possible session, in rising order, with its gain.
type sessionSet struct {
	members []int
	gain    float64 // pairs told apart
	tier    int
}

// better puts what connects first, then what gives a rank, then the larger gain.
func (s sessionSet) better(than sessionSet) bool {
	switch {
	case s.tier != than.tier:
		return s.tier < than.tier
	case s.gain != than.gain:
		return s.gain > than.gain
	}
	return slices.Compare(s.members, than.members) < 0
}

// best returns the sets to suggest: the best pairs, extended while it pays, without
// sets that share two panels with a better one.
func (c *candidates) best() []sessionSet {
	sets := c.pairs()
	sort.Slice(sets, func(i, j int) bool { return sets[i].better(sets[j]) })
	for i := range min(pairsExtended, len(sets)) {
		sets[i] = c.extend(sets[i])
	}
	sort.SliceStable(sets, func(i, j int) bool { return sets[i].better(sets[j]) })
	var chosen []sessionSet
	for _, s := range sets {
		if len(chosen) == suggestedItems {
			break
		}
		if !slices.ContainsFunc(chosen, func(other sessionSet) bool { return shared(s, other) > 1 }) {
			chosen = append(chosen, s)
		}
	}
	return chosen
}

func shared(a, b sessionSet) int {
	n := 0
	for _, i := range a.members {
		if slices.Contains(b.members, i) {
			n++
		}
	}
	return n
}

// pairs are those of neighbours; panels outside the list also with the best known panel
// inside. With a panel that must be there, all its pairs.
func (c *candidates) pairs() []sessionSet {
	known := c.bestKnown()
	var sets []sessionSet
	add := func(i, j int) {
		if i != j && (c.must < 0 || c.must == i || c.must == j) {
			sets = append(sets, c.set([]int{min(i, j), max(i, j)}))
		}
	}
	for i := range c.panels {
		for step := 1; step <= neighboursTried && i+step < len(c.panels); step++ {
			add(i, i+step)
		}
		if c.panels[i].tier != tierDecide && known >= 0 && (known < i-neighboursTried || known > i+neighboursTried) {
			add(i, known)
		}
		if c.must >= 0 && (i < c.must-neighboursTried || i > c.must+neighboursTried) {
			add(i, c.must)
		}
	}
	return sets
}

// bestKnown is the panel of component 1 with the smallest variance.
func (c *candidates) bestKnown() int {
	best := -1
	for i := range c.panels {
		if c.panels[i].component == 1 && (best < 0 || c.panels[i].variance < c.panels[best].variance) {
			best = i
		}
	}
	return best
}

// set computes the gain of a session.
func (c *candidates) set(members []int) sessionSet {
	s := sessionSet{members: members, tier: tierDecide}
	joined := map[int]bool{}
	for _, i := range members {
		p := &c.panels[i]
		joined[p.component] = true
		if p.tier == tierRank {
			s.tier = tierRank
		}
	}
	if len(joined) > 1 || joined[0] { // panels of one component are no closer to the list for it
		s.tier = tierConnect
	}
	reduce := c.reduction(members)
	for _, i := range members {
		for j := range c.panels {
			if j == i || j < i && slices.Contains(members, j) {
				continue
			}
			p := c.pairing(i, j, reduce)
			now := 0.0
			if c.decided(i, j, p) {
				now = 1
			}
			s.gain += p.apartProbability(c.critical) - now
		}
	}
	s.gain = max(0, s.gain)
	return s
}

// extend adds the panel that gains most while it gains enough.
func (c *candidates) extend(s sessionSet) sessionSet {
	for len(s.members) < suggestedPanels {
		next := sessionSet{gain: -1}
		lo, hi := max(0, s.members[0]-neighboursTried), min(len(c.panels)-1, s.members[len(s.members)-1]+neighboursTried)
		for i := lo; i <= hi; i++ {
			nearest := len(c.panels)
			for _, m := range s.members {
				nearest = min(nearest, max(i-m, m-i))
			}
			if nearest == 0 || nearest > neighboursTried {
				continue
			}
			with := slices.Sorted(slices.Values(append(slices.Clone(s.members), i)))
			if t := c.set(with); t.gain > next.gain {
				next = t
			}
		}
		if next.gain-s.gain < worthOfExtension*s.gain/float64(len(s.members)) || next.gain <= s.gain {
			return s
		}
		next.tier = min(next.tier, s.tier)
		s = next
	}
	return s
}

// A reduction is (B^-1 + C_SS)^-1 of a session with the panels S.
type reduction struct {
	members []int
	inverse mat.Dense
	ok      bool
}

func (c *candidates) reduction(members []int) *reduction {
	k := len(members)
	a := mat.NewDense(k, k, nil)
	for x, i := range members {
		for y, j := range members {
			v := c.cov(i, j) + c.shared
			if x == y {
				v += c.cell
			}
			a.Set(x, y, v)
		}
	}
	r := &reduction{members: members}
	r.ok = r.inverse.Inverse(a) == nil
	return r
}

// pairing is a difference now and after a session.
func (c *candidates) pairing(i, j int, r *reduction) pairing {
	a, b := &c.panels[i], &c.panels[j]
	p := pairing{d: a.mu - b.mu, now: a.variance + b.variance - 2*c.cov(i, j), model: a.model + b.model}
	p.now = max(0, p.now)
	p.then = p.now
	if !r.ok {
		return p
	}
	var l [suggestedPanels]float64
	for x, m := range r.members {
		l[x] = c.cov(i, m) - c.cov(j, m)
	}
	for x := range r.members {
		for y := range r.members {
			p.then -= l[x] * r.inverse.At(x, y) * l[y]
		}
	}
	p.then = max(0, p.then)
	return p
}

// suggestion says a set in words.
func (c *candidates) suggestion(s sessionSet) Suggestion {
	reduce := c.reduction(s.members)
	i, j := c.closest(s, reduce)
	p := c.pairing(i, j, reduce)
	out := Suggestion{Reason: c.reason(i, j, p), RunningOrder: []string{}}
	out.ExpectedGain = &Gain{
		PairsToldApart: fieldtest.Significant(s.gain), RankWidthRanks: fieldtest.Significant(2 * s.gain / float64(len(c.panels))),
		ToldApartProbability: fieldtest.Significant(p.apartProbability(c.critical)),
		RatioUNowRelative:    fieldtest.Significant(math.Sqrt(p.now + p.model)), RatioUThenRelative: fieldtest.Significant(math.Sqrt(p.then + p.model)),
	}
	for _, m := range c.fromBestKnown(s.members) {
		out.Models = append(out.Models, c.panels[m].slug)
	}
	n := len(out.Models)
	for k := range 2*n - 1 { // a mirror: the mean time of every panel is the same
		out.RunningOrder = append(out.RunningOrder, out.Models[min(k, 2*n-2-k)])
	}
	return out
}

// closest are the two panels of a set that the reason speaks of: one that needs the
// session and its nearest neighbour, else the pair whose decision gains most.
func (c *candidates) closest(s sessionSet, r *reduction) (first, second int) {
	first, second = s.members[0], s.members[1]
	least, most := tierDecide, -1.0
	for x, i := range s.members {
		for _, j := range s.members[x+1:] {
			tier := min(c.panels[i].tier, c.panels[j].tier)
			p := c.pairing(i, j, r)
			if gained := p.now - p.then; tier < least || tier == least && gained > most {
				first, second, least, most = i, j, tier, gained
			}
		}
	}
	if c.panels[second].tier < c.panels[first].tier {
		first, second = second, first
	}
	return first, second
}

// fromBestKnown orders the panels of a session: the best known first, since it is read
// first and last, the others as in the list.
func (c *candidates) fromBestKnown(members []int) []int {
	out := slices.Clone(members)
	slices.SortStableFunc(out, func(i, j int) int { return i - j })
	best := 0
	for k := range out {
		if c.panels[out[k]].variance < c.panels[out[best]].variance {
			best = k
		}
	}
	first := out[best]
	return slices.Insert(slices.Delete(out, best, best+1), 0, first)
}

// reason is why, in a sentence.
func (c *candidates) reason(i, j int, p pairing) string {
	a, b := &c.panels[i], &c.panels[j]
	switch {
	case a.code < 0 && b.code < 0:
		return fmt.Sprintf("%s and %s have no readings yet: one session with both is a beginning.", a.slug, b.slug)
	case a.code < 0:
		return fmt.Sprintf("%s has no readings yet: beside %s it joins the list at once.", a.slug, b.slug)
	case a.component != b.component:
		return fmt.Sprintf("%s and %s were never compared side by side, not even through other panels: one session with both joins their lists.", a.slug, b.slug)
	case a.reason != "":
		return fmt.Sprintf("%s has no rank (%s): a session by another tester beside %s brings it nearer to one.", a.slug, unrankedWords(a.reason), b.slug)
	}
	return fmt.Sprintf("%s and %s differ by %.1f %% with a standard uncertainty of %.2f %%: one session with both is expected to bring that to %.2f %%.",
		a.slug, b.slug, 100*math.Abs(math.Expm1(p.d)), 100*math.Sqrt(p.now+p.model), 100*math.Sqrt(p.then+p.model))
}

// unrankedWords says a reason why a panel has no rank in words.
func unrankedWords(reason string) string {
	if words, ok := map[string]string{
		"one_tester_only":   "readings by one tester only",
		"one_session_only":  "readings of one session only",
		"too_few_readings":  "too few readings",
		"contrast_too_wide": "not known well enough against the list",
	}[reason]; ok {
		return words
	}
	return strings.ReplaceAll(reason, "_", " ")
}
