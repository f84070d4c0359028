package ranking

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"evensun/internal/compare"
	"evensun/internal/fieldtest"
)

// A Slope is what the readings of a panel model say of its own coefficients beyond the
// nameplate and the usual low-light curve: by how much the logarithm of the power at
// standard test conditions still depends on the cell temperature and on the light.
type Slope struct {
	PerK   float64 // of ln P_stc, 1/K: minus the error of the temperature coefficient used
	PerKU  float64 // its standard uncertainty
	Light  float64 // of ln P_stc by ln(G/1000)
	LightU float64
	cov    float64 // of the two
}

// Priors of the two slopes: a nameplate's temperature coefficient is off by 0.0005/K
// rectangular, a low-light curve by 3 % of ln(G/1000) (package budget).
const (
	priorPerK  = 0.00029
	priorLight = 0.03
)

// Numbers of the ridge regression (common practice, no source).
const (
	sessionPrior    = 1e-2   // variance of a session's intercept
	opinionPrior    = 1e2    // of an opinion's: as good as none
	noiseFloor      = 2.5e-5 // added to a reading's variance
	doubtedWeight   = 1e-3   // of a reading whose effects are downweighted
	mostUnknowns    = 2000   // solved densely
	alternateSweeps = 20
)

// leastShrink is the share of its prior that an uncertainty must get below before the
// slope is told as something that readings say (common practice, no source).
const leastShrink = 0.99

// coefficients returns the slopes of a panel for publication, nil where the readings add
// nothing to what was assumed before.
func (f *Fitted) coefficients(panel int) *fieldtest.Coefficients {
	if panel >= len(f.Slopes) {
		return nil
	}
	s := &f.Slopes[panel]
	known := s.PerKU < leastShrink*priorPerK || s.LightU < leastShrink*priorLight
	if !known || !(s.PerKU > 0 && s.LightU > 0) {
		return nil
	}
	return &fieldtest.Coefficients{PerK: fieldtest.Significant(s.PerK), PerKU: fieldtest.Significant(s.PerKU), Light: fieldtest.Significant(s.Light), LightU: fieldtest.Significant(s.LightU)}
}

// slopeData is the regression, row by row.
type slopeData struct {
	rows     []int // of the fit
	y, w     []float64
	heat, ln []float64 // Tc - 25 and ln(G/1000)
	opinion  []int
	session  []int
	panel    []int
	opinions int
	sessions int
	panels   int
}

// slopes estimates every panel's slopes after a first fit, from its capped sessions:
// ridge regression on opinion and session intercepts and the two slopes a panel.
func (f *Fitted) slopes(in *Inputs) []Slope {
	d := f.slopeData(in)
	if len(d.rows) == 0 {
		return make([]Slope, len(f.Panels))
	}
	if d.opinions+d.sessions+2*d.panels <= mostUnknowns {
		if s, ok := d.dense(); ok {
			return s
		}
	}
	return d.alternate()
}

func (f *Fitted) slopeData(in *Inputs) *slopeData {
	d := &slopeData{sessions: len(f.Sessions), panels: len(f.Panels)}
	kept := f.cappedSessions(in.Rules.CapSessions)
	doubted := f.doubtedRows()
	opinions := map[[2]int32]int{}
	extra := f.Fit.Theta[compare.SessionPanel] + f.Fit.Theta[compare.Residual] + noiseFloor
	for k := range f.Rows {
		r := &f.Rows[k]
		res := r.Observation.Result
		if !kept[r.Session] || res.Retention != nil || !(res.EffectiveWM2 > 0) {
			continue
		}
		key := [2]int32{r.Tester, r.Panel}
		if _, ok := opinions[key]; !ok {
			opinions[key] = len(opinions)
		}
		w := 1 / (r.U*r.U + extra)
		if doubted[k] {
			w = doubtedWeight
		}
		d.rows, d.y, d.w = append(d.rows, k), append(d.y, r.Y), append(d.w, w)
		d.heat, d.ln = append(d.heat, res.CellC-25), append(d.ln, math.Log(res.EffectiveWM2/1000))
		d.opinion, d.session, d.panel = append(d.opinion, opinions[key]), append(d.session, int(r.Session)), append(d.panel, int(r.Panel))
	}
	d.opinions = len(opinions)
	return d
}

// cappedSessions are a tester's sessions that count for variances: the first by key.
func (f *Fitted) cappedSessions(most int) []bool {
	keys := f.Table.SessionKey
	byTester := make([][]int32, len(f.Testers))
	seen := make([]bool, len(f.Sessions))
	for i := range f.Rows {
		r := &f.Rows[i]
		if !seen[r.Session] {
			seen[r.Session] = true
			byTester[r.Tester] = append(byTester[r.Tester], r.Session)
		}
	}
	kept := make([]bool, len(f.Sessions))
	for _, sessions := range byTester {
		sortSessions(sessions, keys)
		for i, s := range sessions {
			kept[s] = most <= 0 || i < most
		}
	}
	return kept
}

// doubtedRows are readings of which an opinion, cell or session is downweighted.
func (f *Fitted) doubtedRows() []bool {
	opinions, cells, sessions := map[[2]int32]bool{}, map[[2]int32]bool{}, map[int32]bool{}
	level := f.Fit.Level(compare.TesterPanel)
	for i := range level.Len() {
		if level.Weight(i) < 0.5 {
			opinions[[2]int32{level.Tester[i], level.Panel[i]}] = true
		}
	}
	level = f.Fit.Level(compare.SessionPanel)
	for i := range level.Len() {
		if level.Weight(i) < 0.5 {
			cells[[2]int32{level.Session[i], level.Panel[i]}] = true
		}
	}
	level = f.Fit.Level(compare.Session)
	for i := range level.Len() {
		if level.Weight(i) < 0.5 {
			sessions[level.Session[i]] = true
		}
	}
	out := make([]bool, len(f.Rows))
	for k := range f.Rows {
		r := &f.Rows[k]
		out[k] = opinions[[2]int32{r.Tester, r.Panel}] || cells[[2]int32{r.Session, r.Panel}] || sessions[r.Session]
	}
	return out
}

