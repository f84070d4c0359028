package ranks

import (
	"slices"
	"strconv"
	"strings"
)

// A Display is a compact letter display: two members share a letter exactly where
// the data cannot tell them apart.
type Display struct {
	order    []int    // position -> member, best first
	position []int    // member -> position
	alike    []bitset // position -> positions not told apart from it, with itself
	columns  []bitset // letter -> positions
}

// insertUpTo is the number of members up to which letters come from insert and
// absorb when the members of a letter are not consecutive; columnsPerMember ends
// it where the columns multiply (common practice, no source).
const (
	insertUpTo       = 300
	columnsPerMember = 4
)

// Letters returns the compact letter display at a critical value of the family.
// The letters are in the order of their best members.
//
// Where the members that are alike follow each other in the list without gaps, as
// with equal standard errors, each letter is one stretch of it and all stretches
// are found in one pass. Else insert and absorb finds every largest set of alike
// members, up to 300 of them; there may be exponentially many, so that longer lists
// get a cover instead: fewer letters, same meaning.
//
// Source: Piepho 2004 (from memory); Gramm et al. 2007 for the cover.
func (f *Family) Letters(critical float64) *Display {
	d := &Display{order: f.order(), position: make([]int, f.Len())}
	for p, i := range d.order {
		d.position[i] = p
	}
	d.alike = f.alike(critical, d.position)
	d.columns = columnsOf(d.alike)
	slices.SortFunc(d.columns, bitset.compare)
	return d
}

// alike returns, by position, the positions that are not told apart.
func (f *Family) alike(critical float64, position []int) []bitset {
	n := f.Len()
	alike := make([]bitset, n)
	for p := range alike {
		alike[p] = spanBitset(n, 0, n)
	}
	apart := func(better, worse int) {
		a, b := position[better], position[worse]
		alike[a].remove(b)
		alike[b].remove(a)
	}
	f.eachApart(critical, apart, func(better int, worse []int) {
		for _, j := range worse {
			apart(better, j)
		}
	})
	return alike
}

func columnsOf(alike []bitset) []bitset {
	if columns, ok := stretches(alike); ok {
		return columns
	}
	if len(alike) <= insertUpTo {
		if columns, ok := insertAbsorb(alike); ok {
			return columns
		}
	}
	return cover(alike)
}

// stretches returns the largest stretches of alike members, false where alike
// members do not always follow each other.
func stretches(alike []bitset) ([]bitset, bool) {
	var columns []bitset
	reach := -1
	for p, row := range alike {
		end := row.last()
		if end < reach || !spanBitset(len(alike), p, end+1).within(row) {
			return nil, false
		}
		if end > reach {
			columns = append(columns, spanBitset(len(alike), p, end+1))
		}
		reach = end
	}
	return columns, true
}

// insertAbsorb starts with one column of all members; each member in turn splits
// every column that holds it and a later one told apart from it, into the column
// without it and the column without those; a column inside another is absorbed.
// It gives up with false at more than columnsPerMember columns a member.
func insertAbsorb(alike []bitset) ([]bitset, bool) {
	n := len(alike)
	columns := []bitset{spanBitset(n, 0, n)}
	for p := range n {
		apart := spanBitset(n, p+1, n)
		apart.drop(alike[p])
		columns = insert(columns, p, apart)
		if len(columns) > columnsPerMember*n {
			return nil, false
		}
	}
	return columns, true
}

func insert(columns []bitset, p int, apart bitset) []bitset {
	var whole, split []bitset
	for _, c := range columns {
		if !c.has(p) || !c.meets(apart) {
			whole = append(whole, c)
			continue
		}
		without, with := c.clone(), c.clone()
		without.remove(p)
		with.drop(apart)
		split = append(split, without, with)
	}
	for k, c := range split {
		inside := func(other bitset) bool { return c.within(other) }
		if slices.ContainsFunc(whole, inside) || slices.ContainsFunc(split[k+1:], inside) {
			continue
		}
		whole = append(whole, c)
	}
	return whole
}

// cover returns largest sets of alike members such that each alike pair is in one:
// from the best member down, each pair not yet covered grows a set, first by what
// is new to its better member, then by all that fits, in the order of the list.
func cover(alike []bitset) []bitset {
	n := len(alike)
	covered := make([]bitset, n)
	for p := range covered {
		covered[p] = newBitset(n)
	}
	var columns []bitset
	for p := range alike {
		for {
			open := alike[p].clone()
			open.drop(covered[p])
			q := open.last()
			if q < p {
				break
			}
			column := grow(alike, p, q, open)
			columns = append(columns, column)
			for v := column.next(0); v >= 0; v = column.next(v + 1) {
				covered[v].join(column)
			}
		}
	}
	return columns
}

// grow returns a largest alike set with p and q in it, members of preferred first.
func grow(alike []bitset, p, q int, preferred bitset) bitset {
	column := newBitset(len(alike))
	column.add(p)
	column.add(q)
	fits := alike[p].clone()
	fits.keep(alike[q])
	for _, only := range []bitset{preferred, fits.clone()} {
		for v := fits.next(0); v >= 0; v = fits.next(v + 1) {
			if only.has(v) {
				column.add(v)
				fits.keep(alike[v])
			}
		}
	}
	return column
}

// Len returns the number of letters.
func (d *Display) Len() int {
	return len(d.columns)
}

// Of returns the letters of a member as numbers from 0, rising.
func (d *Display) Of(member int) []int {
	var letters []int
	for k, c := range d.columns {
		if c.has(d.position[member]) {
			letters = append(letters, k)
		}
	}
	return letters
}

// Alike returns the other members that share a letter with a member, best first.
func (d *Display) Alike(member int) []int {
	p := d.position[member]
	var others []int
	row := d.alike[p]
	for q := row.next(0); q >= 0; q = row.next(q + 1) {
		if q != p {
			others = append(others, d.order[q])
		}
	}
	return others
}

// AllAlike tells whether there are two members or more and all share one letter.
func (d *Display) AllAlike() bool {
	return len(d.order) > 1 && len(d.columns) == 1
}

// Label returns the letters of a member as text, as "ab". After z the letters go on
// with a1 .. z1, a2 and so on. In a display of more than 26 letters three or more
// in a row are written as "c-k1", so that long lists stay readable.
func (d *Display) Label(member int) string {
	letters := d.Of(member)
	var b strings.Builder
	for k := 0; k < len(letters); k++ {
		end := k
		for end+1 < len(letters) && letters[end+1] == letters[end]+1 {
			end++
		}
		b.WriteString(letter(letters[k]))
		if len(d.columns) > 26 && end >= k+2 {
			b.WriteString("-" + letter(letters[end]))
			k = end
		}
	}
	return b.String()
}

// letter returns the name of the k-th letter, k from 0.
func letter(k int) string {
	name := string(rune('a' + k%26))
	if k < 26 {
		return name
	}
	return name + strconv.Itoa(k/26)
}
