package compare

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A factor is one random term of the crossed path.
type factor struct {
	slot  Term // place in theta; below 0: only known variances
	codes []int32
	size  int
	known []float64 // known variance by level; nil: 0
	first int       // first column among the dense ones; -1: absorbed
}

// A crossed engine takes any groupings: the factor with most levels is absorbed
// level by level, all others and the panels form one dense system.
type crossed struct {
	opt     Options
	y, u2   []float64
	factors []factor
	big     *factor // absorbed; nil: none
	panel   []int32
	panels  int
	cols    int // dense columns; the panels come last
	present []bool

	theta  vec
	d      []float64   // readings: 1/precision
	lambda []float64   // dense columns: sd of the effect, 1 for panels
	omega  []float64   // absorbed levels: sum 1/d
	da     []float64   // absorbed levels: 1 + variance * omega
	couple [][]float64 // absorbed levels: x_a = Lambda w_a on its columns
	where  [][]int32   // those columns
	raw    *mat.SymDense
	chol   mat.Cholesky
	inv    *mat.SymDense // of the system; with ML, of its random part
	full   *mat.SymDense
	coef   []float64 // solution for y
	py     []float64
	logLik float64
	s, v   [slots][]float64
	ve     float64
}

const crossedColumns = 6000

func newCrossed(t Table, opt Options) (*crossed, error) {
	if opt.has(Drift) || opt.SessionFixed {
		return nil, fmt.Errorf("%w: neither drift nor fixed sessions with crossed groupings", ErrModel)
	}
	if t.Variance == nil && !opt.has(Residual) {
		return nil, fmt.Errorf("%w: without known variances the residual must be estimated", ErrModel)
	}
	c := &crossed{opt: opt, y: t.Value, u2: t.Variance, panel: t.Panel, panels: t.Panels(), present: make([]bool, t.Panels())}
	if c.u2 == nil {
		c.u2 = make([]float64, len(c.y))
	}
	for _, i := range t.Panel {
		c.present[i] = true
	}
	if err := c.collectFactors(t); err != nil {
		return nil, err
	}
	c.placeColumns()
	if c.cols > crossedColumns {
		return nil, fmt.Errorf("%w: %d dense columns, at most %d with crossed groupings", ErrModel, c.cols, crossedColumns)
	}
	c.allocate()
	return c, nil
}

func (c *crossed) collectFactors(t Table) error {
	columns := map[Term][][]int32{Tester: {t.Tester}, Session: {t.Session}, TesterPanel: {t.Tester, t.Panel}, SessionPanel: {t.Session, t.Panel}, Specimen: {t.Tester, t.Panel, t.Specimen}}
	for l := range Residual + 2 {
		if l == Residual || !c.opt.has(l) {
			continue
		}
		f := factor{slot: l}
		for _, col := range columns[l] {
			if col == nil {
				return fmt.Errorf("%w: %s needs a column that is missing", ErrModel, l)
			}
			f.codes = product(f.codes, col)
		}
		c.addFactor(f)
	}
	if len(c.opt.Groupings) > maxGroupings {
		return fmt.Errorf("%w: %d groupings, at most %d", ErrModel, len(c.opt.Groupings), maxGroupings)
	}
	for i, g := range c.opt.Groupings {
		if err := checkCodes(g.Name, g.Codes, len(c.y)); err != nil || len(g.Codes) != len(c.y) {
			return fmt.Errorf("%w: grouping %q does not fit the rows", ErrColumn, g.Name)
		}
		c.addFactor(factor{slot: terms + Term(i), codes: g.Codes})
	}
	c.addKnown(t)
	return nil
}

func (c *crossed) addFactor(f factor) {
	f.size, f.first = levels(f.codes), -1
	c.factors = append(c.factors, f)
}

// addKnown adds the known variances of sessions and rigs.
func (c *crossed) addKnown(t Table) {
	if t.SessionVariance != nil {
		for i := range c.factors {
			if c.factors[i].slot == Session {
				c.factors[i].known = t.SessionVariance
			}
		}
		if !c.opt.has(Session) {
			c.addFactor(factor{slot: -1, codes: t.Session, known: t.SessionVariance})
		}
	}
	if t.RigVariance != nil && t.Rig != nil {
		c.addFactor(factor{slot: -1, codes: t.Rig, known: t.RigVariance})
	}
}

// product numbers the pairs of two columns in order of appearance.
func product(a, b []int32) []int32 {
	if a == nil {
		return b
	}
	seen := map[[2]int32]int32{}
	out := make([]int32, len(a))
	for k := range a {
		p := [2]int32{a[k], b[k]}
		id, ok := seen[p]
		if !ok {
			id = int32(len(seen))
			seen[p] = id
		}
		out[k] = id
	}
	return out
}

