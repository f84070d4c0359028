package ranks

import (
	"fmt"
	"slices"
	"strings"

	"evensun/internal/seedrand"
)

// namesInASentence is the number of names after which a sentence says "others".
const namesInASentence = 5

// Wording holds what the members are called in sentences, as "panel", "panels".
type Wording struct {
	One, Many string
}

// An Entry is the place of one member.
type Entry struct {
	Rank     int      // 1 is the largest estimate; equal estimates share a rank
	Interval Interval // simultaneous: all true ranks are inside at once
	PScore   float64  // mean probability of being larger than another, 0 to 1
	TieGroup string   // letters; members that share one are not told apart
}

// A Table holds the places of all members, at one critical value.
type Table struct {
	Level    float64 // confidence, as 0.95
	Critical float64 // of |studentised difference|
	Entries  []Entry // in the order of the estimates given
	Letters  *Display
}

// Table returns the place of every member at a confidence level in (0, 1), the
// critical value simulated with the usual number of draws of the stream.
func (f *Family) Table(level float64, s *seedrand.Stream) Table {
	t := Table{Level: level, Critical: f.CriticalValue(level, Draws, s), Entries: make([]Entry, f.Len())}
	t.Letters = f.Letters(t.Critical)
	ranks, intervals, scores := f.Ranks(), f.RankIntervals(t.Critical), f.PScores()
	for i := range t.Entries {
		t.Entries[i] = Entry{Rank: ranks[i], Interval: intervals[i], PScore: scores[i], TieGroup: t.Letters.Label(i)}
	}
	return t
}

// Sentence returns what a reader needs to know about one member: its rank with the
// ranks that the data allow, and whom it cannot be told apart from, the nearest in
// the list if there are many. names are those of all members. A rank never stands
// without its interval, and nobody who shares a letter is called better.
func (t Table) Sentence(member int, names []string, w Wording) string {
	e, alike := t.Entries[member], t.Letters.Alike(member)
	if len(t.Entries) == 1 {
		return fmt.Sprintf("The only %s in this list, so there is nothing to rank it against.", w.One)
	}
	if len(alike) == 0 {
		return fmt.Sprintf("Rank %d and no other: %s at %s confidence.", e.Rank, t.besides(e.Rank, w), percent(t.Level))
	}
	return fmt.Sprintf("Rank %d, could be %d to %d: the data cannot tell it apart from %s.", e.Rank, e.Interval.Lo, e.Interval.Hi, t.listed(member, alike, names))
}

// besides says how a member that is alike to nobody compares with the others.
func (t Table) besides(rank int, w Wording) string {
	above, below := rank-1, len(t.Entries)-rank
	if above == 0 {
		return fmt.Sprintf("better than every other %s in this list", w.One)
	}
	if below == 0 {
		return fmt.Sprintf("behind every other %s in this list", w.One)
	}
	return fmt.Sprintf("behind the %s above it and better than the %s below it", w.count(above), w.count(below))
}

func (w Wording) count(n int) string {
	if n == 1 {
		return w.One
	}
	return fmt.Sprintf("%d %s", n, w.Many)
}

// Headline returns the sentence for the head of a list: who leads and whom the data
// cannot tell from that, that nothing can be told apart, or nothing where there are less
// than two. It calls nobody best who shares a letter.
func (t Table) Headline(names []string, w Wording) string {
	if len(t.Entries) < 2 {
		return ""
	}
	if t.Letters.AllAlike() {
		return fmt.Sprintf("These %s cannot be told apart with the data so far.", w.Many)
	}
	first := t.Letters.order[0]
	alike := t.Letters.Alike(first)
	if len(alike) == 0 {
		return fmt.Sprintf("%s is %s at %s confidence.", names[first], t.besides(1, w), percent(t.Level))
	}
	return fmt.Sprintf("%s leads, but the data cannot tell it apart from %s.", names[first], t.listed(first, alike, names))
}

// listed names members that are alike to one, the nearest in the list if they are many.
func (t Table) listed(member int, alike []int, names []string) string {
	near := t.Letters.nearest(member, alike)
	text := make([]string, len(near), len(near)+1)
	for k, i := range near {
		text[k] = names[i]
	}
	if more := len(alike) - len(near); more == 1 {
		text = append(text, "1 other")
	} else if more > 1 {
		text = append(text, fmt.Sprintf("%d others", more))
	}
	return enumerate(text)
}

// nearest returns up to namesInASentence of the alike members, those next to the
// member in the list, best first.
func (d *Display) nearest(member int, alike []int) []int {
	if len(alike) <= namesInASentence {
		return alike
	}
	from := d.position[member]
	distance := func(i int) int { return max(d.position[i]-from, from-d.position[i]) }
	near := slices.Clone(alike)
	slices.SortStableFunc(near, func(a, b int) int { return distance(a) - distance(b) })
	near = near[:namesInASentence]
	slices.SortFunc(near, func(a, b int) int { return d.position[a] - d.position[b] })
	return near
}

// enumerate joins texts as in "a, b and c".
func enumerate(texts []string) string {
	last := len(texts) - 1
	if last < 1 {
		return strings.Join(texts, "")
	}
	return strings.Join(texts[:last], ", ") + " and " + texts[last]
}

func percent(level float64) string {
	return fmt.Sprintf("%.4g %%", 100*level)
}
