package ranks

import "math/bits"

// A bitset is a set of positions in the order of a family.
type bitset []uint64

func newBitset(n int) bitset {
	return make(bitset, (n+63)/64)
}

// spanBitset returns the set of positions from up to and without end, of n.
func spanBitset(n, from, end int) bitset {
	b := newBitset(n)
	for p := from; p < end; p++ {
		b.add(p)
	}
	return b
}

func (b bitset) add(p int)      { b[p>>6] |= 1 << (p & 63) }
func (b bitset) remove(p int)   { b[p>>6] &^= 1 << (p & 63) }
func (b bitset) has(p int) bool { return b[p>>6]>>(p&63)&1 != 0 }

func (b bitset) clone() bitset {
	return append(bitset(nil), b...)
}

func (b bitset) keep(other bitset) {
	for w := range b {
		b[w] &= other[w]
	}
}

func (b bitset) join(other bitset) {
	for w := range b {
		b[w] |= other[w]
	}
}

func (b bitset) drop(other bitset) {
	for w := range b {
		b[w] &^= other[w]
	}
}

func (b bitset) meets(other bitset) bool {
	for w := range b {
		if b[w]&other[w] != 0 {
			return true
		}
	}
	return false
}

func (b bitset) within(other bitset) bool {
	for w := range b {
		if b[w]&^other[w] != 0 {
			return false
		}
	}
	return true
}

// next returns the smallest position from p on, -1 if there is none.
func (b bitset) next(p int) int {
	w := p >> 6
	if w >= len(b) {
		return -1
	}
	if rest := b[w] >> (p & 63); rest != 0 {
		return p + bits.TrailingZeros64(rest)
	}
	for w++; w < len(b); w++ {
		if b[w] != 0 {
			return w<<6 + bits.TrailingZeros64(b[w])
		}
	}
	return -1
}

// last returns the largest position, -1 of an empty set.
func (b bitset) last() int {
	for w := len(b) - 1; w >= 0; w-- {
		if b[w] != 0 {
			return w<<6 + 63 - bits.LeadingZeros64(b[w])
		}
	}
	return -1
}

// compare returns which set comes first, -1 or 1: the one that has the smallest
// position in which they differ; 0 for equal sets.
func (b bitset) compare(other bitset) int {
	for w := range b {
		if d := b[w] ^ other[w]; d != 0 {
			if b[w]>>bits.TrailingZeros64(d)&1 != 0 {
				return -1
			}
			return 1
		}
	}
	return 0
}
