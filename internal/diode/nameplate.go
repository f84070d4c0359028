package diode

import "math"

// A Nameplate is what a data sheet says of a panel at 1000 W/m2 and 25 C.
type Nameplate struct {
	ShortCircuitA float64 // Isc, above Imp
	OpenCircuitV  float64 // Voc, above Vmp
	MaximumA      float64 // Imp
	MaximumV      float64 // Vmp
	AlphaAPerK    float64 // change of Isc with temperature, A/K (not %)
	BetaVPerK     float64 // change of Voc with temperature, V/K, below 0
	CellsInSeries int     // Nc, junctions between the terminals
}

// A FallbackReason says why a nameplate did not determine all five parameters.
type FallbackReason string

// The reasons for which Extract falls back.
const (
	// NoFallback: all five conditions hold.
	NoFallback FallbackReason = ""
	// FillTooHigh: no positive series resistance meets the maximum power point
	// at any ideality from 0.7 to 2, the point is too near the corner.
	FillTooHigh FallbackReason = "fill_too_high"
	// ShuntNegative: the maximum power point lies so low that only a shunt that
	// delivers current would meet it, or the conditions contradict each other.
	ShuntNegative FallbackReason = "shunt_negative"
	// BetaOutOfReach: the other four conditions hold over a range of idealities,
	// none of which gives the stated temperature coefficient of voltage.
	BetaOutOfReach FallbackReason = "beta_out_of_reach"
	// SaturationVanishes: so few cells are claimed for Voc that I0 would be zero
	// to any accuracy.
	SaturationVanishes FallbackReason = "saturation_vanishes"
)

// An Extraction is the outcome of Extract.
type Extraction struct {
	Reference Reference
	// Fallback is empty where the five conditions were met. Otherwise the set has
	// ideality 1.05 and no shunt, and meets Isc, Voc and, unless Approximate is
	// set, the maximum power point; the stated beta is then not used.
	Fallback FallbackReason
	// Approximate: even with Rs = 0 the curve passes below the stated maximum
	// power point, or even with Isc*Rs = 0.9*Voc above it, so only Isc and Voc are met.
	Approximate bool
}

// Check returns nil for a nameplate that a panel could carry, else a *RangeError.
func (n Nameplate) Check() error {
	return firstFault(
		above("MaximumA", n.MaximumA, 0),
		above("MaximumV", n.MaximumV, 0),
		above("ShortCircuitA", n.ShortCircuitA, n.MaximumA),
		above("OpenCircuitV", n.OpenCircuitV, n.MaximumV),
		within("AlphaAPerK/ShortCircuitA", n.AlphaAPerK/n.ShortCircuitA, -0.01, 0.01),
		within("BetaVPerK/OpenCircuitV", n.BetaVPerK/n.OpenCircuitV, -0.02, 0),
		within("CellsInSeries", float64(n.CellsInSeries), 1, 10000),
		// every curve of the model bends outwards from the chord between its ends
		above("MaximumA/ShortCircuitA + MaximumV/OpenCircuitV", n.MaximumA/n.ShortCircuitA+n.MaximumV/n.OpenCircuitV, 1),
	)
}

// Extract returns the five De Soto parameters that reproduce a nameplate: Isc,
// Voc, the maximum power point with dP/dV = 0 there, and Voc at 27 C.
//
// For a given a and Rs the three points are linear in IL, I0 and 1/Rsh once the
// exponentials are scaled by exp(-Voc/a). What is left is one zero in Rs between
// 0 and (Voc-Vmp)/Imp for dP/dV, and around it one in a, for ideality 0.7 to 2,
// for the temperature coefficient. Silicon's band gap is used for all cells.
//
// Error: the conditions hold to 1e-9 relative. A contradiction in the sheet gives the
// fallback, said in the result; an impossible sheet gives a *RangeError.
//
// Source: conditions De Soto et al. 2006, eqs. 3 to 9; the reduction to two
// nested zeros is ours. Default ideality of the fallback: common practice, no source.
func Extract(n Nameplate) (Extraction, error) {
	if err := n.Check(); err != nil {
		return Extraction{}, err
	}
	reference, reason := n.fit()
	if reason == NoFallback {
		return Extraction{Reference: reference}, nil
	}
	reference, approximate := n.fallback()
	return Extraction{Reference: reference, Fallback: reason, Approximate: approximate}, nil
}

// fit finds the ideality that meets beta among those that meet the other four.
func (n Nameplate) fit() (Reference, FallbackReason) {
	const steps = 65
	reason := FillTooHigh
	var last Reference
	lastMiss := math.NaN()
	for k := range steps + 1 {
		ideality := lowestIdeality + (highestIdeality-lowestIdeality)*float64(k)/steps
		r, why := n.atIdeality(ideality)
		if why != NoFallback {
			reason, lastMiss = worse(reason, why), math.NaN()
			continue
		}
		reason = BetaOutOfReach
		miss := n.betaMiss(r)
		if lastMiss*miss <= 0 {
			return n.bisectIdeality(last, lastMiss, r)
		}
		last, lastMiss = r, miss
	}
	return Reference{}, reason
}

// worse keeps the reason that got further.
func worse(have, now FallbackReason) FallbackReason {
	if have == FillTooHigh {
		return now
	}
	return have
}