// dense solves the whole regression at once. Order of the unknowns: opinions, sessions,
// then two a panel.
func (d *slopeData) dense() ([]Slope, bool) {
	n := d.opinions + d.sessions + 2*d.panels
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		a.SetSym(i, i, d.priorPrecision(i))
	}
	for k := range d.rows {
		index, value := d.terms(k)
		for i := range index {
			b.SetVec(index[i], b.AtVec(index[i])+d.w[k]*value[i]*d.y[k])
			for j := i; j < len(index); j++ {
				lo, hi := min(index[i], index[j]), max(index[i], index[j])
				a.SetSym(lo, hi, a.At(lo, hi)+d.w[k]*value[i]*value[j])
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return nil, false
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, b); err != nil {
		return nil, false
	}
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		return nil, false
	}
	out := make([]Slope, d.panels)
	first := d.opinions + d.sessions
	for p := range out {
		i := first + 2*p
		out[p] = Slope{
			PerK: x.AtVec(i), PerKU: math.Sqrt(inverse.At(i, i)), Light: x.AtVec(i + 1), LightU: math.Sqrt(inverse.At(i+1, i+1)),
			cov: inverse.At(i, i+1),
		}
	}
	return out, true
}

func (d *slopeData) priorPrecision(i int) float64 {
	switch {
	case i < d.opinions:
		return 1 / opinionPrior
	case i < d.opinions+d.sessions:
		return 1 / sessionPrior
	case (i-d.opinions-d.sessions)%2 == 0:
		return 1 / (priorPerK * priorPerK)
	}
	return 1 / (priorLight * priorLight)
}

func (d *slopeData) terms(k int) (index [4]int, value [4]float64) {
	slope := d.opinions + d.sessions + 2*d.panel[k]
	return [4]int{d.opinion[k], d.opinions + d.session[k], slope, slope + 1}, [4]float64{1, 1, d.heat[k], d.ln[k]}
}

// alternate solves for intercepts and slopes in turn, for services of many panels. The
// uncertainties then are those with intercepts known: a little small.
func (d *slopeData) alternate() []Slope {
	opinion, session := make([]float64, d.opinions), make([]float64, d.sessions)
	out := make([]Slope, d.panels)
	for range alternateSweeps {
		d.intercepts(opinion, d.opinion, 1/opinionPrior, func(k int) float64 { return session[d.session[k]] + d.slopePart(out, k) })
		d.intercepts(session, d.session, 1/sessionPrior, func(k int) float64 { return opinion[d.opinion[k]] + d.slopePart(out, k) })
		d.solveSlopes(out, opinion, session)
	}
	return out
}

func (d *slopeData) slopePart(s []Slope, k int) float64 {
	p := &s[d.panel[k]]
	return p.PerK*d.heat[k] + p.Light*d.ln[k]
}

func (d *slopeData) intercepts(out []float64, group []int, precision float64, rest func(k int) float64) {
	sum, weight := make([]float64, len(out)), make([]float64, len(out))
	for k := range d.rows {
		sum[group[k]] += d.w[k] * (d.y[k] - rest(k))
		weight[group[k]] += d.w[k]
	}
	for i := range out {
		out[i] = sum[i] / (weight[i] + precision)
	}
}

// solveSlopes solves one 2x2 system a panel.
func (d *slopeData) solveSlopes(out []Slope, opinion, session []float64) {
	type system struct{ hh, hl, ll, hy, ly float64 }
	systems := make([]system, d.panels)
	for k := range d.rows {
		s, w := &systems[d.panel[k]], d.w[k]
		h, l, y := d.heat[k], d.ln[k], d.y[k]-opinion[d.opinion[k]]-session[d.session[k]]
		s.hh, s.hl, s.ll = s.hh+w*h*h, s.hl+w*h*l, s.ll+w*l*l
		s.hy, s.ly = s.hy+w*h*y, s.ly+w*l*y
	}
	for p := range out {
		s := systems[p]
		s.hh += 1 / (priorPerK * priorPerK)
		s.ll += 1 / (priorLight * priorLight)
		det := s.hh*s.ll - s.hl*s.hl
		out[p] = Slope{
			PerK: (s.ll*s.hy - s.hl*s.ly) / det, Light: (s.hh*s.ly - s.hl*s.hy) / det,
			PerKU: math.Sqrt(s.ll / det), LightU: math.Sqrt(s.hh / det), cov: -s.hl / det,
		}
	}
}

// flatten takes the slopes out of the responses.
func (f *Fitted) flatten(s []Slope) {
	for k := range f.Rows {
		r := &f.Rows[k]
		if heat, ln, ok := r.conditions(); ok {
			f.Table.Value[k] = r.Y - s[r.Panel].PerK*heat - s[r.Panel].Light*ln
		}
	}
}

// conditions are how much hotter than 25 C the cells were, in K, and ln(G/1000 W/m2); false
// where the light is not known.
func (r *Row) conditions() (heatK, lnLight float64, ok bool) {
	res := r.Observation.Result
	if !(res.EffectiveWM2 > 0) {
		return 0, 0, false
	}
	return res.CellC - 25, math.Log(res.EffectiveWM2 / 1000), true
}
