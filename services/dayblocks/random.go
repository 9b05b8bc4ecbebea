package dayblocks

import "math"

// random is the splitmix64 generator (Steele, Lea and Flood 2014): small, fast, and the same everywhere.
type random struct{ s uint64 }

func newRandom(seed uint64) *random {
	r := &random{seed*0x9e3779b97f4a7c15 + 1}
	r.next()
	return r
}

func (r *random) next() uint64 {
	r.s += 0x9e3779b97f4a7c15
	z := r.s
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// below gives a number from 0 to n-1; n must be positive and below 2^32.
func (r *random) below(n int) int { return int((r.next() >> 32) * uint64(n) >> 32) }

// exponential gives a number with mean 1.
func (r *random) exponential() float64 { return -math.Log(float64(r.next()>>11+1) / (1 << 53)) }
