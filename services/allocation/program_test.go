package allocation

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestProgramIsOptimal checks the certificate of linear programming on random packing programmes: what is taken fits, no column
// gains at prices not below zero, and both sides are worth the same. Columns are added in three lots, to go on from a basis.
func TestProgramIsOptimal(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		rnd := newRandom(seed, 7)
		rows, cols := 2+rnd.below(40), 1+rnd.below(120)
		right := make([]float64, rows)
		for i := range right {
			right[i] = float64(rnd.below(6))
		}
		p := newProgram(right, rnd)
		for lot := range 3 {
			for range cols {
				var spans []rowSpan
				for r := range rows {
					if rnd.below(4) == 0 {
						to := min(rows, r+1+rnd.below(3))
						spans = append(spans, rowSpan{int32(r), int32(to), float64(1 + rnd.below(3))})
					}
				}
				if len(spans) > 0 {
					p.add(float64(rnd.below(50)-5), spans)
				}
			}
			p.solve(7, func() bool { return false }) // prices that pivots have kept up to date
			kept := append([]float64(nil), p.price...)
			p.setPrices()
			require.InDeltaSlice(t, p.price, kept, 1e-6, "seed %d lot %d", seed, lot)
			require.True(t, p.solve(100_000, func() bool { return false }), "seed %d lot %d", seed, lot)
			requireOptimal(t, p)
		}
	}
}

func requireOptimal(t *testing.T, p *program) {
	t.Helper()
	left := append([]float64(nil), p.right...)
	value, price := 0.0, 0.0
	for c := range p.cost {
		x := p.taken(int32(c))
		require.GreaterOrEqual(t, x, -1e-6)
		value += x * p.cost[c]
		require.LessOrEqual(t, p.gain(int32(c)), 1e-6)
		for _, s := range p.spans(int32(c)) {
			for r := s.from; r < s.to; r++ {
				left[r] -= x * s.use
			}
		}
	}
	for r := range left {
		require.GreaterOrEqual(t, left[r], -1e-6)
		require.GreaterOrEqual(t, p.price[r], -1e-6)
		price += p.price[r] * p.right[r]
	}
	require.InDelta(t, price, value, 1e-5*math.Max(1, math.Abs(value)))
	require.InDelta(t, value, p.value(), 1e-6*math.Max(1, math.Abs(value)))
}
