package compare

import (
	"cmp"
	"fmt"
	"slices"
)

// A design is a table sorted by block (tester), session, opinion and row, with
// the first index of every group. A block is what is absorbed together: a tester
// with all its sessions or, without testers, one session.
type design struct {
	n, panels int
	order     []int32 // sorted position to row
	y, u2     []float64
	tau       []float64 // half hours from the middle of the session; nil without drift

	cellStart []int32 // readings of a cell
	cellOp    []int32 // opinion of a cell
	sessStart []int32 // cells of a session
	sessCode  []int32
	sessVar   []float64
	testStart []int32 // sessions of a block
	testCode  []int32 // tester code, or session code without testers

	opStart    []int32 // opinions of a block
	opPanel    []int32
	opRig      []int32
	opRigVar   []float64
	specStart  []int32 // opinions of a specimen within tester and panel
	groupStart []int32 // opinions of a tester x panel pair
	opSpec     []int32
	opGroup    []int32
	blockAt    []int // first element of a block's m x m matrices

	panelStart []int32 // opinions of a panel, in block order
	panelOps   []int32
	present    []bool // panel has a reading
}

func (d *design) blocks() int   { return len(d.testStart) - 1 }
func (d *design) sessions() int { return len(d.sessStart) - 1 }
func (d *design) cells() int    { return len(d.cellStart) - 1 }
func (d *design) opinions() int { return len(d.opPanel) }
func (d *design) groups() int   { return len(d.groupStart) - 1 }
func (d *design) specs() int    { return len(d.specStart) - 1 }

// size returns the first opinion of a block and the number of its opinions.
func (d *design) size(t int) (first, m int) {
	return int(d.opStart[t]), int(d.opStart[t+1] - d.opStart[t])
}

func newDesign(t Table, drift bool) (*design, error) {
	if drift && t.Minutes == nil {
		return nil, fmt.Errorf("%w: a drift term needs minutes", ErrModel)
	}
	d := &design{n: t.Len(), panels: t.Panels()}
	d.order = sortedRows(d.n, t.Rig, t.Specimen, t.Panel, t.Session, t.Tester)
	d.copyColumns(t)
	d.group(t)
	d.indexPanels()
	if drift {
		d.centreTimes(t.Minutes)
	}
	return d, nil
}

// sortedRows returns the rows sorted by the columns, the last the most
// significant, equal rows in their order: counting sorts, one a column.
func sortedRows(n int, columns ...[]int32) []int32 {
	order, next := make([]int32, n), make([]int32, n)
	for i := range order {
		order[i] = int32(i)
	}
	for _, codes := range columns {
		if codes == nil {
			continue
		}
		start := make([]int32, levels(codes)+1)
		for _, c := range codes {
			start[c+1]++
		}
		for i := 1; i < len(start); i++ {
			start[i] += start[i-1]
		}
		for _, row := range order {
			c := codes[row]
			next[start[c]] = row
			start[c]++
		}
		order, next = next, order
	}
	return order
}

func (d *design) copyColumns(t Table) {
	d.y, d.u2 = make([]float64, d.n), make([]float64, d.n)
	for k, row := range d.order {
		d.y[k] = t.Value[row]
		if t.Variance != nil {
			d.u2[k] = t.Variance[row]
		}
	}
}

// key identifies an opinion within a block.
type key struct{ panel, specimen, rig int32 }

func compareKeys(a, b key) int {
	return cmp.Or(cmp.Compare(a.panel, b.panel), cmp.Compare(a.specimen, b.specimen), cmp.Compare(a.rig, b.rig))
}

func (t Table) keyOf(row int32) key {
	k := key{panel: t.Panel[row]}
	if t.Specimen != nil {
		k.specimen = t.Specimen[row]
	}
	if t.Rig != nil {
		k.rig = t.Rig[row]
	}
	return k
}

// group finds blocks, sessions, cells and opinions in the sorted rows.
func (d *design) group(t Table) {
	block := t.Tester
	if block == nil {
		block = t.Session
	}
	var keys []key // of the cells of the open block
	for k, row := range d.order {
		var before int32
		if k > 0 {
			before = d.order[k-1]
		}
		newBlock := k == 0 || block[row] != block[before]
		newSession := newBlock || t.Session[row] != t.Session[before]
		if newBlock {
			keys = d.closeBlock(t, keys)
			d.testStart, d.testCode = append(d.testStart, int32(len(d.sessStart))), append(d.testCode, block[row])
		}
		if newSession {
			d.sessStart, d.sessCode = append(d.sessStart, int32(len(d.cellStart))), append(d.sessCode, t.Session[row])
			d.sessVar = append(d.sessVar, at(t.SessionVariance, t.Session[row]))
		}
		if newSession || t.keyOf(row) != t.keyOf(before) {
			d.cellStart = append(d.cellStart, int32(k))
			keys = append(keys, t.keyOf(row))
		}
	}
	d.closeBlock(t, keys)
	d.testStart = append(d.testStart, int32(len(d.sessStart)))
	d.sessStart = append(d.sessStart, int32(len(d.cellStart)))
	d.cellStart = append(d.cellStart, int32(d.n))
	d.opStart = append(d.opStart, int32(len(d.opPanel)))
	d.specStart = append(d.specStart, int32(len(d.opPanel)))
	d.groupStart = append(d.groupStart, int32(len(d.opPanel)))
}

