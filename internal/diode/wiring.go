package diode

import (
	"math"
	"slices"
)

// Wirings returns the four wirings that readings can point to, in the order of
// Shares and Branches.
func Wirings() [4]Wiring { return [4]Wiring{Series, SeriesBypass, Parallel, TwoStrings} }

// Shares holds one number a wiring, in the order of Wirings.
type Shares [4]float64

// Of returns the number of one wiring, 0 for one that is not in Wirings.
func (s Shares) Of(w Wiring) float64 {
	wirings := Wirings()
	at := slices.Index(wirings[:], w)
	if at < 0 {
		return 0
	}
	return s[at]
}

// CommonPrior returns how likely each wiring is before any reading: series 0.15,
// series_bypass 0.35, parallel 0.35, two_strings 0.15. Common practice, no source;
// likelihoods are reported so that a reader may use others.
func CommonPrior() Shares { return Shares{0.15, 0.35, 0.35, 0.15} }

const (
	// Undecided is the conclusion where no wiring is strongly favoured.
	Undecided Wiring = "undecided"

	decisiveFactor      = 20.0
	voltageModelSpread  = 0.03
	voltageRatioSpan    = 1.2
	defaultUVoltage     = 0.03
	logTwoPi            = 1.8378770664093453
	highestRetained     = 1.5
	highestVoltageRatio = 1.5
)

const (
	// ErrNoReadings says that there is nothing to conclude from.
	ErrNoReadings Fault = "no covered readings"
	// ErrPrior says that the prior is no set of probabilities.
	ErrPrior Fault = "prior needs numbers of 0 or more, with a finite sum above 0"
	// ErrSections says that the readings are not of one panel.
	ErrSections Fault = "readings name different numbers of sections"
	// ErrImpossible says that no wiring with prior explains the readings at all.
	ErrImpossible Fault = "no wiring explains the readings"
)

// A CoveredReading is power under a cover against power without it, both at the
// same light.
type CoveredReading struct {
	Cover     Cover   // Split is ignored: nobody sees the strings
	Retained  float64 // r, -0.1 to 1.5
	URetained float64 // its standard uncertainty, 0 to 1
	// VoltageRatio is the panel's voltage under the cover against that without,
	// up to 1.5; 0 where it was not read.
	VoltageRatio  float64
	UVoltageRatio float64 // its standard uncertainty; 0 stands for 0.03 (common practice, no source)
}

// Check returns nil or a *RangeError.
func (r CoveredReading) Check() error {
	if err := r.Cover.Check(); err != nil {
		return err
	}
	return firstFault(
		within("Retained", r.Retained, -0.1, highestRetained),
		within("URetained", r.URetained, 0, 1),
		within("VoltageRatio", r.VoltageRatio, 0, highestVoltageRatio),
		within("UVoltageRatio", r.UVoltageRatio, 0, 1),
	)
}

func (r CoveredReading) hasVoltage() bool { return r.VoltageRatio > 0 }

func (r CoveredReading) uVoltage() float64 {
	if r.UVoltageRatio == 0 {
		return defaultUVoltage
	}
	return r.UVoltageRatio
}

// ambiguous tells whether the reading says nothing among series_bypass, parallel
// and two_strings: half the panel covered leaves half the power in each of them.
func (r CoveredReading) ambiguous() bool {
	return !r.hasVoltage() && 2*r.Cover.Covered == r.Cover.Sections
}

// A Branch is one way in which a controller may end up on a covered panel.
type Branch struct {
	Weight      float64 // probability given the wiring
	Mean        float64 // retained power
	Spread      float64 // standard deviation of it between panels and covers
	VoltageMean float64 // voltage ratio; 0 where the branch predicts none
}

// Branches holds the branches of each wiring, in the order of Wirings. A wiring
// without branches is impossible, as two strings of an odd number of sections are.
type Branches [4][]Branch

// Evidence is a reading with the branches that it is judged by.
type Evidence struct {
	Reading  CoveredReading
	Branches Branches
}

// An Inference is what covered readings say of the wiring of a panel.
type Inference struct {
	LogLikelihood Shares  // natural logarithms, summed over the readings
	Posterior     Shares  // sums to 1
	Best, Second  Wiring  // by posterior
	BayesFactor   float64 // likelihood of Best over that of Second; +Inf where Second is impossible
	Conclusion    Wiring  // Best, or Undecided
}

// Infer returns what readings of one panel say of its wiring, with the branches
// of CommonBranches. The order of the readings does not matter. It is undecided
// below a Bayes factor of 20, and among series_bypass, parallel and two_strings
// it takes no account, for the decision, of readings without a voltage that
// cover half the panel.
//
// Errors: a *RangeError for a reading or a Fault: ErrNoReadings, ErrSections,
// ErrPrior, ErrImpossible.
//
// Source: Bayes' theorem; R. Kass, A. Raftery, Bayes factors, Journal of the
// American Statistical Association 90 (1995) 773-795, table of section 3.2, for
// 20 as the bound of strong evidence.
func (l *Library) Infer(prior Shares, readings []CoveredReading) (Inference, error) {
	evidence, err := l.withCommonBranches(readings)
	if err != nil {
		return Inference{}, err
	}
	return InferFrom(prior, evidence)
}

func (l *Library) withCommonBranches(readings []CoveredReading) ([]Evidence, error) {
	var evidence []Evidence
	for _, r := range readings {
		if err := r.Cover.Check(); err != nil {
			return nil, err
		}
		evidence = append(evidence, Evidence{r, l.branches(r.Cover)})
	}
	return evidence, nil
}

