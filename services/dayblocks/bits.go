package dayblocks

import "math/bits"

// steps is a set of steps of the day.
type steps []uint64

func newSteps(n int) steps { return make(steps, (n+63)/64) }

func (s steps) has(k int) bool { return s[k>>6]>>(k&63)&1 != 0 }

// put sets or clears the steps [from, to).
func (s steps) put(from, to int, in bool) {
	for k := from; k < to; {
		word, at := k>>6, k&63
		n := min(64-at, to-k)
		mask := ^uint64(0) >> (64 - n) << at
		if in {
			s[word] |= mask
		} else {
			s[word] &^= mask
		}
		k += n
	}
}

func (s steps) keep(other steps) {
	for i := range s {
		s[i] &= other[i]
	}
}

func (s steps) join(other steps) {
	for i := range s {
		s[i] |= other[i]
	}
}

func (s steps) empty() bool {
	for _, w := range s {
		if w != 0 {
			return false
		}
	}
	return true
}

func (s steps) count() (n int) {
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

// countIn counts the steps in [from, to).
func (s steps) countIn(from, to int) (n int) {
	for k := from; k < to; {
		at := k & 63
		m := min(64-at, to-k)
		n += bits.OnesCount64(s[k>>6] >> at & (^uint64(0) >> (64 - m)))
		k += m
	}
	return n
}

// runs writes into out those steps at which n steps of s in a row begin.
func (s steps) runs(n int, out steps) {
	copy(out, s)
	for have := 1; have < n; {
		by := min(have, n-have)
		out.keepShifted(by)
		have += by
	}
}

// keepShifted keeps the steps k for which k+by is in the set as well.
func (s steps) keepShifted(by int) {
	word, at := by>>6, by&63
	for i := range s {
		var w uint64
		if i+word < len(s) {
			w = s[i+word] >> at
			if at > 0 && i+word+1 < len(s) {
				w |= s[i+word+1] << (64 - at)
			}
		}
		s[i] &= w
	}
}

// each calls f for every step, in order.
func (s steps) each(f func(k int)) {
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			f(i<<6 + bits.TrailingZeros64(w))
		}
	}
}
