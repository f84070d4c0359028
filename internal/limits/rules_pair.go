package limits

import "math"

// CoveredAboveUncovered returns the power in W above which a covered panel beats
// its uncovered reference: hold above P_ref q + 2u, reject above 1.1 P_ref q + 3u,
// with q the irradiance at the covered over that at the reference reading and
// u = sqrt(u_P^2 + (q u_ref)^2).
func CoveredAboveUncovered(uPowerW, referenceW, uReferenceW, irradianceRatio float64) Bounds {
	expected := referenceW * irradianceRatio
	u := math.Hypot(uPowerW, uReferenceW*irradianceRatio)
	return Bounds{math.NaN(), expected + 2*u, 1.1*expected + 3*u}
}

// RetentionAboveBound returns the share of power that no wiring keeps more of,
// 1 - k (1 - s)/n, and the limit 0.03 + 2u above it: k of n sections covered by
// something of transmission s (missing: 0).
func RetentionAboveBound(covered, total, transmission, uRetention float64) (bound float64, b Bounds) {
	bound = 1 - covered*(1-or(transmission, 0))/total
	return bound, Bounds{math.NaN(), bound + 0.03 + 2*uRetention, math.NaN()}
}

// A Drift says how much the sun changed between two readings to be compared.
type Drift struct {
	LogRatio       float64 // abs(ln(G2/G1))
	AddedURelative float64 // to add in quadrature to the ratio
	RatioGiven     bool    // false: the two must not be divided
	Verdict        Severity
	Limit          float64 // of LogRatio, the one that fired
}

// SunDrift judges two readings, first and second in W/m2, minutes apart. With a
// meter at both (measured) a note above 0.05 and no ratio above 0.20. Without, a
// note above 0.01 with 0.3 x of uncertainty, and no ratio above 0.10, more than 30
// minutes apart, or more than 2 when the sky is not clear.
func SunDrift(firstWM2, secondWM2 float64, measured, skyClear bool, minutes float64) Drift {
	d := Drift{LogRatio: math.Abs(math.Log(secondWM2 / firstWM2)), RatioGiven: true}
	note, most := 0.05, 0.20
	if !measured {
		note, most = 0.01, 0.10
		d.AddedURelative = 0.3 * d.LogRatio
		d.RatioGiven = !(minutes > 30) && (skyClear || !(minutes > 2))
	}
	switch {
	case d.LogRatio > most:
		d.RatioGiven, d.Verdict, d.Limit = false, Note, most
	case d.LogRatio > note:
		d.Verdict, d.Limit = Note, note
	case !d.RatioGiven:
		d.Verdict = Note
	}
	return d
}

// FlatRatioConflict compares a measured flat-to-tilted ratio with the expected
// one: z = abs(ln(measured/expected))/sqrt(u_m^2 + u_e^2), relative uncertainties;
// note above 2, hold above 3.
func FlatRatioConflict(measured, expected, uRelMeasured, uRelExpected float64) (z float64, s Severity) {
	z = math.Abs(math.Log(measured/expected)) / math.Hypot(uRelMeasured, uRelExpected)
	s, _ = flatLimits().Above(z)
	return z, s
}

func flatLimits() Bounds { return Bounds{2, 3, math.NaN()} }

// SweepNotMonotonic returns the largest rise of current in A from one point of a
// sweep to the next (voltage rising) and the limit 2 sqrt2 u + step that noise and
// display explain. The rise is -Inf for fewer than two points.
func SweepNotMonotonic(currentA []float64, uReadingA, stepA float64) (riseA float64, b Bounds) {
	riseA = math.Inf(-1)
	for i := 1; i < len(currentA); i++ {
		riseA = math.Max(riseA, currentA[i]-currentA[i-1])
	}
	return riseA, Bounds{math.NaN(), 2*math.Sqrt2*or(uReadingA, 0) + or(stepA, 0), math.NaN()}
}
