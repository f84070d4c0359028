package compare

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// measure fills s and v of every factor.
func (c *crossed) measure() error {
	for i := range c.factors {
		f := &c.factors[i]
		if f.slot < 0 {
			continue
		}
		s := c.s[f.slot]
		clear(s)
		for k, r := range c.py {
			s[f.codes[k]] += r
		}
		if f == c.big {
			for a := range f.size {
				c.v[f.slot][a] = c.omega[a]/c.da[a] - c.spread(a, a)
			}
		}
	}
	c.informDense()
	c.ve = c.residualTrace()
	return nil
}

// spread returns x_a' T x_b / (d_a d_b) for two absorbed levels.
func (c *crossed) spread(a, b int) float64 {
	total := 0.0
	for i, p := range c.where[a] {
		for j, q := range c.where[b] {
			total += c.couple[a][i] * c.couple[b][j] * c.inv.At(int(p), int(q))
		}
	}
	return total / (c.da[a] * c.da[b])
}

// informDense sets v of the dense factors: diag(R - R L T L R) with R the matrix
// after absorption, L the sds, T the inverse system.
func (c *crossed) informDense() {
	var scaled, t mat.Dense
	scaled.Apply(func(i, _ int, v float64) float64 { return v * c.lambda[i] }, c.raw)
	t.Mul(c.inv, &scaled)
	for i := range c.factors {
		f := &c.factors[i]
		if f.slot < 0 || f == c.big {
			continue
		}
		for l := range f.size {
			e := f.first + l
			v := c.raw.At(e, e)
			for r := range c.cols {
				v -= scaled.At(r, e) * t.At(r, e)
			}
			c.v[f.slot][l] = v
		}
	}
}

// residualTrace returns the sum of z'Pz over readings.
func (c *crossed) residualTrace() float64 {
	tx := c.absorbedSolutions()
	total := 0.0
	var cols []int
	for k, d := range c.d {
		cols = cols[:0]
		c.columns(k, func(col int) { cols = append(cols, col) })
		own := 0.0
		for _, p := range cols {
			for _, q := range cols {
				own += c.lambda[p] * c.lambda[q] * c.inv.At(p, q)
			}
		}
		total += 1/d - own/(d*d)
		if c.big == nil {
			continue
		}
		a := int(c.big.codes[k])
		share := c.big.variance(c.theta, a) / c.da[a]
		mixed := 0.0
		for _, p := range cols {
			mixed += c.lambda[p] * tx[a][p]
		}
		total -= (share - 2*share*mixed + share*share*c.spread(a, a)*c.da[a]*c.da[a]) / (d * d)
	}
	return total
}

// absorbedSolutions returns T x_a on the columns that level a meets.
func (c *crossed) absorbedSolutions() []map[int]float64 {
	out := make([]map[int]float64, len(c.where))
	for a, cols := range c.where {
		out[a] = make(map[int]float64, len(cols))
		for _, p := range cols {
			v := 0.0
			for j, q := range cols {
				v += c.couple[a][j] * c.inv.At(int(p), int(q))
			}
			out[a][int(p)] = v
		}
	}
	return out
}

func (c *crossed) gradient() vec {
	var g vec
	for l := range slots {
		ss, vv := c.sums(l)
		g[l] = (ss - vv) / 2
	}
	return g
}

func (c *crossed) sums(l Term) (ss, vv float64) {
	if l == Residual {
		for _, r := range c.py {
			ss += r * r
		}
		return ss, c.ve
	}
	for i, s := range c.s[l] {
		ss += s * s
		vv += c.v[l][i]
	}
	return ss, vv
}

func (c *crossed) emRatio(l Term) float64 {
	ss, vv := c.sums(l)
	if vv <= 0 {
		return 1
	}
	return math.Sqrt(ss / vv)
}

func (c *crossed) averageInformation(list []Term) ([][]float64, error) {
	f, pf := make([][]float64, len(list)), make([][]float64, len(list))
	for i, l := range list {
		f[i], pf[i] = c.variate(l), make([]float64, len(c.y))
		coef, err := c.solveFor(f[i])
		if err != nil {
			return nil, err
		}
		c.residuals(f[i], coef, pf[i])
	}
	ai := make([][]float64, len(list))
	for i := range ai {
		ai[i] = make([]float64, len(list))
		for j := range ai {
			for k := range c.y {
				ai[i][j] += (f[i][k]*pf[j][k] + f[j][k]*pf[i][k]) / 4
			}
		}
	}
	return ai, nil
}

// variate returns V_l P y.
func (c *crossed) variate(l Term) []float64 {
	if l == Residual {
		return c.py
	}
	out := make([]float64, len(c.y))
	for i := range c.factors {
		if f := &c.factors[i]; f.slot == l {
			for k := range out {
				out[k] = c.s[l][f.codes[k]]
			}
		}
	}
	return out
}

func (c *crossed) likelihoodNow() float64 { return c.logLik }
func (c *crossed) tolerance() float64     { return 1e-12 }

// derivatives returns variances l'C l and their derivatives, as of the engine.
func (c *crossed) derivatives(l []map[int]float64) (v []float64, g []vec, err error) {
	for _, one := range l {
		x, slope, err := c.derivativesOf(one)
		if err != nil {
			return nil, nil, err
		}
		sum := 0.0
		for i, w := range one {
			sum += w * x[i]
		}
		v, g = append(v, sum), append(g, slope)
	}
	return v, g, nil
}

// derivativesOf returns C l and the derivatives of l'C l.
func (c *crossed) derivativesOf(l map[int]float64) (x []float64, g vec, err error) {
	first := c.cols - c.panels
	rhs := make([]float64, c.cols)
	for i, w := range l {
		rhs[first+i] = w
	}
	coef, err := c.backsolve(rhs)
	if err != nil {
		return nil, g, err
	}
	r := make([]float64, len(c.y))
	c.residuals(nil, coef, r)
	for _, v := range r {
		g[Residual] += v * v
	}
	for i := range c.factors {
		f := &c.factors[i]
		if f.slot < 0 {
			continue
		}
		sum := make([]float64, f.size)
		for k, v := range r {
			sum[f.codes[k]] += v
		}
		for _, v := range sum {
			g[f.slot] += v * v
		}
	}
	return coef[first:], g, nil
}

func (c *crossed) covariance(i, j int) float64 {
	return c.full.At(c.cols-c.panels+i, c.cols-c.panels+j)
}

func (c *crossed) denseC() bool { return true }

func (c *crossed) halfLogDetXX() float64 {
	count := make([]float64, c.panels)
	for _, i := range c.panel {
		count[i]++
	}
	total := 0.0
	for _, n := range count {
		total += math.Log(max(1, n)) / 2
	}
	return total
}

// observe replaces the average by the observed information, as of the engine.
func (c *crossed) observe(pr *progress) {
	if c.cols > observedPanels {
		return
	}
	theta := c.theta
	defer func() {
		if c.evaluate(theta) == nil {
			_ = c.measure()
		}
	}()
	observeBy(pr, func(next vec) (vec, error) {
		if err := c.evaluate(next); err != nil {
			return vec{}, err
		}
		if err := c.measure(); err != nil {
			return vec{}, err
		}
		return c.gradient(), nil
	})
}
