package diode

import "math"

// ErrNothingLeading says that fewer than two wirings are still possible.
const ErrNothingLeading Fault = "fewer than two wirings are possible, no reading can decide"

// A Suggestion is the reading that would decide best between two wirings.
type Suggestion struct {
	Cover        Cover  // how many sections to cover, and about how much light to leave
	Best, Second Wiring // the two leading wirings that it is meant to separate
	// DecisionChance is the probability, by what is believed now, that the Bayes
	// factor of the two reaches 20 one way or the other with this reading added.
	DecisionChance float64
	// ExpectedLog10 is the expected power of ten by which this reading alone
	// would favour whichever of the two is true.
	ExpectedLog10 float64
}

// NextReading returns the covered reading, with its voltage, that would best
// decide between the two wirings that lead after an inference, for a panel of 2 to 24
// sections. Candidates are 1 to Sections-1 covered sections with 0.05 (opaque,
// held close), 0.3 and 0.5 (cloth) of the light left, an uncertainty of 0.02 of
// the retained power and 0.03 of the voltage ratio. The highest chance of a
// decision wins, to 0.01; then the highest expected Bayes factor.
//
// With branches f and g of the two wirings, p and q their posterior shares and
// the factor so far B, the integrals over retained power and voltage ratio are
//
//	chance = integral of (p*f + q*g) where B*f/g >= 20 or <= 1/20
//	log10  = integral of (p*f - q*g)*log10(f/g)
//
// Errors: a *RangeError for the sections, and ErrNothingLeading.
//
// Source: the expected weight of evidence, I. Good, Probability and the Weighing
// of Evidence, London 1950, chapter 6 (from memory); the candidates are ours.
func (l *Library) NextReading(in Inference, sections int) (Suggestion, error) {
	best, second := leaders(in.Posterior, in.LogLikelihood)
	if in.Posterior[second] == 0 {
		return Suggestion{}, ErrNothingLeading
	}
	if err := (Cover{Sections: sections, Covered: 1}).Check(); err != nil {
		return Suggestion{}, err
	}
	var found Suggestion
	for covered := 1; covered < sections; covered++ {
		for _, transmission := range [...]float64{0.05, 0.3, 0.5} {
			s := l.suggestion(in, best, second, Cover{Sections: sections, Covered: covered, Transmission: transmission})
			if s.better(found) {
				found = s
			}
		}
	}
	return found, nil
}

func (s Suggestion) better(than Suggestion) bool {
	chance, other := math.Round(100*s.DecisionChance), math.Round(100*than.DecisionChance)
	if than.Cover.Sections == 0 || chance != other {
		return than.Cover.Sections == 0 || chance > other
	}
	return s.ExpectedLog10 > than.ExpectedLog10
}

// suggestion works out what one candidate would do.
func (l *Library) suggestion(in Inference, best, second int, cover Cover) Suggestion {
	s := Suggestion{Cover: cover, Best: in.Best, Second: in.Second}
	branches := l.branches(cover)
	f, g := newDensity(branches[best]), newDensity(branches[second])
	sum := in.Posterior[best] + in.Posterior[second]
	p, q := in.Posterior[best]/sum, in.Posterior[second]/sum
	sofar := in.LogLikelihood[best] - in.LogLikelihood[second]
	for r := range f.retained {
		for v := range f.voltage {
			df, dg := f.at(r, v), g.at(r, v)
			weight := (p*df + q*dg) * retainedStep * voltageStep
			if weight < 1e-12 {
				continue
			}
			log := math.Log(math.Max(df, 1e-300) / math.Max(dg, 1e-300))
			s.ExpectedLog10 += (p*df - q*dg) * log / math.Ln10 * retainedStep * voltageStep
			if math.Abs(sofar+log) >= math.Log(decisiveFactor) {
				s.DecisionChance += weight
			}
		}
	}
	s.DecisionChance = math.Min(s.DecisionChance, 1)
	return s
}

const (
	retainedStep   = 0.0125
	voltageStep    = 0.02
	retainedPoints = 112 // from -0.2 to 1.2
	voltagePoints  = 70  // from 0 to 1.4
	nextURetained  = 0.02
)

// A density is the joint density of retained power and voltage ratio under one
// wiring, as products of one-dimensional grids, one pair a branch.
type density struct {
	retained [retainedPoints][]float64
	voltage  [voltagePoints][]float64
}

func newDensity(branches []Branch) *density {
	d := &density{}
	for _, b := range branches {
		for k := range d.retained {
			x := -0.2 + (float64(k)+0.5)*retainedStep
			d.retained[k] = append(d.retained[k], b.Weight*math.Exp(logNormal(x-b.Mean, math.Hypot(b.Spread, nextURetained))))
		}
		for k := range d.voltage {
			x := (float64(k) + 0.5) * voltageStep
			d.voltage[k] = append(d.voltage[k], b.voltageDensity(x))
		}
	}
	return d
}

func (b Branch) voltageDensity(ratio float64) float64 {
	if b.VoltageMean > 0 {
		return math.Exp(logNormal(ratio-b.VoltageMean, math.Hypot(defaultUVoltage, voltageModelSpread)))
	}
	if ratio > voltageRatioSpan {
		return 0
	}
	return 1 / voltageRatioSpan
}

func (d *density) at(r, v int) float64 {
	var sum float64
	for k, weighted := range d.retained[r] {
		sum += weighted * d.voltage[v][k]
	}
	return sum
}
