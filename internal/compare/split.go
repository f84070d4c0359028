package compare

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Split compares what sessions with both panels say of a contrast with what the
// rest of the network says.
type Split struct {
	I, J              int     // panels, I before J
	Direct, DirectSE  float64 // mu_I - mu_J by the sessions that hold both
	Others, OthersSE  float64 // the same by all else: the indirect estimate
	Z, P              float64 // of their difference; P two-sided and unadjusted
	Sessions, Testers int     // that hold both
}

// Conditions of a split.
const (
	splitSessions = 2
	splitTesters  = 2

	// leastIndirect is the least share of a pair's information that must come from the
	// rest of the network (common practice, no source): the split is a difference of two
	// estimates, and where nearly all is direct it turns the error of a variance into a
	// contradiction. In clean simulated data six in ten trials then had a false alarm.
	leastIndirect = 0.3

	// pointedP is the p-value of the normal distribution above which Student's, whose
	// degrees of freedom cost more than the rest, is not asked for.
	pointedP = 0.01
)

// NodeSplits splits every pair of panels that share two sessions of two testers and of
// which at least 0.3 of the information comes from elsewhere, in the order of panels. The
// direct estimate d_D is the mean of the differences within sessions, each weighted by its
// information. With c_k the weight of reading k in it, its variance is
//
//	v_D = sum c_k^2 (u_k^2 + var(e)) + var(C) sum_cells (sum c_k)^2 + var(I) sum_opinions (sum c_k)^2
//	      + var(U) sum_units (sum c_k)^2 + sum_rigs var(R) (sum c_k)^2
//
// so that readings of one unit, opinion or rig count once. With d_N, v_N of the network
//
//	v_I = 1/(1/v_N - 1/v_D)    d_I = v_I (d_N/v_N - d_D/v_D)    z = (d_D - d_I)/sqrt(v_D + v_I)
//
// and P is normal or, where that is below 0.01, of Student's t with the contrast's degrees
// of freedom. None above DenseLimit and none of a crossed fit.
//
// Error: approximate where sessions hold more panels than the two. Robust weights count in
// the network's estimate only, drift in neither.
//
// Source: S. Dias et al., Stat. Med. 29 (2010) 932-944, by back-calculation.
func (f *Fit) NodeSplits() []Split {
	if f.e == nil || !f.Dense() {
		return nil
	}
	var out []Split
	for _, p := range f.e.sharedPairs() {
		s := f.e.direct(p)
		v := f.Variance(s.I) + f.Variance(s.J) - 2*f.Cov(s.I, s.J)
		if s.Sessions < splitSessions || s.Testers < splitTesters || !(v > 0) || v/(s.DirectSE*s.DirectSE) > 1-leastIndirect {
			continue
		}
		s.against(f.Mu[s.I]-f.Mu[s.J], v)
		s.P = f.splitP(s)
		out = append(out, s)
	}
	return out
}

// A sharedPair is a pair of panels with the sessions that hold both.
type sharedPair struct {
	i, j     int32
	sessions []sharedSession
}

// A sharedSession has two panels' parts in one session.
type sharedSession struct {
	session, block int
	i, j           sessionMean
}

// A sessionMean is a panel's mean in one session, weighted by known and residual
// variances, over one cell a unit and rig.
type sessionMean struct {
	panel          int32
	cells          []int
	weight         float64 // sum of 1/(u^2 + var(e))
	mean, variance float64 // variance: of readings and cells
}

func (e *engine) sharedPairs() []sharedPair {
	pairs := map[[2]int32]*sharedPair{}
	for t := range e.d.blocks() {
		for j := int(e.d.testStart[t]); j < int(e.d.testStart[t+1]); j++ {
			means := e.sessionMeans(j)
			for a, x := range means {
				for _, y := range means[a+1:] {
					key := [2]int32{x.panel, y.panel}
					if pairs[key] == nil {
						pairs[key] = &sharedPair{i: key[0], j: key[1]}
					}
					pairs[key].sessions = append(pairs[key].sessions, sharedSession{j, t, x, y})
				}
			}
		}
	}
	out := make([]sharedPair, 0, len(pairs))
	for _, p := range slices.SortedFunc(maps.Values(pairs), func(a, b *sharedPair) int {
		return cmp.Or(cmp.Compare(a.i, b.i), cmp.Compare(a.j, b.j))
	}) {
		out = append(out, *p)
	}
	return out
}

