package budget

import "math"

// A Comparison is the uncertainty of ln A - ln B for two results.
type Comparison struct {
	Ratio      float64 // A/B
	Shared     float64 // relative: what remains of the errors that both have
	Own        float64 // relative: the errors that only one of them has
	Drift      float64 // relative: change of the conditions between the two
	Standard   float64 // relative: all three together
	Covariance float64 // of ln A and ln B: the sum of the shared products
}

// Contrast returns how well the ratio of two results is known. shared says of a
// part of a whether b's part of the same name is the same error; a part without
// a partner counts as a's or b's own. driftShare is the relative standard
// uncertainty of a change between the two, 0 if they are simultaneous:
//
//	u^2 = sum_shared (a_i - b_i)^2 + sum_own (a_i^2 + b_i^2) + drift^2
//
// with a_i, b_i the relative contributions.
//
// Error: the formula to rounding; it is linear in the errors, so a part of more
// than 10 % makes it rough.
//
// Source: JCGM 100:2008, 5.2.2 for ln A - ln B and fully correlated shared
// inputs.
func Contrast(a, b *Budget, driftShare float64, shared func(Part) bool) Comparison {
	var matched [MaxParts]bool
	var common, own, covariance float64
	for _, p := range a.Parts() {
		mine := p.Contribution / a.value
		j := partner(b, p, shared)
		if j < 0 {
			own += mine * mine
			continue
		}
		matched[j] = true
		theirs := b.parts[j].Contribution / b.value
		common += (mine - theirs) * (mine - theirs)
		covariance += mine * theirs
	}
	for j, p := range b.Parts() {
		if !matched[j] {
			theirs := p.Contribution / b.value
			own += theirs * theirs
		}
	}
	if a.Full() || b.Full() {
		own = math.NaN()
	}
	return Comparison{
		Ratio: a.value / b.value, Shared: math.Sqrt(common), Own: math.Sqrt(own), Drift: driftShare,
		Standard: math.Sqrt(common + own + driftShare*driftShare), Covariance: covariance,
	}
}

// partner returns the index of b's part that is the same error as p, or -1.
func partner(b *Budget, p Part, shared func(Part) bool) int {
	if !shared(p) {
		return -1
	}
	for j := range b.Parts() {
		if b.parts[j].Name == p.Name && b.parts[j].Scope == p.Scope {
			return j
		}
	}
	return -1
}

// OfOneSession tells whether a part is the same error in two readings of one
// session by one rig, of different panel models: the session's, the rig's and
// everybody's parts are.
func OfOneSession(p Part) bool {
	return p.Scope == Session || p.Scope == Rig || p.Scope == Common
}
