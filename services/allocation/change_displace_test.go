package allocation_test

import (
	"slices"
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDisplaceAndForceInAgainstBruteForce(t *testing.T) {
	t.Parallel()
	var forced, costly int
	rapid.Check(t, func(t *rapid.T) {
		p, soft := drawBusy(t)
		before, err := allocation.Solve(p, allocation.Options{})
		require.NoError(t, err)
		w, err := allocation.NewWeigher(p, before.Placements)
		require.NoError(t, err)
		for dog := range p.Dogs {
			if places(before.Placements, dog) {
				continue
			}
			best, others, possible := int64(-1<<40), int64(-1<<40), false
			everyPlan(p, func(plan []allocation.Placement, value int64) {
				if !places(plan, dog) {
					return
				}
				best, possible = max(best, value), true
				rest := slices.DeleteFunc(slices.Clone(plan), func(pl allocation.Placement) bool { return slices.Contains(w.Household(dog), pl.Dog) })
				without, err := allocation.Check(p, rest)
				require.NoError(t, err)
				if keeps(before.Placements, rest) && value > without {
					others = max(others, value)
				}
			})
			d, err := w.Displace(dog)
			require.NoError(t, err)
			if d == nil {
				continue
			}
			require.True(t, possible)
			require.True(t, places(d.Plan, dog))
			require.GreaterOrEqual(t, d.Cost, before.Value-best, "a displacement cannot beat the best plan with the dog")
			value, err := allocation.Check(p, d.Plan)
			require.NoError(t, err)
			require.Equal(t, before.Value-value, d.Cost)
			if !soft {
				require.GreaterOrEqual(t, value, others, "so small a search is complete: nobody better could be taken out")
			}
			for _, gone := range d.Gone {
				require.False(t, places(d.Plan, gone))
			}

			f, err := allocation.ForceIn(p, before, dog, d.Plan, allocation.Options{})
			require.NoError(t, err)
			require.True(t, places(f.Plan, dog))
			require.Equal(t, best, f.Value)
			require.Equal(t, best, f.Bound)
			require.Equal(t, before.Value-best, f.LostLeast)
			require.Equal(t, before.Value-best, f.LostMost)
			loose := before
			loose.Bound += rapid.Int64Range(0, 9).Draw(t, "loose")
			loose.Value, loose.Placements = value, d.Plan
			quick, err := allocation.ForceIn(p, loose, dog, d.Plan, allocation.Options{Iterations: 1})
			require.NoError(t, err)
			require.LessOrEqual(t, quick.LostLeast, quick.LostMost)
			require.LessOrEqual(t, quick.LostLeast, before.Value-best)
			require.GreaterOrEqual(t, quick.LostMost, before.Value-best)
			forced++
			if d.Cost > 0 {
				costly++
			}
		}
		_, err = allocation.ForceIn(p, before, len(p.Dogs), before.Placements, allocation.Options{})
		require.ErrorIs(t, err, allocation.ErrInvalid)
	})
	t.Logf("counts: forced %d, costly %d", forced, costly)
	require.Positive(t, forced)
	require.Positive(t, costly)
}

// BenchmarkWeigher measures the reasons for a whole wait list: the smallest changes and a displacement for each dog.
func BenchmarkWeigher(b *testing.B) {
	for _, size := range []string{"S", "M", "L"} {
		p := mustGenerate(b, size, 1)
		s, err := allocation.Solve(p, allocation.Options{Iterations: 2000, Threads: 2})
		require.NoError(b, err)
		b.Run(size, func(b *testing.B) {
			n := 0
			for b.Loop() {
				w, err := allocation.NewWeigher(p, s.Placements)
				require.NoError(b, err)
				n = 0
				for dog := range p.Dogs {
					if places(s.Placements, dog) {
						continue
					}
					_, err := w.Admissions(dog, nil)
					require.NoError(b, err)
					_, err = w.Displace(dog)
					require.NoError(b, err)
					n++
				}
			}
			b.ReportMetric(float64(n), "waiting")
		})
	}
}