// bisectIdeality narrows the diode voltage between two sets on either side of beta.
func (n Nameplate) bisectIdeality(low Reference, lowMiss float64, high Reference) (Reference, FallbackReason) {
	best := high
	for range idealityBisections {
		middle, why := n.atIdeality((low.DiodeV + high.DiodeV) / 2 / (float64(n.CellsInSeries) * thermalReferenceV))
		if why != NoFallback {
			return Reference{}, why
		}
		best = middle
		if n.betaMiss(middle)*lowMiss > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return best, NoFallback
}

// betaMiss returns how far Voc at 27 C lies from the stated one, in V.
func (n Nameplate) betaMiss(r Reference) float64 {
	warm := r.At(referenceWM2, referenceK-zeroCelsiusK+temperatureProbeK)
	return warm.OpenCircuitV() - (n.OpenCircuitV + temperatureProbeK*n.BetaVPerK)
}

// atIdeality returns the physical set that meets the three points and dP/dV = 0.
func (n Nameplate) atIdeality(ideality float64) (Reference, FallbackReason) {
	diodeV := ideality * float64(n.CellsInSeries) * thermalReferenceV
	const steps = 48
	most := (n.OpenCircuitV - n.MaximumV) / n.MaximumA
	lowOhm, lowMiss := math.NaN(), math.NaN()
	reason := FillTooHigh
	for k := range steps {
		ohm := most * float64(k) / steps
		miss := n.slopeMiss(diodeV, ohm)
		if lowMiss*miss <= 0 {
			r := n.solve(diodeV, n.bisectSeries(diodeV, lowOhm, lowMiss, ohm))
			if r.SaturationA >= 0 && r.SaturationA < 1e-280 {
				return r, SaturationVanishes
			}
			if r.SeriesOhm > 0 && r.SaturationA > 0 && r.PhotocurrentA > 0 && r.ShuntOhm > 0 {
				return r, NoFallback
			}
			reason = ShuntNegative
		}
		lowOhm, lowMiss = ohm, miss
	}
	return Reference{}, reason
}

func (n Nameplate) bisectSeries(diodeV, low, lowMiss, high float64) float64 {
	for range 60 {
		middle := (low + high) / 2
		if n.slopeMiss(diodeV, middle)*lowMiss > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// slopeMiss returns Imp + Vmp*dI/dV, scaled: zero where power is at its maximum.
func (n Nameplate) slopeMiss(diodeV, seriesOhm float64) float64 {
	grown, shuntS := n.linear(diodeV, seriesOhm)
	junctionV := n.MaximumV + n.MaximumA*seriesOhm
	conductance := grown/diodeV*math.Exp((junctionV-n.OpenCircuitV)/diodeV) + shuntS
	return n.MaximumA - conductance*(n.MaximumV-n.MaximumA*seriesOhm)
}

// linear solves the three points for I0*exp(Voc/a) and 1/Rsh at a given a and Rs.
func (n Nameplate) linear(diodeV, seriesOhm float64) (grownA, shuntS float64) {
	shortV := n.OpenCircuitV - n.ShortCircuitA*seriesOhm
	peakV := n.OpenCircuitV - n.MaximumV - n.MaximumA*seriesOhm
	short, peak := -math.Expm1(-shortV/diodeV), -math.Expm1(-peakV/diodeV)
	det := short*peakV - peak*shortV
	grownA = (n.ShortCircuitA*peakV - n.MaximumA*shortV) / det
	shuntS = (n.MaximumA*short - n.ShortCircuitA*peak) / det
	return grownA, shuntS
}

// solve returns the set that meets the three points at a given a and Rs.
func (n Nameplate) solve(diodeV, seriesOhm float64) Reference {
	grown, shuntS := n.linear(diodeV, seriesOhm)
	return n.assemble(diodeV, seriesOhm, grown, shuntS)
}

func (n Nameplate) assemble(diodeV, seriesOhm, grownA, shuntS float64) Reference {
	return Reference{
		PhotocurrentA: grownA*-math.Expm1(-n.OpenCircuitV/diodeV) + n.OpenCircuitV*shuntS,
		SaturationA:   grownA * math.Exp(-n.OpenCircuitV/diodeV),
		SeriesOhm:     seriesOhm,
		ShuntOhm:      1 / shuntS,
		DiodeV:        diodeV,
		AlphaAPerK:    n.AlphaAPerK,
	}.Silicon()
}

// fallback returns the set with ideality 1.05 and no shunt, and whether it misses
// the maximum power point. The current at Vmp falls as Rs rises, so at most one Rs
// meets it; where none does, the nearer end of the range is kept. A cell count far
// from what Voc allows is overruled, else I0 would come near Isc or underflow.
func (n Nameplate) fallback() (Reference, bool) {
	diodeV := fallbackIdeality * float64(n.CellsInSeries) * thermalReferenceV
	diodeV = math.Max(n.OpenCircuitV/600, math.Min(diodeV, n.OpenCircuitV/10))
	set := func(ohm float64) Reference {
		return n.assemble(diodeV, ohm, n.unshuntedGrown(diodeV, ohm), 0)
	}
	low, high := 0.0, math.Min((n.OpenCircuitV-n.MaximumV)/n.MaximumA, 0.9*n.OpenCircuitV/n.ShortCircuitA)
	if n.unshuntedMiss(diodeV, low) < 0 {
		return set(low), true
	}
	if n.unshuntedMiss(diodeV, high) > 0 {
		return set(high), true
	}
	for range 60 {
		middle := (low + high) / 2
		if n.unshuntedMiss(diodeV, middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	return set(low), false
}

func (n Nameplate) unshuntedGrown(diodeV, seriesOhm float64) float64 {
	return n.ShortCircuitA / -math.Expm1((n.ShortCircuitA*seriesOhm-n.OpenCircuitV)/diodeV)
}

func (n Nameplate) unshuntedMiss(diodeV, seriesOhm float64) float64 {
	drop := n.OpenCircuitV - n.MaximumV - n.MaximumA*seriesOhm
	return n.unshuntedGrown(diodeV, seriesOhm)*-math.Expm1(-drop/diodeV) - n.MaximumA
}