// placeColumns absorbs the factor with most levels and numbers the others' columns.
func (c *crossed) placeColumns() {
	for i := range c.factors {
		if c.big == nil || c.factors[i].size > c.big.size {
			c.big = &c.factors[i]
		}
	}
	for i := range c.factors {
		if f := &c.factors[i]; f != c.big {
			f.first = c.cols
			c.cols += f.size
		}
	}
	c.cols += c.panels
}

func (c *crossed) allocate() {
	n := len(c.y)
	c.d, c.py, c.lambda = make([]float64, n), make([]float64, n), make([]float64, c.cols)
	for _, f := range c.factors {
		if f.slot >= 0 {
			c.s[f.slot], c.v[f.slot] = make([]float64, f.size), make([]float64, f.size)
		}
	}
	if c.big != nil {
		c.omega, c.da = make([]float64, c.big.size), make([]float64, c.big.size)
		c.couple, c.where = make([][]float64, c.big.size), make([][]int32, c.big.size)
	}
	c.pattern()
}

// columns calls f with the dense columns of a reading.
func (c *crossed) columns(k int, f func(col int)) {
	for i := range c.factors {
		if g := &c.factors[i]; g != c.big {
			f(g.first + int(g.codes[k]))
		}
	}
	f(c.cols - c.panels + int(c.panel[k]))
}

// pattern finds the columns that each absorbed level meets.
func (c *crossed) pattern() {
	if c.big == nil {
		return
	}
	seen := map[[2]int32]bool{}
	for k, a := range c.big.codes {
		c.columns(k, func(col int) {
			p := [2]int32{a, int32(col)}
			if !seen[p] {
				seen[p] = true
				c.where[a] = append(c.where[a], int32(col))
			}
		})
	}
	for a := range c.where {
		c.couple[a] = make([]float64, len(c.where[a]))
	}
}

func (f *factor) variance(theta vec, level int) float64 {
	v := 0.0
	if f.slot >= 0 {
		v = theta[f.slot]
	}
	if f.known != nil {
		v += f.known[level]
	}
	return v
}

func (c *crossed) evaluate(theta vec) error {
	c.theta = theta
	for i := range c.factors {
		if f := &c.factors[i]; f != c.big {
			for l := range f.size {
				c.lambda[f.first+l] = math.Sqrt(f.variance(theta, l))
			}
		}
	}
	for i := c.cols - c.panels; i < c.cols; i++ {
		c.lambda[i] = 1
	}
	logDet := c.assemble()
	if !c.chol.Factorize(c.scaled()) {
		return fmt.Errorf("%w: the crossed system is not positive definite", ErrModel)
	}
	logDet += c.chol.LogDet()
	var err error
	c.coef, err = c.solveFor(c.y)
	if err != nil {
		return err
	}
	rss := 0.0
	c.residuals(c.y, c.coef, c.py)
	for k, r := range c.py {
		rss += r * c.y[k]
	}
	return c.setLikelihood(logDet, rss)
}

// assemble fills the unscaled dense matrix after absorption; it returns the logs of
// the readings' and absorbed levels' determinants.
func (c *crossed) assemble() float64 {
	c.raw = mat.NewSymDense(c.cols, nil)
	logs := logSum{product: 1}
	clear(c.omega)
	for k := range c.y {
		c.d[k] = c.u2[k] + c.theta[Residual]
		logs.add(c.d[k])
		c.columns(k, func(a int) {
			c.columns(k, func(b int) {
				if b >= a {
					c.raw.SetSym(a, b, c.raw.At(a, b)+1/c.d[k])
				}
			})
		})
	}
	if c.big != nil {
		c.absorbLevels(&logs)
	}
	return logs.total()
}

func (c *crossed) absorbLevels(logs *logSum) {
	weight := make([]float64, c.cols)
	for a, rows := range rowsByLevel(c.big.codes, c.big.size) {
		for _, k := range rows {
			c.omega[a] += 1 / c.d[k]
			c.columns(int(k), func(col int) { weight[col] += 1 / c.d[k] })
		}
		v := c.big.variance(c.theta, a)
		c.da[a] = 1 + v*c.omega[a]
		logs.add(c.da[a])
		for i, p := range c.where[a] {
			for _, q := range c.where[a][i:] {
				lo, hi := int(min(p, q)), int(max(p, q))
				c.raw.SetSym(lo, hi, c.raw.At(lo, hi)-v/c.da[a]*weight[p]*weight[q])
			}
		}
		for i, p := range c.where[a] {
			c.couple[a][i] = weight[p] * c.lambda[p]
		}
		for _, p := range c.where[a] {
			weight[p] = 0
		}
	}
}

func rowsByLevel(codes []int32, size int) [][]int32 {
	rows := make([][]int32, size)
	for k, a := range codes {
		rows[a] = append(rows[a], int32(k))
	}
	return rows
}

