package combine

import (
	"slices"
	"strings"

	"evensun/internal/compare"
)

const residual = "residual"

// A term is one random effect: its name as given, and its grouping of the rows.
type term struct {
	name    string
	factors []string // sorted; none for the residual
	codes   []int32  // level of each row; nil for the residual
	levels  int
}

// defaults are the terms tried, in this order, where none are named.
var defaults = [...]string{
	"tester", "rig", "session", "specimen", "tester:panel", "rig:panel", "session:panel", "session:specimen", residual,
}

// terms returns the random terms of a model: those named or, by default, all that
// the table allows. Without known variances the residual is always among them.
func (t *table) terms(opt Options) ([]term, error) {
	if opt.Random == nil {
		return t.allowedTerms(opt.SessionFixed), nil
	}
	var out []term
	for _, name := range opt.Random {
		one, err := t.termNamed(strings.TrimSpace(name))
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(out, func(o term) bool { return slices.Equal(o.factors, one.factors) }) {
			return nil, &OptionError{"--random", name, "the term is there twice"}
		}
		if opt.SessionFixed && slices.Equal(one.factors, []string{"session"}) {
			return nil, &OptionError{"--random", name, "sessions cannot be random and fixed at once: leave out one of session and --session-fixed"}
		}
		out = append(out, one)
	}
	if t.uncertainty == nil && !slices.ContainsFunc(out, term.isResidual) {
		out = append(out, term{name: residual})
	}
	return out, nil
}

func (o term) isResidual() bool { return len(o.factors) == 0 }

// termNamed returns the term of a name such as "session:panel".
func (t *table) termNamed(name string) (term, error) {
	if name == residual {
		return term{name: residual}, nil
	}
	factors := strings.Split(name, ":")
	for i, f := range factors {
		factors[i] = strings.TrimSpace(f)
		if _, ok := t.factors[factors[i]]; !ok {
			return term{}, &OptionError{"--random", name, t.whyNot(factors[i])}
		}
	}
	slices.Sort(factors)
	if len(slices.Compact(slices.Clone(factors))) != len(factors) {
		return term{}, &OptionError{"--random", name, "a grouping times itself is that grouping"}
	}
	if slices.Equal(factors, []string{"panel"}) {
		return term{}, &OptionError{"--random", name, "panels are the fixed effects that are compared"}
	}
	return t.product(name, factors), nil
}

func (t *table) whyNot(factor string) string {
	if slices.Contains(groupings[:], factor) {
		return "the table has no column " + factor
	}
	var have []string
	for _, g := range groupings {
		if _, ok := t.factors[g]; ok {
			have = append(have, g)
		}
	}
	return "no such grouping; this table has " + strings.Join(have, ", ") + ", and residual"
}

// product returns the term of sorted factors, its levels numbered in the order of
// the factors' codes.
func (t *table) product(name string, factors []string) term {
	codes := slices.Clone(t.factors[factors[0]].codes)
	levels := len(t.factors[factors[0]].names)
	for _, f := range factors[1:] {
		codes, levels = pairs(codes, t.factors[f])
	}
	return term{name: name, factors: factors, codes: codes, levels: levels}
}

// pairs returns codes of the pairs that occur, in the order of the pairs.
func pairs(codes []int32, f factor) ([]int32, int) {
	width := int64(len(f.names))
	keys := make([]int64, len(codes))
	for k, c := range codes {
		keys[k] = int64(c)*width + int64(f.codes[k])
	}
	distinct := slices.Compact(slices.Sorted(slices.Values(keys)))
	number := make(map[int64]int32, len(distinct))
	for i, key := range distinct {
		number[key] = int32(i)
	}
	out := make([]int32, len(codes))
	for k, key := range keys {
		out[k] = number[key]
	}
	return out, len(distinct)
}

// allowedTerms returns the default terms: those whose columns are there and that
// the readings can tell from the others. A grouping of one level, one that a panel
// or a fixed session determines, and one that groups as an earlier one does are
// left out; so is one with a level for each reading where the residual is there.
func (t *table) allowedTerms(sessionFixed bool) []term {
	rows := len(t.value)
	var out []term
	for _, name := range defaults {
		one, err := t.termNamed(name)
		if err != nil || sessionFixed && !slices.Contains(one.factors, "panel") && !slices.Contains(one.factors, "specimen") && !one.isResidual() {
			continue
		}
		if one.isResidual() {
			if t.uncertainty == nil || !slices.ContainsFunc(out, func(o term) bool { return o.levels == rows }) {
				out = append(out, one)
			}
			continue
		}
		if one.levels < 2 || one.levels == rows && t.uncertainty == nil || determines(t.factors["panel"].codes, one.codes) {
			continue
		}
		if !slices.ContainsFunc(out, func(o term) bool { return o.levels == one.levels && determines(o.codes, one.codes) }) {
			out = append(out, one)
		}
	}
	return out
}

// determines tells whether rows equal in one grouping are equal in the other.
func determines(grouping, other []int32) bool {
	seen := map[int32]int32{}
	for k, g := range grouping {
		if before, ok := seen[g]; ok && before != other[k] {
			return false
		}
		seen[g] = other[k]
	}
	return true
}

// native returns the term of package compare that is this one, false where a
// grouping of its own is needed: rigs, products with them, and specimens that
// several testers or panels share a name for.
func (t *table) native(o term) (compare.Term, bool) {
	switch strings.Join(o.factors, ":") {
	case "":
		return compare.Residual, true
	case "tester":
		return compare.Tester, true
	case "session":
		return compare.Session, true
	case "panel:tester":
		return compare.TesterPanel, true
	case "panel:session":
		return compare.SessionPanel, true
	case "specimen":
		tester, ok := t.factors["tester"]
		return compare.Specimen, ok && determines(o.codes, tester.codes) && determines(o.codes, t.factors["panel"].codes)
	}
	return 0, false
}

// mostColumns is the size up to which package compare takes groupings of any kind.
const mostColumns = 6000

// fitting returns the terms without those that need groupings of their own where
// there would be more than mostColumns levels besides the largest grouping's, and
// the names of those left out.
func (t *table) fitting(terms []term) (kept []term, left []string) {
	columns, most := len(t.factors["panel"].names), 0
	for _, o := range terms {
		columns += o.levels
		most = max(most, o.levels)
	}
	if columns-most <= mostColumns {
		return terms, nil
	}
	for _, o := range terms {
		if _, ok := t.native(o); ok {
			kept = append(kept, o)
			continue
		}
		left = append(left, o.name)
	}
	return kept, left
}
