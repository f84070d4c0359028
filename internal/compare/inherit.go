package compare

import "slices"

// A memory is what a robust fit leaves for one that goes on from it: the weights and
// additions of all effects, before shares are bounded, and their codes.
type memory struct {
	d   *design // without values and rows
	w   *weights
	add *additions
}

func (r *robustRun) memory() *memory {
	d, add := *r.e.d, *r.e.add
	d.y, d.u2, d.tau, d.order, d.panelOps = nil, nil, nil, nil, nil
	add.group = slices.Clone(add.group)
	return &memory{d: &d, w: r.w, add: &add}
}

// Memory returns a fit that answers no questions but is enough for Options.After: it
// holds variances and weights and lets go of all else.
func (f *Fit) Memory() *Fit { return &Fit{Theta: f.Theta, whole: f.whole, part: f.part} }

// memories returns what the fit to go on from has left of the table and of its capped part.
func (o Options) memories() (whole, part *memory) {
	if o.After == nil {
		return nil, nil
	}
	return o.After.whole, o.After.part
}

// inherit takes over the weights of effects that another design has too, found by their
// codes; the readings of a cell only where it has as many of them.
func (r *robustRun) inherit(last *memory) {
	from, w, add := last.d, last.w, last.add
	d, own := r.e.d, r.e.add
	take := func(to []weight, at []float64, i int32, old []weight, oldAt []float64, k int32) {
		to[i].w, at[i] = old[k].w, oldAt[k]
	}
	blocks, sessions := indexOf(from.testCode), indexOf(from.sessCode)
	for t, code := range d.testCode {
		if b := lookUp(blocks, code); b >= 0 {
			matchPanels(d, from, d.groupsOf(t), from.groupsOf(int(b)), groupPanel, func(i, k int32) {
				take(r.w.group, own.group, i, w.group, add.group, k)
			})
		}
	}
	for j, code := range d.sessCode {
		s := lookUp(sessions, code)
		if s < 0 {
			continue
		}
		take(r.w.session, own.session, int32(j), w.session, add.session, s)
		matchPanels(d, from, span{d.sessStart[j], d.sessStart[j+1]}, span{from.sessStart[s], from.sessStart[s+1]}, cellPanel, func(i, k int32) {
			take(r.w.cell, own.cell, i, w.cell, add.cell, k)
			if n := d.cellStart[i+1] - d.cellStart[i]; n == from.cellStart[k+1]-from.cellStart[k] {
				for x := range n {
					take(r.w.reading, own.reading, d.cellStart[i]+x, w.reading, add.reading, from.cellStart[k]+x)
				}
			}
		})
	}
}

// A span is a range of sorted indices.
type span struct{ lo, hi int32 }

// groupsOf returns the tester x panel pairs of a block.
func (d *design) groupsOf(t int) span {
	first, m := d.size(t)
	return span{d.opGroup[first], d.opGroup[first+m-1] + 1}
}

func groupPanel(d *design, g int32) int32 { return d.opPanel[d.groupStart[g]] }
func cellPanel(d *design, c int32) int32  { return d.opPanel[d.cellOp[c]] }

// matchPanels calls same for the elements of two spans, both sorted by panel, that have
// the same one.
func matchPanels(d, from *design, a, b span, panel func(d *design, i int32) int32, same func(i, k int32)) {
	for i, k := a.lo, b.lo; i < a.hi && k < b.hi; {
		switch x, y := panel(d, i), panel(from, k); {
		case x < y:
			i++
		case x > y:
			k++
		default:
			same(i, k)
			i++
			k++
		}
	}
}

// indexOf returns the place of each code, -1 for one that is not there.
func indexOf(codes []int32) []int32 {
	out := make([]int32, levels(codes))
	for c := range out {
		out[c] = -1
	}
	for i, c := range codes {
		out[c] = int32(i)
	}
	return out
}

func lookUp(index []int32, code int32) int32 {
	if int(code) >= len(index) {
		return -1
	}
	return index[code]
}
