package compare

import "math"

// observedPanels and observedReadings bound where the observed information is
// computed; above, the average information stands for it (0.1 % in the degrees of
// freedom of the unbalanced ergoStool data).
const (
	observedPanels   = 300
	observedReadings = 50000
)

// differenceStep is the step of the differences, as a share of a variance or of its
// standard error, whichever is more. What they leave out grows with the square of the
// step, 3e-10 to 1e-9 of the information here; what rounding adds shrinks with it, and
// on the scale of the standard error stays as small for a variance near 0.
const differenceStep = 1e-5

// observe replaces the average by the observed information of the free variances:
// central differences of the exact gradient. Where that is not positive definite
// the average information stays.
func (e *engine) observe(pr *progress) {
	if len(pr.free) == 0 || !e.nrm.dense() || e.d.panels > observedPanels || e.d.n > observedReadings {
		return
	}
	probe := *e
	probe.st, probe.nrm = newState(e.d, e.opt.SessionFixed, e.opt.workers()), newNormal(e.d, e.anchor, true, e.opt.workers())
	probe.ls = newLevelStats(e.d, e.active)
	observeBy(pr, probe.gradientAt)
}

// observeBy sets the information from a gradient.
func observeBy(pr *progress, gradient func(vec) (vec, error)) {
	info := make([][]float64, len(pr.free))
	for i, l := range pr.free {
		h := differenceStep * max(pr.theta[l], 1/math.Sqrt(pr.ai[i][i]))
		h = min(h, pr.theta[l]/2)
		up, down := pr.theta, pr.theta
		up[l] += h
		down[l] -= h
		above, errUp := gradient(up)
		below, errDown := gradient(down)
		if errUp != nil || errDown != nil {
			return
		}
		info[i] = make([]float64, len(pr.free))
		for j, m := range pr.free {
			info[i][j] = (below[m] - above[m]) / (2 * h)
		}
	}
	for i := range info {
		for j := range i {
			v := (info[i][j] + info[j][i]) / 2
			info[i][j], info[j][i] = v, v
		}
	}
	pr.addPriors(info)
	if _, _, ok := factorScaled(info); ok {
		pr.ai = info
	}
}

func (e *engine) gradientAt(theta vec) (vec, error) {
	if err := e.evaluate(theta); err != nil {
		return vec{}, err
	}
	if err := e.measure(); err != nil {
		return vec{}, err
	}
	return e.gradient(), nil
}
