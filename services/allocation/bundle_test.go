package allocation_test

import (
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// requireMix checks a step against its recount. near is how far the mix may be short of the model, as a share of what that promises, or of a point where it promises
// less: no plan is worth a part of a point.
func requireMix(t require.TestingT, x allocation.Mix, near float64) {
	require.InDelta(t, 0, x.Weights, 1e-6, "weights add up to one")
	require.InDelta(t, 0, x.Prices, 1e-6, "prices are those of the weights")
	require.LessOrEqual(t, x.Planes, 0, "planes that are not used are forgotten")
	if x.Solved {
		require.LessOrEqual(t, x.Short, near*max(1, x.Promise), "the mix is near the model")
	}
}

// TestBundleAgainstBruteForce holds the bundle method's bound against every plan, with households and soft levels.
func TestBundleAgainstBruteForce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawAny(t, 5)
		// With so few trainers the last sweep moves much of the mix: half a million problems came to a fifth at most.
		bundle, _ := allocation.BundleBounds(p, 20, func(x allocation.Mix) { requireMix(t, x, 0.5) })
		require.GreaterOrEqual(t, bundle, bruteForce(p))
	})
}

// TestBundleConverges compares it with the linear programme over schedules, whose optimum is the best schedule bound there is, where that is not met at once.
func TestBundleConverges(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		p, err := allocation.Generate("X", seed+1)
		require.NoError(t, err)
		promised := 0
		bundle, programme := allocation.BundleBounds(p, 60, func(x allocation.Mix) {
			requireMix(t, x, 0.1)
			if x.Solved && x.Promise > 0.01 {
				promised++
			}
		})
		require.Greater(t, promised, 10, "steps that were looked at")
		require.GreaterOrEqual(t, bundle, programme-1, "the programme ends within a point of the best")
		require.LessOrEqual(t, float64(bundle), 1.005*float64(programme))
		t.Logf("seed %d: %d by the bundle method, %d by the programme, %d steps", seed+1, bundle, programme, promised)
	}
}

// TestBundleNearEnd checks that steps end where the model is met and not before.
func TestBundleNearEnd(t *testing.T) {
	t.Parallel()
	p, err := allocation.Generate("X", 2)
	require.NoError(t, err)
	early, late := allocation.NearEnd(p, 1, 120, 400)
	require.False(t, early, "after one step much is left to gain")
	require.True(t, late, "after many steps less than a hundredth of 400 points is")
}

// TestGradedPricing cuts pricing short: the bound must hold all the same, and graded pricing must prove more.
func TestGradedPricing(t *testing.T) {
	t.Parallel()
	var asIs, graded int64
	for _, limit := range []int{30, 300} {
		for seed := range uint64(3) {
			p, err := allocation.Generate("T", seed+1)
			require.NoError(t, err)
			a, g, exact := allocation.ScheduleBounds(p, 10, limit)
			require.GreaterOrEqual(t, a, exact)
			require.GreaterOrEqual(t, g, exact)
			asIs, graded = asIs+a-exact, graded+g-exact
		}
	}
	require.Less(t, graded, asIs*3/4, "graded pricing proves more")
	t.Logf("left open: %d as it comes, %d graded", asIs, graded)
}

// TestPricingStops ends pricing wherever it asks whether to go on: between trainers, and within a search that takes long.
func TestPricingStops(t *testing.T) {
	t.Parallel()
	p, err := allocation.Generate("S", 1)
	require.NoError(t, err)
	asked, trainers, complete := allocation.StoppedPricing(p)
	require.Greater(t, asked, trainers, "searches ask as well")
	require.Zero(t, complete)
	t.Logf("%d trainers, asked %d times", trainers, asked)
}
