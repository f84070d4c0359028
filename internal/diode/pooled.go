package diode

import (
	"math"
	"slices"
	"sync"
)

// A Library keeps the branches of covers, so that each cover is simulated once. The zero
// value is ready, for several goroutines at a time.
type Library struct {
	mu    sync.Mutex
	known map[Cover]Branches
}

// mostCovers bounds what a library keeps: covers of one kind are few, but any share of
// light may be told of one.
const mostCovers = 4096

// branches are those of CommonBranches for a cover that was checked.
func (l *Library) branches(cover Cover) Branches {
	cover.Split = false
	l.mu.Lock()
	defer l.mu.Unlock()
	if all, ok := l.known[cover]; ok {
		return all
	}
	all, err := CommonBranches(cover)
	if err != nil {
		return Branches{}
	}
	if l.known == nil || len(l.known) >= mostCovers {
		l.known = map[Cover]Branches{}
	}
	l.known[cover] = all
	return all
}

// A Unit is what one tester read of one unit of a panel model with covers, all with the
// same number of sections.
type Unit []UnitReading

// A UnitReading is a covered reading with how its power was found.
type UnitReading struct {
	CoveredReading
	// Swept says that the whole curve was measured: nothing can have been missed.
	Swept bool
}

// Shares of what does not go as the branches say (common practice, no source).
const (
	strayShare = 0.05 // readings that look as those of any wiring would: another panel's, another cover's
	wildShare  = 0.02 // readings of which no wiring tells anything
	wildMean   = 0.5
	wildSpread = 0.3
	otherShare = 0.05 // units that are wired otherwise than their model is
	habitShare = 0.3  // rigs that never search: to them bypass diodes are as none
)

// InferPooled returns what the readings of several units say of the wiring of their
// model, by Infer's likelihoods with room for what is odd:
//
//	L(t)      = (1-0.07)*L_t + 0.05*sum_s p_s*L_s + 0.02*wild          a reading
//	U(t)      = product of L(t); series_bypass: 0.7*that + 0.3*product of L(series)
//	M(t)      = (1-0.05)*U(t) + 0.05*sum_s p_s*U(s)                     a unit
//
// and M multiplies over units. No reading alone, and no unit alone, thus favours a wiring
// by more than 1/(0.05 p_t), 57 for a prior of 0.35; and no one rig tells a series string
// from bypass diodes that its controller never finds by more than 1/0.3. A wiring that the
// sections forbid stays impossible. The order of units and readings does not matter.
//
// It decides as Infer does. Without readings it returns the prior, undecided.
//
// Errors: those of Infer but ErrNoReadings; ErrSections within one unit only.
//
// Source: the mixture of a model and an outlier, G. Box, G. Tiao, A Bayesian approach to
// some outlier problems, Biometrika 55 (1968) 119-129 (from memory); the shares are
// common practice, no source.
func (l *Library) InferPooled(prior Shares, units []Unit) (Inference, error) {
	if !isPrior(prior) {
		return Inference{}, ErrPrior
	}
	var all, deciding []Shares
	for _, u := range units {
		whole, some, err := l.ofUnit(prior, u)
		if err != nil {
			return Inference{}, err
		}
		all, deciding = append(all, whole), append(deciding, some)
	}
	logs, sure := sumOf(all), sumOf(deciding)
	posterior, ok := posteriorOf(prior, logs)
	if !ok {
		return Inference{}, ErrImpossible
	}
	best, second := leaders(posterior, logs)
	wirings := Wirings()
	in := Inference{
		LogLikelihood: logs, Posterior: posterior, Best: wirings[best], Second: wirings[second],
		BayesFactor: math.Exp(logs[best] - logs[second]), Conclusion: Undecided,
	}
	if in.BayesFactor >= decisiveFactor && (involvesSeries(best, second) || sure[best]-sure[second] >= math.Log(decisiveFactor)) {
		in.Conclusion = in.Best
	}
	return in, nil
}

// sumOf adds shares from the smallest up, so that their order does not move the last
// digit.
func sumOf(all []Shares) Shares {
	var total Shares
	for w := range total {
		var logs []float64
		for _, s := range all {
			logs = append(logs, s[w])
		}
		slices.Sort(logs)
		for _, l := range logs {
			total[w] += l
		}
	}
	return total
}

// ofUnit returns ln M of a unit: of all its readings, and of those that may decide
// among series_bypass, parallel and two_strings.
func (l *Library) ofUnit(prior Shares, u Unit) (all, deciding Shares, err error) {
	var of, stuck, some, someStuck []Shares
	for _, r := range u {
		if err := r.Check(); err != nil {
			return all, deciding, err
		}
		if r.Cover.Sections != u[0].Cover.Sections {
			return all, deciding, ErrSections
		}
		one := l.ofReading(prior, r)
		never := one
		if !r.Swept {
			never[1] = one[0] // a rig that never searches sees series_bypass as series
		}
		of, stuck = append(of, one), append(stuck, never)
		if !r.ambiguous() {
			some, someStuck = append(some, one), append(someStuck, never)
		}
	}
	return pooled(prior, sumOf(of), sumOf(stuck)), pooled(prior, sumOf(some), sumOf(someStuck)), nil
}

// pooled mixes the products of a unit.
func pooled(prior, product, habit Shares) Shares {
	for w := range product {
		product[w] = logAdd(math.Log(1-habitShare)+product[w], math.Log(habitShare)+habit[w])
	}
	return mixed(prior, product, otherShare)
}

// mixed puts ln((1-share)*L + share*sum of prior*L) in place of ln L; what is impossible
// stays so.
func mixed(prior, logs Shares, share float64) Shares {
	any, mass := math.Inf(-1), 0.0
	for w := range logs {
		if prior[w] > 0 && !math.IsInf(logs[w], -1) {
			any = logAdd(any, math.Log(prior[w])+logs[w])
			mass += prior[w]
		}
	}
	for w := range logs {
		if !math.IsInf(logs[w], -1) {
			logs[w] = logAdd(math.Log(1-share)+logs[w], math.Log(share/mass)+any)
		}
	}
	return logs
}

// ofReading is ln L of a reading by wiring, with the shares of odd ones.
func (l *Library) ofReading(prior Shares, r UnitReading) Shares {
	var logs Shares
	wild := r.logLikelihood([]Branch{{Weight: wildShare, Mean: wildMean, Spread: wildSpread}})
	for w, branches := range l.branches(r.Cover) {
		if len(branches) == 0 {
			logs[w] = math.Inf(-1)
			continue
		}
		if r.Swept {
			branches = found(branches)
		}
		logs[w] = logAdd(math.Log(1-wildShare)+r.logLikelihood(branches), wild)
	}
	return mixed(prior, logs, strayShare)
}

// found leaves out the branches of trackers that missed the maximum.
func found(branches []Branch) []Branch {
	var out []Branch
	var weight float64
	for _, b := range branches {
		if b.VoltageMean > 0 || len(branches) == 1 {
			out = append(out, b)
			weight += b.Weight
		}
	}
	return scaled(out, 1/weight)
}

// involvesSeries tells whether one of two wirings is series, whose power alone decides.
func involvesSeries(best, second int) bool { return best == 0 || second == 0 }
