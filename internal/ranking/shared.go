package ranking

import "math"

// A sharedPart gathers what of a panel's readings does not average out over sessions.
type sharedPart struct {
	weight           float64
	model            float64 // variance of the parts that have no sign
	metered, assumed float64 // common parts, of light meters and of assumed skies
	gamma, lowLight  float64 // parts of the coefficient and the curve, with the sign of the conditions
	heatK, lnLight   float64 // conditions of the readings whose slopes are told
}

// shared averages the parts that do not average out over sessions, weighted by the
// information of each reading. An error of a panel's temperature coefficient or low-light
// curve moves a reading by how far that is from standard conditions, so that it moves the
// panel's mean by how far its readings are in the mean: hot and cool ones cancel. What all
// light meters share is another error than what all assumed skies share, so that a panel
// read by both has less of either. Where
// slopes are given, what the readings left uncertain of them takes the place of the
// budget's parts.
func (f *Fitted) shared(slopes []Slope) {
	parts := make([]sharedPart, len(f.Panels))
	for k := range f.Rows {
		r := &f.Rows[k]
		if r.Observation.Result.Retention == nil { // of a ratio of one panel with itself shared parts cancel
			parts[r.Panel].add(r, slopes != nil)
		}
	}
	f.ModelVar, f.CommonVar = make([]float64, len(parts)), make([]float64, len(parts))
	for p := range parts {
		if a := parts[p].mean(); a.weight > 0 {
			f.ModelVar[p], f.CommonVar[p] = a.model+a.gamma*a.gamma+a.lowLight*a.lowLight, a.metered*a.metered+a.assumed*a.assumed
			if slopes != nil {
				f.ModelVar[p] += slopes[p].variance(a.heatK, a.lnLight)
			}
		}
	}
}

func (a *sharedPart) add(r *Row, sloped bool) {
	res := r.Observation.Result
	w := 1 / (r.U*r.U + 1e-6)
	a.weight += w
	a.model += w * max(0, res.Parts.Model*res.Parts.Model-res.GammaRelative*res.GammaRelative-res.LowLightRelative*res.LowLightRelative)
	if r.Observation.metered() {
		a.metered += w * res.Parts.Common
	} else {
		a.assumed += w * res.Parts.Common
	}
	heatK, lnLight, known := r.conditions()
	if sloped && known {
		a.heatK, a.lnLight = a.heatK+w*heatK, a.lnLight+w*lnLight
		return
	}
	if !known { // all on one side, to be safe
		heatK, lnLight = 1, -1
	}
	a.gamma += w * math.Copysign(res.GammaRelative, heatK)
	a.lowLight += w * math.Copysign(res.LowLightRelative, lnLight)
}

// mean divides the sums by the weight.
func (a sharedPart) mean() sharedPart {
	if w := a.weight; w > 0 {
		a.model, a.metered, a.assumed, a.gamma, a.lowLight = a.model/w, a.metered/w, a.assumed/w, a.gamma/w, a.lowLight/w
		a.heatK, a.lnLight = a.heatK/w, a.lnLight/w
	}
	return a
}

// variance is what the slopes leave uncertain of ln P at some conditions.
func (s *Slope) variance(heatK, lnLight float64) float64 {
	return max(0, s.PerKU*s.PerKU*heatK*heatK+s.LightU*s.LightU*lnLight*lnLight+2*s.cov*heatK*lnLight)
}
