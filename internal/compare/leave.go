package compare

import (
	"context"
	"fmt"
	"math"
)

// LeaveOut returns mu - mu without the tester, for given variances and weights:
//
//	C E'(I - M C_tt)^-1 (m - M mu)
//
// on the tester's opinions; NaN for a panel that nobody else has. Panels that only
// this tester has are eliminated from his block first.
//
// Error: rounding. Above DenseLimit each call solves one system a panel of his.
func (f *Fit) LeaveOut(tester int32) ([]float64, error) {
	e := f.e
	if e == nil {
		return nil, fmt.Errorf("%w: leave one out of a crossed fit", ErrModel)
	}
	for t, code := range e.d.testCode {
		if code == tester {
			return e.leaveOut(t)
		}
	}
	return nil, fmt.Errorf("%w: tester %d has no readings", ErrColumn, tester)
}

func (e *engine) leaveOut(t int) ([]float64, error) {
	l := e.newLeaving(t)
	cov, err := l.covariances()
	if err != nil {
		return nil, err
	}
	u := l.influence(func(a, b int) float64 { return cov[a*e.d.panels+l.panel[b]] })
	out := make([]float64, e.d.panels)
	for a, x := range u {
		for i := range out {
			out[i] += x * cov[a*e.d.panels+i]
		}
	}
	for _, i := range l.lost {
		out[i] = math.NaN()
	}
	return out, nil
}

// A leaving is one block with the panels that only it has eliminated.
type leaving struct {
	e     *engine
	panel []int // of each remaining opinion
	m     []float64
	big   []float64
	lost  []int
}

func (e *engine) newLeaving(t int) *leaving {
	d := e.d
	first, m := d.size(t)
	l := &leaving{e: e}
	var stay, gone []int
	for a := range m {
		i := int(d.opPanel[first+a])
		if e.onlyIn(i, first, m) {
			gone = append(gone, a)
			l.lost = append(l.lost, i)
		} else {
			stay = append(stay, a)
			l.panel = append(l.panel, i)
		}
	}
	block := e.st.big[d.blockAt[t] : d.blockAt[t]+m*m]
	l.m = make([]float64, len(stay))
	for a, x := range stay {
		l.m[a] = e.st.m[first+x]
	}
	l.big = part(block, m, stay, stay)
	if len(gone) > 0 && len(stay) > 0 {
		l.eliminate(block, e.st.m[first:first+m], m, stay, gone)
	}
	return l
}

// onlyIn tells whether all opinions of a panel are among m of one block.
func (e *engine) onlyIn(i, first, m int) bool {
	ops := e.d.panelOps[e.d.panelStart[i]:e.d.panelStart[i+1]]
	return int(ops[0]) >= first && int(ops[len(ops)-1]) < first+m
}

func part(a []float64, m int, rows, cols []int) []float64 {
	out := make([]float64, 0, len(rows)*len(cols))
	for _, r := range rows {
		for _, c := range cols {
			out = append(out, a[r*m+c])
		}
	}
	return out
}

// eliminate takes out the lost opinions: big - M_sg M_gg^-1 M_gs, and m alike.
func (l *leaving) eliminate(block, mv []float64, m int, stay, gone []int) {
	g := len(gone)
	inner := part(block, m, gone, gone)
	invert(inner, g, make([]int, g))
	across := part(block, m, stay, gone)
	for a := range stay {
		for x := range g {
			w := 0.0
			for y := range g {
				w += across[a*g+y] * inner[y*g+x]
			}
			l.m[a] -= w * mv[gone[x]]
			for b := range stay {
				l.big[a*len(stay)+b] -= w * across[b*g+x]
			}
		}
	}
}

