package compare

import "math"

// A Level holds score and information of every effect of one term, in the order
// of testers, then sessions or panels. The codes that identify an effect are in
// the columns that apply; the others are nil.
type Level struct {
	Term        Term
	Tester      []int32
	Session     []int32
	Panel       []int32
	Rows        []int32   // table rows, at the residual level
	Score       []float64 // s = z'Py
	Information []float64 // v = z'Pz
	Added       []float64 // robust addition to the effect's own variance
}

// Len returns the number of effects.
func (l Level) Len() int { return len(l.Score) }

// Delta returns the generalised-least-squares shift of effect i alone, s/v.
func (l Level) Delta(i int) float64 { return l.Score[i] / l.Information[i] }

// SE returns the standard error of Delta without the effect's own robust
// addition, sqrt(1/v - a); NaN where the data say nothing of the effect.
func (l Level) SE(i int) float64 {
	if !(l.Information[i] > 0) {
		return math.NaN()
	}
	return math.Sqrt(1/l.Information[i] - l.Added[i])
}

// T returns the deleted statistic, Delta over SE: the effect's own data play no
// part in judging it.
//
// Source: R. Cook, S. Weisberg, Residuals and Influence in Regression, 1982; J.
// Haslett, D. Dillane, J. R. Stat. Soc. B 66 (2004) 131-143 (from memory).
func (l Level) T(i int) float64 { return l.Delta(i) / l.SE(i) }

// Weight returns the robust weight of effect i: v1/(v1 + a) with v1 the variance
// of Delta without the addition a.
func (l Level) Weight(i int) float64 {
	if l.Added[i] == 0 {
		return 1
	}
	return max(leastWeight, 1-l.Added[i]*max(0, l.Information[i]))
}

// Level returns the statistics of a term's effects at the fit, whether or not the
// term has a variance. Above DenseLimit the informations rest on the probes.
func (f *Fit) Level(term Term) Level {
	e, d := f.e, f.e.d
	if e == nil || term < 0 || term >= terms {
		return Level{Term: term}
	}
	switch term {
	case Residual:
		return e.readingLevel()
	case Drift:
		if d.tau == nil {
			return Level{Term: term}
		}
	}
	l := Level{Term: term, Score: e.ls.s[term], Information: e.ls.v[term], Added: make([]float64, len(e.ls.s[term]))}
	e.label(&l)
	return l
}

func (e *engine) label(l *Level) {
	d := e.d
	switch l.Term {
	case Tester:
		l.Tester = d.testCode
	case Session, Drift:
		l.Session, l.Tester = d.sessCode, d.sessionTesters()
		if l.Term == Session {
			l.Added = e.add.session
		}
	case TesterPanel:
		l.Tester, l.Panel = d.pairs(d.groupStart)
		l.Added = e.add.group
	case Specimen:
		l.Tester, l.Panel = d.pairs(d.specStart)
	case SessionPanel:
		l.Session, l.Panel = d.cellLabels()
		l.Added = e.add.cell
	}
}

func (d *design) sessionTesters() []int32 {
	out := make([]int32, d.sessions())
	for t, code := range d.testCode {
		for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
			out[j] = code
		}
	}
	return out
}

func (d *design) pairs(start []int32) (testers, panels []int32) {
	testers, panels = make([]int32, len(start)-1), make([]int32, len(start)-1)
	t := 0
	for g := range testers {
		for start[g] >= d.opStart[t+1] {
			t++
		}
		testers[g], panels[g] = d.testCode[t], d.opPanel[start[g]]
	}
	return testers, panels
}

func (d *design) cellLabels() (sessions, panels []int32) {
	sessions, panels = make([]int32, d.cells()), make([]int32, d.cells())
	for j, code := range d.sessCode {
		for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
			sessions[c], panels[c] = code, d.opPanel[d.cellOp[c]]
		}
	}
	return sessions, panels
}

// readingLevel computes the reading statistics, which are not kept.
func (e *engine) readingLevel() Level {
	d, st := e.d, e.st
	l := Level{Term: Residual, Rows: d.order, Score: make([]float64, d.n), Information: make([]float64, d.n), Added: e.add.reading}
	for j := range d.sessions() {
		for c := int(d.sessStart[j]); c < int(d.sessStart[j+1]); c++ {
			for k := int(d.cellStart[c]); k < int(d.cellStart[c+1]); k++ {
				l.Score[k], l.Information[k] = st.readingScore(k, c, j, e.ls), st.readingInformation(k, c, j, e.ls)
			}
		}
	}
	return l
}

func (s *state) readingInformation(k, c, j int, ls *levelStats) float64 {
	d, w := s.variance(k, s.theta[Residual]), s.w[c]
	mean := 1 / (w * d)
	v := 1/d - mean/d + mean*mean*ls.v[SessionPanel][c]
	if ls.cross != nil {
		x := (s.d.tau[k] - s.tb[c]) / d
		v += x * (2*mean*ls.cross[c] + x*ls.inner[j])
	}
	return max(0, v)
}

// Rigs returns the statistics of every rig within a tester, rig codes in Panel's
// place being left out: Tester and Rig identify the effect.
func (f *Fit) Rigs() RigLevel {
	e, d := f.e, f.e.d
	var out RigLevel
	sc := newScratch(d)
	for t := range d.blocks() {
		first, m := d.size(t)
		q := e.opinionInformation(t, sc)
		seen := map[int32]int{}
		for i := range m {
			r := d.opRig[first+i]
			at, ok := seen[r]
			if !ok {
				at = len(out.Score)
				seen[r] = at
				out.Rig, out.Level.Tester = append(out.Rig, r), append(out.Level.Tester, d.testCode[t])
				out.Score, out.Information, out.Added = append(out.Score, 0), append(out.Information, 0), append(out.Added, 0)
			}
			out.Score[at] += e.ls.opScore[first+i]
			for j := range m {
				if d.opRig[first+j] == r {
					out.Information[at] += q[i*m+j]
				}
			}
		}
	}
	return out
}

// A RigLevel is the Level of rigs.
type RigLevel struct {
	Level
	Rig []int32
}

// opinionInformation returns M - M C M of a block.
func (e *engine) opinionInformation(t int, sc *scratch) []float64 {
	d := e.d
	_, m := d.size(t)
	q := append([]float64(nil), e.st.big[d.blockAt[t]:d.blockAt[t]+m*m]...)
	cov := e.blockCov()
	if cov == nil {
		return q
	}
	e.st.spread(t, cov, q, sc.a[:m*m], sc)
	return q
}

// cov returns Cov(mu_i, mu_j) as a function; nil where C is not held.
func (e *engine) cov() func(i, j int) float64 {
	if e.opt.ML || e.nrm.c == nil {
		return nil
	}
	raw := e.nrm.c.RawSymmetric()
	return func(i, j int) float64 {
		if i > j {
			i, j = j, i
		}
		return raw.Data[i*raw.Stride+j]
	}
}
