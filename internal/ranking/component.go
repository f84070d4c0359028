package ranking

import "sort"

// components returns the component of each panel: panels that share a session, directly
// or through others. Numbers start at 1, by size, then by the smallest slug.
func (d *Dataset) components() []int {
	u := newUnion(len(d.Panels))
	first := make([]int32, len(d.Sessions))
	for i := range first {
		first[i] = -1
	}
	for i := range d.Rows {
		r := &d.Rows[i]
		if first[r.Session] < 0 {
			first[r.Session] = r.Panel
		}
		u.join(int(first[r.Session]), int(r.Panel))
	}
	return u.numbered()
}

// testerComponents is the same for panels that share a tester.
func (d *Dataset) testerComponents() []int {
	u := newUnion(len(d.Panels))
	first := make([]int32, len(d.Testers))
	for i := range first {
		first[i] = -1
	}
	for i := range d.Rows {
		r := &d.Rows[i]
		if first[r.Tester] < 0 {
			first[r.Tester] = r.Panel
		}
		u.join(int(first[r.Tester]), int(r.Panel))
	}
	return u.numbered()
}

// union is a union-find structure.
type union []int

func newUnion(n int) union {
	u := make(union, n)
	for i := range u {
		u[i] = i
	}
	return u
}

func (u union) root(i int) int {
	for u[i] != i {
		u[i] = u[u[i]]
		i = u[i]
	}
	return i
}

// join keeps the smaller root, so that a component is named by its first panel.
func (u union) join(i, j int) {
	a, b := u.root(i), u.root(j)
	if a > b {
		a, b = b, a
	}
	u[b] = a
}

func (u union) numbered() []int {
	size := map[int]int{}
	for i := range u {
		size[u.root(i)]++
	}
	roots := make([]int, 0, len(size))
	for r := range size {
		roots = append(roots, r)
	}
	sort.Slice(roots, func(i, j int) bool {
		if size[roots[i]] != size[roots[j]] {
			return size[roots[i]] > size[roots[j]]
		}
		return roots[i] < roots[j]
	})
	number := map[int]int{}
	for i, r := range roots {
		number[r] = i + 1
	}
	out := make([]int, len(u))
	for i := range u {
		out[i] = number[u.root(i)]
	}
	return out
}