// covariances returns rows of C for the remaining opinions.
func (l *leaving) covariances() ([]float64, error) {
	e, p := l.e, l.e.d.panels
	out := make([]float64, len(l.panel)*p)
	for a, i := range l.panel {
		row := out[a*p : a*p+p]
		if cov := e.cov(); cov != nil {
			for j := range row {
				row[j] = cov(i, j)
			}
			continue
		}
		if e.anchor[i] {
			continue
		}
		h := make([]float64, p)
		h[i] = 1
		x, err := e.nrm.solve(h, 1, nil)
		if err != nil {
			return nil, err
		}
		copy(row, x)
	}
	return out, nil
}

// influence returns (I - M C_tt)^-1 (m - M mu).
func (l *leaving) influence(cov func(a, b int) float64) []float64 {
	m := len(l.panel)
	c, n := make([]float64, m*m), make([]float64, m*m)
	s, u := append([]float64(nil), l.m...), make([]float64, m)
	for a := range m {
		for b := range m {
			c[a*m+b] = cov(a, b)
			s[a] -= l.big[a*m+b] * l.e.mu[l.panel[b]]
		}
	}
	multiply(n, l.big, c, m)
	for i := range n {
		n[i] = -n[i]
	}
	for a := range m {
		n[a*m+a]++
	}
	if m > 0 {
		invert(n, m, make([]int, m))
	}
	addProduct(u, n, s, m, 1)
	return u
}

// A Shift is the largest change of a panel's estimate when one tester is left out.
type Shift struct {
	Tester int32   // whose; -1: nobody can be left out
	Change float64 // mu - mu without him
}

// MaxShifts returns for every panel the tester on whom it depends most. Above
// DenseLimit that is a screen: only testers of the panel are tried, with covariances
// from draws; the change is good to 6 % for an ordinary tester and within a factor
// of 2 where he is nearly alone. LeaveOut gives the exact change.
func (f *Fit) MaxShifts(ctx context.Context) ([]Shift, error) {
	e := f.e
	if e == nil {
		return nil, fmt.Errorf("%w: leave one out of a crossed fit", ErrModel)
	}
	out := make([]Shift, e.d.panels)
	for i := range out {
		out[i].Tester = -1
	}
	if !e.nrm.dense() {
		return out, f.sampledShifts(ctx, out)
	}
	for t, code := range e.d.testCode {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("leave out tester %d: %w", code, err)
		}
		change, err := e.leaveOut(t)
		if err != nil {
			return nil, err
		}
		for i, x := range change {
			out[i].raise(code, x)
		}
	}
	return out, nil
}

func (s *Shift) raise(tester int32, change float64) {
	if !math.IsNaN(change) && (s.Tester < 0 || math.Abs(change) > math.Abs(s.Change)) {
		*s = Shift{tester, change}
	}
}

// sampledShifts uses covariances of draws, with the exact form on the diagonal.
func (f *Fit) sampledShifts(ctx context.Context, out []Shift) error {
	e, count := f.e, f.e.opt.draws()
	se, err := f.StandardErrors(ctx)
	if err != nil {
		return err
	}
	draws := make([]float64, 0, len(out)*count)
	var at []int // where each batch of columns begins
	var width []int
	if err := f.Draws(ctx, func(x, _ []float64, r int) {
		at, width = append(at, len(draws)), append(width, r)
		draws = append(draws, x...)
	}); err != nil {
		return err
	}
	cov := func(i, j int) float64 {
		if i == j {
			return se[i] * se[i]
		}
		sum := 0.0
		for b, r := range width {
			for c := range r {
				sum += draws[at[b]+i*r+c] * draws[at[b]+j*r+c]
			}
		}
		return sum / float64(count)
	}
	for t, code := range e.d.testCode {
		l := e.newLeaving(t)
		u := l.influence(func(a, b int) float64 { return cov(l.panel[a], l.panel[b]) })
		for _, i := range l.panel {
			change := 0.0
			for a, x := range u {
				change += x * cov(i, l.panel[a])
			}
			out[i].raise(code, change)
		}
	}
	return nil
}