// InferFrom is Infer with branches of the caller's choice.
func InferFrom(prior Shares, evidence []Evidence) (Inference, error) {
	if len(evidence) == 0 {
		return Inference{}, ErrNoReadings
	}
	if !isPrior(prior) {
		return Inference{}, ErrPrior
	}
	for _, e := range evidence {
		if err := e.check(evidence[0].Reading.Cover.Sections); err != nil {
			return Inference{}, err
		}
	}
	all := logLikelihood(evidence)
	posterior, ok := posteriorOf(prior, all)
	if !ok {
		return Inference{}, ErrImpossible
	}
	return conclude(posterior, all, evidence), nil
}

func (e Evidence) check(sections int) error {
	if err := e.Reading.Check(); err != nil {
		return err
	}
	if e.Reading.Cover.Sections != sections {
		return ErrSections
	}
	for _, branches := range e.Branches {
		for _, b := range branches {
			if err := b.check(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b Branch) check() error {
	return firstFault(
		within("Weight", b.Weight, 0, 1),
		within("Mean", b.Mean, 0, highestRetained),
		within("Spread", b.Spread, 1e-4, 1),
		within("VoltageMean", b.VoltageMean, 0, highestVoltageRatio),
	)
}

func isPrior(prior Shares) bool {
	var sum float64
	for _, p := range prior {
		if !(p >= 0) {
			return false
		}
		sum += p
	}
	return sum > 0 && !math.IsInf(sum, 1)
}

// logLikelihood sums over the evidence from the smallest up, so that the order
// of the readings does not move the last digit.
func logLikelihood(evidence []Evidence) Shares {
	var total Shares
	for w := range total {
		var logs []float64
		for _, e := range evidence {
			logs = append(logs, e.Reading.logLikelihood(e.Branches[w]))
		}
		slices.Sort(logs)
		for _, l := range logs {
			total[w] += l
		}
	}
	return total
}

// logLikelihood returns ln of
//
//	L = sum over branches of weight*N(r; mean, sqrt(spread^2 + u_r^2))*V
//
// where V is N(v; voltage, sqrt(u_v^2 + 0.03^2)), or 1/1.2 where the branch
// predicts no voltage, or 1 where none was read.
func (r CoveredReading) logLikelihood(branches []Branch) float64 {
	total := math.Inf(-1)
	for _, b := range branches {
		term := math.Log(b.Weight) + logNormal(r.Retained-b.Mean, math.Hypot(b.Spread, r.URetained))
		switch {
		case !r.hasVoltage():
		case b.VoltageMean == 0:
			term -= math.Log(voltageRatioSpan)
		default:
			term += logNormal(r.VoltageRatio-b.VoltageMean, math.Hypot(r.uVoltage(), voltageModelSpread))
		}
		total = logAdd(total, term)
	}
	return total
}

func logNormal(off, sd float64) float64 {
	z := off / sd
	return -z*z/2 - math.Log(sd) - logTwoPi/2
}

// logAdd returns ln(exp(a) + exp(b)).
func logAdd(a, b float64) float64 {
	if math.IsInf(a, -1) {
		return b
	}
	return math.Max(a, b) + math.Log1p(math.Exp(-math.Abs(a-b)))
}

// posteriorOf normalises prior times likelihood; false where all are zero.
func posteriorOf(prior, logs Shares) (Shares, bool) {
	top := math.Inf(-1)
	for w := range logs {
		if prior[w] > 0 {
			top = math.Max(top, logs[w])
		}
	}
	if math.IsInf(top, -1) {
		return Shares{}, false
	}
	var posterior Shares
	var sum float64
	for w := range logs {
		if prior[w] > 0 {
			posterior[w] = prior[w] * math.Exp(logs[w]-top)
		}
		sum += posterior[w]
	}
	for w := range posterior {
		posterior[w] /= sum
	}
	return posterior, true
}

// conclude compares the two best and decides.
func conclude(posterior, logs Shares, evidence []Evidence) Inference {
	best, second := leaders(posterior, logs)
	wirings := Wirings()
	in := Inference{
		LogLikelihood: logs, Posterior: posterior, Best: wirings[best], Second: wirings[second],
		BayesFactor: math.Exp(logs[best] - logs[second]), Conclusion: Undecided,
	}
	if in.BayesFactor >= decisiveFactor && deciding(best, second, evidence) >= math.Log(decisiveFactor) {
		in.Conclusion = in.Best
	}
	return in
}

// leaders returns the two wirings with the most posterior; between equals, as two
// that underflow to 0, the likelihood decides.
func leaders(posterior, logs Shares) (best, second int) {
	order := []int{0, 1, 2, 3}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case posterior[a] != posterior[b]:
			return map[bool]int{true: -1, false: 1}[posterior[a] > posterior[b]]
		case logs[a] != logs[b]:
			return map[bool]int{true: -1, false: 1}[logs[a] > logs[b]]
		}
		return 0
	})
	return order[0], order[1]
}

// deciding returns the log Bayes factor over the readings that may decide between
// two wirings.
func deciding(best, second int, evidence []Evidence) float64 {
	if involvesSeries(best, second) {
		return math.Inf(1)
	}
	var factor float64
	for _, e := range evidence {
		if !e.Reading.ambiguous() {
			factor += e.Reading.logLikelihood(e.Branches[best]) - e.Reading.logLikelihood(e.Branches[second])
		}
	}
	return factor
}
