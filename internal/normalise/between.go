package normalise

import (
	"math"

	"evensun/internal/fieldtest"
	"evensun/internal/stc"
)

// sweepPair is the other sweep of the same unit between which and a sweep standard test
// conditions lie.
type sweepPair struct {
	partner  *reading
	fraction float64 // of the way from the sweep to its partner
	others   int     // usable sweeps of the same unit beside this one
	refusal  error   // why the last of the others is no partner
}

// betweenShare is the relative standard uncertainty of procedure 3: the spread over 461
// measured sweeps, each predicted from two others, is 0.32 %.
const betweenShare = 0.0032

// pairSweeps finds for every usable sweep of a session the one that encloses standard
// test conditions best with it.
func pairSweeps(readings []reading) {
	for i := range readings {
		r := &readings[i]
		if !r.usableSweep() {
			continue
		}
		for j := range readings {
			if o := &readings[j]; i != j && r.sameSweptUnit(o) {
				r.tryPartner(o)
			}
		}
	}
}

// sameSweptUnit tells whether another reading is a whole curve of the same unit that lay
// alike.
func (r *reading) sameSweptUnit(o *reading) bool {
	return o.usableSweep() && r.rated == o.rated && r.specimen == o.specimen && r.arrangement == o.arrangement
}

func (r *reading) usableSweep() bool {
	f := &r.sweep
	return f.given && r.reason == "" && f.reachesShort && f.atOpen && r.arrangement != fieldtest.Covered
}

// tryPartner keeps the partner whose line with the sweep standard test conditions lie on
// and nearest to its middle.
func (r *reading) tryPartner(o *reading) {
	pair := &r.sweep.pair
	pair.others++
	a, err := stc.Fraction(r.conditions(), o.conditions(), stc.Standard())
	if err == nil {
		err = r.unlike(o)
	}
	switch {
	case err != nil:
		pair.refusal = err
	case pair.partner == nil || math.Abs(a-0.5) < math.Abs(pair.fraction-0.5):
		pair.partner, pair.fraction = o, a
	}
}

// likeness is how far, on the logarithm, the short-circuit currents of two sweeps of one
// unit may be from following the light (common practice, no source: meters of light agree
// within some percent, a shaded sweep or one in another unit does not).
const likeness = 0.1

// unlike says why two sweeps are not of one panel under two lights: their short-circuit
// currents must follow the light.
func (r *reading) unlike(o *reading) error {
	amps, light := o.sweep.iscA/r.sweep.iscA, o.point.effectiveWM2()/r.point.effectiveWM2()
	if math.Abs(math.Log(amps/light)) < likeness {
		return nil
	}
	return &stc.Refusal{Method: stc.MethodProcedure3, Reason: stc.ReasonInput, Detail: "the short-circuit currents of the two sweeps do not follow the light"}
}

// shareNoise gives the power of a curve between two sweeps its own scatter: that of the
// mixture times sqrt 2, for both sweeps yield the same mixture and count as two readings.
func (r *reading) shareNoise() {
	a := r.sweep.pair.fraction
	both := math.Sqrt(2 * (a*a + (1-a)*(1-a)))
	r.power.Step, r.power.Reading = both*r.power.Step, both*r.power.Reading
}

func (r *reading) conditions() stc.Conditions {
	return stc.Conditions{PoaWM2: r.point.effectiveWM2(), CellC: r.point.cellC()}
}

// curve is the sweep as it was read, without points that do not belong to it, with
// what the panel saw.
func (r *reading) curve() stc.Sweep {
	return stc.Sweep{VoltageV: r.sweep.kept.VoltageV, CurrentA: r.sweep.kept.CurrentA, At: r.conditions()}
}

// betweenSweeps is the curve of procedure 3 between a sweep and its partner.
func (r *reading) betweenSweeps() (stc.Sweep, error) {
	o := r.sweep.pair.partner
	return stc.Between(r.curve(), o.curve(), r.sweep.iscA, o.sweep.iscA, stc.Standard())
}

// refused says why a method asked for by name cannot be had: for procedure 3 what keeps
// two sweeps from enclosing the target.
func (r *reading) refused(asked stc.Method, err error) error {
	if asked == stc.MethodProcedure3 && r.sweep.pair.refusal != nil {
		return r.sweep.pair.refusal
	}
	return err
}
