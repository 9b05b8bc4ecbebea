package allocation_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
)

// Rebuilding groups of trainers gains on a greedy plan, and whatever else is in the problem, Check counts the same value.
func TestRebuildingKeepsEveryRule(t *testing.T) {
	seeds := uint64(3)
	if raceDetector {
		seeds = 1
	}
	for seed := range seeds {
		p, err := allocation.Generate("S", seed)
		require.NoError(t, err)
		for d := 0; d+1 < len(p.Dogs); d += 12 { // households
			p.Dogs[d+1].Placements, p.Dogs[d+1].Nights = p.Dogs[d].Placements, p.Dogs[d].Nights
			p.Together = append(p.Together, []int{d, d + 1})
		}
		if seed == 1 {
			allocation.EvenLoad(p, 75, 15, 2)
		}
		for i := range p.Sites {
			p.Sites[i].CleanDown = i
		}
		before, after, plan := allocation.RebuildSome(p, 6)
		value, err := allocation.Check(p, plan)
		require.NoError(t, err)
		require.Equal(t, after, value)
		require.Greater(t, after, before)
	}
}
