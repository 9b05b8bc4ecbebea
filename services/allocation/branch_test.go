package allocation_test

import (
	"sync/atomic"
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestBranchingAgainstBruteForce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 4)
		want := bruteForce(p)
		value, bound, root, _ := allocation.SolveByBranching(p, 0)
		require.Equal(t, want, value)
		require.Equal(t, want, bound)
		require.GreaterOrEqual(t, root, want, "the bound at the root holds")
	})
}

// Dropping stays with a plan in hand must leave every better plan possible.
func TestPruningKeepsBetterPlans(t *testing.T) {
	t.Parallel()
	var dropped atomic.Int64
	check := func(t *rapid.T) {
		p := drawProblem(t, 4)
		if allocation.Parts(p) != 1 {
			return
		}
		want := bruteForce(p)
		known := max(0, want-rapid.Int64Range(1, 6).Draw(t, "short of the best"))
		value, bound, _, n := allocation.SolveByBranching(p, known)
		require.Equal(t, want, value)
		require.Equal(t, want, bound)
		dropped.Add(int64(n))
	}
	for range 6 { // stays are dropped in three problems of a hundred: a single check would have none in one run of twenty
		rapid.Check(t, check)
	}
	require.Positive(t, dropped.Load(), "some stays are dropped")
}

// TestForcedAgainstEverySchedule holds the bounds by which stays are dropped against every schedule, at prices found for other values, as they are
// when stays that were worth something no longer are.
func TestForcedAgainstEverySchedule(t *testing.T) {
	t.Parallel()
	var known, priced atomic.Int64
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 5)
		if allocation.Parts(p) != 1 {
			return
		}
		stays := 0
		for _, d := range p.Dogs {
			stays += len(d.Placements)
		}
		draw := func(label string, low int64) func(int) int64 {
			list := rapid.SliceOfN(rapid.Int64Range(low, 30), stays, stays).Draw(t, label)
			return func(i int) int64 { return list[i] }
		}
		for trainer := range 10 * len(p.Trainers) {
			trainer %= len(p.Trainers)
			bounds, brute := allocation.ForcedBounds(p, trainer, draw("worth before", 0), draw("worth", -30))
			for i, bound := range bounds {
				require.GreaterOrEqual(t, bound, brute[i], "trainer %d, stay %d", trainer, i)
				known.Add(1)
				if bound == brute[i] {
					priced.Add(1)
				}
			}
		}
	})
	require.Positive(t, known.Load())
	require.Positive(t, priced.Load(), "some bounds are met")
}

func TestPricingAgainstEverySchedule(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 4)
		p.Together = nil
		if len(p.Sites) > 1 {
			p.Sites = p.Sites[:1]
			kept := p.Trainers[:0]
			for _, tr := range p.Trainers {
				tr.Site = 0
				kept = append(kept, tr)
			}
			p.Trainers, p.Dogs = kept, nil
			for range rapid.IntRange(1, 4).Draw(t, "dogs again") {
				p.Dogs = append(p.Dogs, drawDog(t, p))
			}
		}
		if rapid.Bool().Draw(t, "soft levels") {
			drawEasy(t, p)
		}
		stays := 0
		for _, d := range p.Dogs {
			stays += len(d.Placements)
		}
		if stays == 0 {
			return
		}
		worth := rapid.SliceOfN(rapid.Int64Range(-5, 30), stays, stays).Draw(t, "worth")
		level := rapid.SliceOfN(rapid.Int64Range(0, 1000), p.Days, p.Days).Draw(t, "prices of soft levels")
		for trainer := range p.Trainers {
			found, proven, brute := allocation.PriceSchedule(p, trainer, func(i int) int64 { return worth[i] }, func(k int) int64 { return level[k] })
			require.Equal(t, brute, found)
			require.Equal(t, brute, proven)
		}
	})
}