// sessionMeans returns the means of a session, by panel: its cells come in that order.
func (e *engine) sessionMeans(j int) []sessionMean {
	d, theta := e.d, e.st.theta
	var out []sessionMean
	for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
		panel := d.opPanel[d.cellOp[c]]
		if len(out) == 0 || out[len(out)-1].panel != panel {
			out = append(out, sessionMean{panel: panel})
		}
		m := &out[len(out)-1]
		w, mean := e.cellMean(c)
		m.cells = append(m.cells, c)
		m.mean = (m.weight*m.mean + w*mean) / (m.weight + w)
		m.weight += w
	}
	for k := range out {
		m := &out[k]
		m.variance = 1 / m.weight
		for _, c := range m.cells {
			w, _ := e.cellMean(c)
			m.variance += theta[SessionPanel] * (w / m.weight) * (w / m.weight)
		}
	}
	return out
}

// cellMean returns the mean of a cell's readings and the sum of their weights
// 1/(u^2 + var(e)), robust additions left out.
func (e *engine) cellMean(c int) (weight, mean float64) {
	d := e.d
	for k := d.cellStart[c]; k < d.cellStart[c+1]; k++ {
		w := 1 / max(leastVariance, d.u2[k]+e.st.theta[Residual])
		weight += w
		mean += w * d.y[k]
	}
	return weight, mean / weight
}

const leastVariance = 1e-12

// direct returns the direct side of a split.
func (e *engine) direct(p sharedPair) Split {
	s := Split{I: int(p.i), J: int(p.j), Sessions: len(p.sessions)}
	total := 0.0
	for _, x := range p.sessions {
		total += 1 / (x.i.variance + x.j.variance)
	}
	shared := sums{}
	testers, v := map[int]bool{}, 0.0
	for _, x := range p.sessions {
		a := 1 / (x.i.variance + x.j.variance) / total
		s.Direct += a * (x.i.mean - x.j.mean)
		v += a * a * (x.i.variance + x.j.variance)
		testers[x.block] = true
		shared.add(e, x.block, a, x.i)
		shared.add(e, x.block, -a, x.j)
	}
	s.Testers, s.DirectSE = len(testers), math.Sqrt(v+shared.variance(e))
	return s
}

// sums holds the weight that the readings of each effect have together, in the order in
// which the effects were met.
type sums struct{ group, spec, rig weightSum }

// A weightSum adds weights by effect.
type weightSum struct {
	order []int32
	of    map[int32]float64
}

func (w *weightSum) add(effect int32, a float64) {
	if w.of == nil {
		w.of = map[int32]float64{}
	}
	if _, ok := w.of[effect]; !ok {
		w.order = append(w.order, effect)
	}
	w.of[effect] += a
}

// variance returns the sum of variance times squared weight.
func (w *weightSum) variance(of func(effect int32) float64) float64 {
	v := 0.0
	for _, i := range w.order {
		v += of(i) * w.of[i] * w.of[i]
	}
	return v
}

// add takes in that a panel's mean in a session has weight a.
func (s *sums) add(e *engine, block int, a float64, m sessionMean) {
	for _, c := range m.cells {
		w, _ := e.cellMean(c)
		o, share := e.d.cellOp[c], a*w/m.weight
		s.group.add(e.d.opGroup[o], share)
		s.spec.add(e.d.opSpec[o], share)
		s.rig.add(e.firstOfRig(block, int(o)), share)
	}
}

// variance returns what opinions, units and rigs add to v_D.
func (s *sums) variance(e *engine) float64 {
	theta := e.st.theta
	v := s.group.variance(func(int32) float64 { return theta[TesterPanel] })
	v += s.spec.variance(func(int32) float64 { return theta[Specimen] })
	return v + s.rig.variance(func(first int32) float64 { return e.d.opRigVar[first] })
}

// firstOfRig returns the first opinion of a block with the same rig as opinion o.
func (e *engine) firstOfRig(block, o int) int32 {
	first := int(e.d.opStart[block])
	for e.d.opRig[first] != e.d.opRig[o] {
		first++
	}
	return int32(first)
}

// against sets what is left of the network's estimate without the direct one.
func (s *Split) against(network, v float64) {
	direct := s.DirectSE * s.DirectSE
	others := 1 / (1/v - 1/direct)
	s.Others, s.OthersSE = others*(network/v-s.Direct/direct), math.Sqrt(others)
	s.Z = (s.Direct - s.Others) / math.Sqrt(direct+others)
}

func (f *Fit) splitP(s Split) float64 {
	p := 2 * distuv.UnitNormal.Survival(math.Abs(s.Z))
	if p > pointedP {
		return p
	}
	c, err := f.Contrast(s.I, s.J)
	if err != nil {
		return 1
	}
	return StudentP(s.Z, c.Dof)
}
