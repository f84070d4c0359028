package budget

import "math"

// Scope says which readings share the error of a part.
type Scope uint8

// The scopes, from what nobody shares to what everybody shares.
const (
	Reading Scope = iota // this reading only: display step, flicker, sensor position
	Session              // all readings of a session: turbidity, air, wind, compass
	Rig                  // all sessions of a rig version: calibration, cable, tracker
	Model                // all readings of a panel model: its gamma, its low light
	Common               // all readings of all models: translation method, cell offset
	scopes
)

// String returns the scope's name as the API spells it.
func (s Scope) String() string {
	if s >= scopes {
		return "unknown"
	}
	return [scopes]string{"reading", "session", "rig", "model", "common"}[s]
}

// MaxParts is how many parts a Budget holds; the longest chain has about 25.
const MaxParts = 32

// A Part is one input's contribution to the uncertainty of the result.
type Part struct {
	Name             string
	Contribution     float64 // signed, in the result's unit: sensitivity times standard uncertainty
	DegreesOfFreedom float64 // of the standard uncertainty, at least 1; +Inf where its size is certain
	Scope            Scope
}

// A Budget is a result with the parts of its uncertainty. The zero value is an
// empty budget of the value 0; Reset makes one ready for reuse. It never
// allocates. A Budget that was given more than MaxParts parts answers NaN
// rather than a total that leaves something out.
type Budget struct {
	value float64
	n     int
	parts [MaxParts]Part
}

// Reset empties the budget and sets the result that its parts belong to.
func (b *Budget) Reset(value float64) {
	b.value, b.n = value, 0
}

// Parts returns the parts in the order in which they were added. The slice is
// the budget's own and is overwritten after Reset.
//
// Error: none. Source: definition.
func (b *Budget) Parts() []Part {
	return b.parts[:min(b.n, MaxParts)]
}

// Add appends a part: contribution is sensitivity times standard uncertainty, in
// the result's unit, degreesOfFreedom those of the standard uncertainty.
func (b *Budget) Add(name string, scope Scope, contribution, degreesOfFreedom float64) {
	if b.n < MaxParts {
		b.parts[b.n] = Part{Name: name, Scope: scope, Contribution: contribution, DegreesOfFreedom: degreesOfFreedom}
	}
	b.n++
}

// Full tells whether more parts were added than the budget holds.
func (b *Budget) Full() bool { return b.n > MaxParts }

// A Result is the total of a budget.
type Result struct {
	Value       float64
	Standard    float64 // combined standard uncertainty, in the unit of Value
	Effective   float64 // effective degrees of freedom; +Inf is possible
	Coverage    float64 // k, the 97.5 % point of Student's t at Effective
	Lower       float64 // ends of the 95 % interval
	Upper       float64
	Logarithmic bool            // the interval was taken on the logarithm
	ByScope     [scopes]float64 // relative standard uncertainty of each scope
}

// Relative returns the combined standard uncertainty as a share of the value.
//
// Error: that of the parts. Source: definition; JCGM 100:2008, 5.1.6.
func (r Result) Relative() float64 { return r.Standard / r.Value }

// Of returns the relative standard uncertainty of one scope's parts.
//
// Error: that of the parts. Source: JCGM 100:2008, equation 10, over the scope alone.
func (r Result) Of(s Scope) float64 {
	if s >= scopes {
		return math.NaN()
	}
	return r.ByScope[s]
}

// Combine returns the total of the budget:
//
//	u^2 = sum(c_i^2),  nu = u^4/sum(c_i^4/nu_i),  k = t_0.975(nu)
//
// with the interval of Logarithmic where u exceeds LogarithmicAbove or the
// irradiance was estimated instead of measured, else of Linear. Parts must belong
// to independent inputs. Effective degrees of freedom below 1, which only parts
// that state less than 1 can cause, make coverage and interval NaN.
//
// Error: the formulas to rounding, k to 1e-10 relative.
//
// Source: JCGM 100:2008, equations 10 and G.2b.
func (b *Budget) Combine(estimatedIrradiance bool) Result {
	var squares [scopes]float64
	var sum, quartic float64
	for i := range b.Parts() {
		p := &b.parts[i]
		square := p.Contribution * p.Contribution
		sum += square
		quartic += square * square / p.DegreesOfFreedom
		squares[min(p.Scope, Common)] += square
	}
	if b.Full() {
		sum = math.NaN()
	}
	r := Result{Value: b.value, Standard: math.Sqrt(sum), Effective: effective(sum, quartic)}
	r.Coverage = Coverage95(r.Effective)
	for s, square := range squares {
		r.ByScope[s] = math.Sqrt(square) / math.Abs(b.value)
	}
	r.Logarithmic = estimatedIrradiance || r.Standard > LogarithmicAbove*math.Abs(b.value)
	r.Lower, r.Upper = interval(r)
	return r
}

// effective is u^4/sum(u_i^4/nu_i); without any finite nu_i it is +Inf.
func effective(square, quartic float64) float64 {
	if quartic == 0 {
		return math.Inf(1)
	}
	return square * square / quartic
}

// LogarithmicAbove is the relative standard uncertainty above which the interval
// is taken on the logarithm, where a symmetric one drifts away from what a Monte
// Carlo sample gives (common practice, no source; the three worked budgets show
// the difference).
const LogarithmicAbove = 0.05

// An Interval95 has the ends of a 95 % coverage interval.
type Interval95 struct{ Lower, Upper float64 }

// Linear returns value -+ k*standard in the unit of the value. coverage is k (1 to 14, see
// Coverage), standard at least 0.
//
// Error: that of the standard uncertainty. Source: JCGM 100:2008, equation 18.
func Linear(value, standard, coverage float64) Interval95 {
	half := coverage * standard
	return Interval95{value - half, value + half}
}

// Logarithmic returns value*exp(-+ k*standard/value), which stays on the value's
// side of zero. value must not be zero; NaN then. coverage is k (1 to 14).
//
// Error: that of the standard uncertainty. Source: JCGM 100:2008, equation 18, of the
// logarithm; the choice of the logarithm is our own.
func Logarithmic(value, standard, coverage float64) Interval95 {
	half := math.Exp(coverage * standard / math.Abs(value))
	low, high := value/half, value*half
	return Interval95{math.Min(low, high), math.Max(low, high)}
}

func interval(r Result) (lower, upper float64) {
	if r.Logarithmic && r.Value > 0 {
		i := Logarithmic(r.Value, r.Standard, r.Coverage)
		return i.Lower, i.Upper
	}
	i := Linear(r.Value, r.Standard, r.Coverage)
	return i.Lower, i.Upper
}