// scaled returns I + Lambda raw Lambda on the random columns, raw on the panels.
func (c *crossed) scaled() *mat.SymDense {
	s := mat.NewSymDense(c.cols, nil)
	for a := range c.cols {
		for b := a; b < c.cols; b++ {
			s.SetSym(a, b, c.lambda[a]*c.lambda[b]*c.raw.At(a, b))
		}
		if a < c.cols-c.panels || !c.present[a-(c.cols-c.panels)] {
			s.SetSym(a, a, s.At(a, a)+1)
		}
	}
	return s
}

// solveFor returns the dense coefficients (effects and panels) for a response f.
func (c *crossed) solveFor(f []float64) ([]float64, error) {
	rhs := make([]float64, c.cols)
	sums := make([]float64, len(c.da))
	for k := range f {
		if c.big != nil {
			sums[c.big.codes[k]] += f[k] / c.d[k]
		}
		c.columns(k, func(col int) { rhs[col] += c.lambda[col] * f[k] / c.d[k] })
	}
	for a, s := range sums {
		share := c.big.variance(c.theta, a) / c.da[a] * s
		for i, p := range c.where[a] {
			rhs[p] -= c.couple[a][i] * share
		}
	}
	return c.backsolve(rhs)
}

func (c *crossed) backsolve(rhs []float64) ([]float64, error) {
	x := mat.NewVecDense(c.cols, nil)
	err := c.chol.SolveVecTo(x, mat.NewVecDense(c.cols, rhs))
	if _, ill := err.(mat.Condition); err != nil && !ill {
		return nil, fmt.Errorf("solve the crossed system of %d columns: %w", c.cols, err)
	}
	out := x.RawVector().Data
	for i := range out {
		out[i] *= c.lambda[i]
	}
	return out, nil
}

// residuals sets out = P f for the coefficients of f.
func (c *crossed) residuals(f, coef, out []float64) {
	sums := make([]float64, len(c.da))
	for k := range c.y {
		fit := 0.0
		c.columns(k, func(col int) { fit += coef[col] })
		out[k] = -fit
		if f != nil {
			out[k] += f[k]
		}
		if c.big != nil {
			sums[c.big.codes[k]] += out[k] / c.d[k]
		}
	}
	for k := range out {
		if c.big != nil {
			a := c.big.codes[k]
			out[k] -= c.big.variance(c.theta, int(a)) / c.da[a] * sums[a]
		}
		out[k] /= c.d[k]
	}
}

// setLikelihood sets lR or lML and the inverse of the system.
func (c *crossed) setLikelihood(logDet, rss float64) error {
	n, p := float64(len(c.y)), 0.0
	for _, here := range c.present {
		if here {
			p++
		}
	}
	c.full = mat.NewSymDense(c.cols, nil)
	if err := inverseTo(&c.chol, c.full); err != nil {
		return err
	}
	c.inv = c.full
	if !c.opt.ML {
		c.logLik = -((n-p)*math.Log(2*math.Pi) + logDet + rss) / 2
		return nil
	}
	var panels mat.Cholesky
	if !panels.Factorize(c.panelBlock()) {
		return fmt.Errorf("%w: the panels' covariance is not positive definite", ErrModel)
	}
	c.logLik = -(n*math.Log(2*math.Pi) + logDet + panels.LogDet() + rss) / 2
	return c.invertRandom()
}

func inverseTo(chol *mat.Cholesky, out *mat.SymDense) error {
	err := chol.InverseTo(out)
	if _, ill := err.(mat.Condition); err != nil && !ill {
		return fmt.Errorf("invert the crossed system: %w", err)
	}
	return nil
}

func (c *crossed) panelBlock() *mat.SymDense {
	first := c.cols - c.panels
	out := mat.NewSymDense(c.panels, nil)
	for i := range c.panels {
		for j := i; j < c.panels; j++ {
			out.SetSym(i, j, c.full.At(first+i, first+j))
		}
	}
	return out
}

// invertRandom sets inv to the inverse of the random part, 0 on the panels.
func (c *crossed) invertRandom() error {
	first := c.cols - c.panels
	c.inv = mat.NewSymDense(c.cols, nil)
	if first == 0 {
		return nil
	}
	s := c.scaled()
	part := mat.NewSymDense(first, nil)
	for a := range first {
		for b := a; b < first; b++ {
			part.SetSym(a, b, s.At(a, b))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(part) {
		return fmt.Errorf("%w: the random part is not positive definite", ErrModel)
	}
	if err := inverseTo(&chol, part); err != nil {
		return err
	}
	for a := range first {
		for b := a; b < first; b++ {
			c.inv.SetSym(a, b, part.At(a, b))
		}
	}
	return nil
}
