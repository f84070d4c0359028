package compare

import "runtime"

// A Term is a random effect of the model and names its variance.
type Term int

// The terms, in the order of Theta.
const (
	Tester       Term = iota // T_t, a tester's own bias
	Session                  // S_j, what an hour does to all panels
	TesterPanel              // I_ti, a tester's opinion of a panel
	SessionPanel             // C_ji, a panel in a session (a cell)
	Residual                 // e_k, what repeats scatter beyond their known variance
	Specimen                 // U_s, units of one panel that one tester has
	Drift                    // D_j, change of a session per 30 minutes
	terms
)

var termNames = [terms]string{"tester", "session", "tester:panel", "session:panel", "residual", "specimen", "drift"}

// String returns the name of the grouping, as "tester:panel".
func (t Term) String() string {
	if t < 0 || t >= terms {
		return "unknown"
	}
	return termNames[t]
}

// TermNamed returns the term of a grouping's name.
func TermNamed(name string) (Term, bool) {
	for t, s := range termNames {
		if s == name {
			return Term(t), true
		}
	}
	return 0, false
}

// Theta holds the variance of each term; 0 for a term that is not in the model.
type Theta [terms]float64

// A Grouping is a random term beyond those named above: readings with the same
// code share one effect. Any model with groupings is fitted by the crossed path.
type Grouping struct {
	Name  string
	Codes []int32
}

const (
	maxGroupings = 8
	slots        = terms + maxGroupings
)

// vec holds one number for each term, then for each grouping.
type vec [slots]float64

func (v vec) theta() Theta { return Theta(v[:terms]) }

func (t Theta) vec() vec {
	var v vec
	copy(v[:], t[:])
	return v
}

// DefaultCutoffs are the corners of the weights, chosen by the simulation in simulation_test.go.
func DefaultCutoffs() Cutoffs { return Cutoffs{A: 3, B: 4.5, C: 8} }

// FewTesterFloor returns the lower limits of the variances of a fit with two or
// three testers: sd 1.5 % (tester), 1.2 % (tester x panel), 2 % (session). Common
// practice, no source.
func FewTesterFloor() Theta {
	return Theta{Tester: 0.015 * 0.015, TesterPanel: 0.012 * 0.012, Session: 0.02 * 0.02}
}

// ServiceFloor returns the lower limits that keep one tester's information
// bounded: sd 0.5 % (tester x panel), 0.3 % (cell, residual). Common practice, no source.
func ServiceFloor() Theta {
	return Theta{TesterPanel: 0.005 * 0.005, SessionPanel: 0.003 * 0.003, Residual: 0.003 * 0.003}
}

// Options say which model is fitted and how. The zero value with Random set is a
// plain restricted maximum likelihood fit.
type Options struct {
	Random    []Term     // random terms; Residual: extra (with Variance) or whole (without)
	Groupings []Grouping // further random terms, at most 8

	SessionFixed bool // sessions as fixed effects: the classical network meta-analysis
	ML           bool // maximum instead of restricted maximum likelihood

	Start *Theta // where to begin, as the last fit's Theta; nil: from the data
	After *Fit   // an earlier fit, or its Memory, whose variances and weights to begin with; effects are the same where their codes are
	Hold  bool   // keep Start, estimate no variance
	Floor Theta  // lower limits of the variances
	Fixed []Term // terms whose variance stays at Start

	Priors Priors // of the standard deviations, so that few testers will do; zero: none. See the package comment

	Robust      *Cutoffs // bounded influence; nil: every weight is 1
	Keep        []Effect // effects whose weight stays 1, by verdict
	CapSessions int      // variances from at most so many sessions a tester; 0: from all
	MaxShare    float64  // bound of a tester's share in a panel's information, as 0.5; 0: none
	Unchecked   []bool   // by tester code: on a panel that others have read too, all of these together weigh at most as one of the others does in the mean; nil: nobody

	Seed          uint64 // of probes and draws
	DenseLimit    int    // panels up to which C is held; 0: 2000
	Probes        int    // for traces above DenseLimit; 0: 16
	Draws         int    // for standard errors above DenseLimit; 0: 256
	MaxIterations int    // 0: 50
	Workers       int    // goroutines; 0: GOMAXPROCS. Results do not depend on it
}

// Few returns the options for a fit of so many testers: with two or three the
// limits of FewTesterFloor are added.
func (o Options) Few(testers int) Options {
	if testers >= 4 {
		return o
	}
	for l, v := range FewTesterFloor() {
		o.Floor[l] = max(o.Floor[l], v)
	}
	return o
}

func (o Options) has(t Term) bool {
	for _, r := range o.Random {
		if r == t {
			return true
		}
	}
	return false
}

func (o Options) fixed(t Term) bool {
	for _, r := range o.Fixed {
		if r == t {
			return true
		}
	}
	return false
}

func (o Options) denseLimit() int    { return orDefault(o.DenseLimit, 2000) }
func (o Options) probes() int        { return orDefault(o.Probes, 16) }
func (o Options) draws() int         { return orDefault(o.Draws, 256) }
func (o Options) maxIterations() int { return orDefault(o.MaxIterations, 50) }
func (o Options) workers() int       { return orDefault(o.Workers, runtime.GOMAXPROCS(0)) }

func orDefault(x, otherwise int) int {
	if x <= 0 {
		return otherwise
	}
	return x
}