func at(x []float64, code int32) float64 {
	if x == nil {
		return 0
	}
	return x[code]
}

// closeBlock numbers the opinions of the block whose cells have these keys.
func (d *design) closeBlock(t Table, keys []key) []key {
	if len(keys) == 0 {
		d.blockAt = append(d.blockAt, 0)
		return keys
	}
	distinct := slices.Compact(slices.SortedFunc(slices.Values(keys), compareKeys))
	first := int32(len(d.opPanel))
	d.opStart = append(d.opStart, first)
	for i, k := range distinct {
		fresh := i == 0 || k.panel != distinct[i-1].panel
		if fresh {
			d.groupStart = append(d.groupStart, first+int32(i))
		}
		if fresh || k.specimen != distinct[i-1].specimen {
			d.specStart = append(d.specStart, first+int32(i))
		}
		d.opPanel, d.opRig = append(d.opPanel, k.panel), append(d.opRig, k.rig)
		d.opRigVar = append(d.opRigVar, at(t.RigVariance, k.rig))
		d.opGroup, d.opSpec = append(d.opGroup, int32(len(d.groupStart)-1)), append(d.opSpec, int32(len(d.specStart)-1))
	}
	for _, k := range keys {
		i, _ := slices.BinarySearchFunc(distinct, k, compareKeys)
		d.cellOp = append(d.cellOp, first+int32(i))
	}
	d.blockAt = append(d.blockAt, d.blockAt[len(d.blockAt)-1]+len(distinct)*len(distinct))
	return keys[:0]
}

// grouping returns the level of every reading, by sorted index, of a term other than Drift.
func (d *design) grouping(l Term) []int32 {
	out := make([]int32, d.n)
	for t := range d.blocks() {
		for j := d.testStart[t]; j < d.testStart[t+1]; j++ {
			for c := d.sessStart[j]; c < d.sessStart[j+1]; c++ {
				o := d.cellOp[c]
				for k := d.cellStart[c]; k < d.cellStart[c+1]; k++ {
					out[k] = [...]int32{Tester: int32(t), Session: j, TesterPanel: d.opGroup[o], SessionPanel: c, Residual: k, Specimen: d.opSpec[o]}[l]
				}
			}
		}
	}
	return out
}

// sameGrouping tells whether two terms put the same readings together: whether each level
// of one is one level of the other. That they have equally many is not enough, as with 8
// sessions of 2 testers who have 4 panels each.
func (d *design) sameGrouping(l, m Term) bool {
	size := d.levels()
	if size[l] != size[m] {
		return false
	}
	a, b := d.grouping(l), d.grouping(m)
	met := make([]int32, size[l]) // level of m that a level of l met, plus one
	for k := range a {
		if met[a[k]] != 0 && met[a[k]] != b[k]+1 {
			return false
		}
		met[a[k]] = b[k] + 1
	}
	return true
}

// levels returns the number of levels of each term that groups readings.
func (d *design) levels() [terms]int {
	return [terms]int{Tester: d.blocks(), Session: d.sessions(), TesterPanel: d.groups(), SessionPanel: d.cells(), Residual: d.n, Specimen: d.specs()}
}

// indexPanels lists the opinions of every panel.
func (d *design) indexPanels() {
	d.panelStart, d.panelOps = make([]int32, d.panels+1), make([]int32, len(d.opPanel))
	d.present = make([]bool, d.panels)
	for _, i := range d.opPanel {
		d.panelStart[i+1]++
		d.present[i] = true
	}
	for i := range d.panels {
		d.panelStart[i+1] += d.panelStart[i]
	}
	next := slices.Clone(d.panelStart)
	for o, i := range d.opPanel {
		d.panelOps[next[i]] = int32(o)
		next[i]++
	}
}

// centreTimes turns minutes into half hours from the middle of the session.
func (d *design) centreTimes(minutes []float64) {
	d.tau = make([]float64, d.n)
	for s := range d.sessions() {
		lo, hi := d.cellStart[d.sessStart[s]], d.cellStart[d.sessStart[s+1]]
		first, last := minutes[d.order[lo]], minutes[d.order[lo]]
		for k := lo; k < hi; k++ {
			first, last = min(first, minutes[d.order[k]]), max(last, minutes[d.order[k]])
		}
		for k := lo; k < hi; k++ {
			d.tau[k] = (minutes[d.order[k]] - (first+last)/2) / 30
		}
	}
}
