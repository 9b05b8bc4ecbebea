package workload_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/workload"
)

func TestPaceFactor(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name     string
		observed workload.Observed
		tier     int
		want     float64
	}{
		{"nothing known", workload.Observed{}, 0, 1},
		{"standing without sessions", workload.Observed{Standing: 2}, 0, 1},
		{"breed alone", workload.Observed{}, 6, 1 - .1*workload.BreedPrior(6)},
		{"one session", workload.Observed{Standing: 1, Sessions: 1}, 0, 1 - .1*.91/1.91},
		{"ten sessions", workload.Observed{Standing: 1, Sessions: 10}, 0, 1 - .1*.91/1.01},
		{"ten slow sessions of a quick breed", workload.Observed{Standing: -1, Sessions: 10}, 1,
			1 + .1*.91/1.01 - .1*(1-.91/1.01)*workload.BreedPrior(1)},
		{"never more than a fifth", workload.Observed{Standing: math.Inf(1), Sessions: 1 << 20}, 0, 1 - .2*workload.OwnWeight(1<<20)},
		{"never less", workload.Observed{Standing: math.Inf(-1), Sessions: 1 << 20}, 0, 1 + .2*workload.OwnWeight(1<<20)},
		{"no number", workload.Observed{Standing: math.NaN(), Sessions: 3}, 0, 1},
		{"a tier that is none", workload.Observed{}, 9, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.InDelta(t, tt.want, workload.PaceFactor(tt.observed, tt.tier), 1e-12)
		})
	}
}

// TestObservedPaceChangesTheEstimate: what Estimate makes of an observed pace is the factor on its training minutes.
func TestObservedPaceChangesTheEstimate(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := easy()
		delete(in.Answers, workload.EarlierTraining)
		delete(in.Answers, workload.Excitable)
		in.BreedTier = rapid.IntRange(0, 6).Draw(t, "tier")
		in.Logged = workload.Logged{Sessions: 5, MeanScore: 95} // gives way to what was observed
		in.Observed = workload.Observed{Standing: rapid.Float64Range(-4, 4).Draw(t, "standing"), Sessions: rapid.IntRange(1, 40).Draw(t, "n")}
		factor := workload.PaceFactor(in.Observed, in.BreedTier)
		require.InDelta(t, 15+75*factor, estimate(t, in).Minutes, .5+1e-9)
		require.True(t, factor >= .8 && factor <= 1.2)
		quicker := in.Observed
		quicker.Standing += .5
		require.LessOrEqual(t, workload.PaceFactor(quicker, in.BreedTier), factor)
	})
	in := easy()
	in.Observed.Sessions = -1
	_, err := workload.Estimate(in)
	require.ErrorContains(t, err, "observed sessions -1")
}

func TestPaceRefuses(t *testing.T) {
	t.Parallel()
	require.NoError(t, workload.Pace{}.Validate(), "the zero value is the default")
	require.NoError(t, workload.DefaultPace().Validate())
	for _, tt := range []struct {
		pace workload.Pace
		want string
	}{
		{workload.Pace{Start: 1}, "typical pace: share passed at the start is 1: use 0.001 to 0.999"},
		{workload.Pace{StartSpread: -1}, "spread of the start"},
		{workload.Pace{Theta: math.NaN()}, "part closed by a session is NaN"},
		{workload.Pace{Theta: .95}, "part closed by a session is 0.95"},
		{workload.Pace{ThetaSpread: 4}, "spread of the part closed"},
		{workload.Pace{HoldStart: -2}, "hold at the start"},
		{workload.Pace{HoldStartSpread: .01}, "spread of the hold at the start"},
		{workload.Pace{HoldGrowth: math.Inf(1)}, "growth of holds"},
		{workload.Pace{HoldGrowthSpread: 3.1}, "spread of the growth of holds"},
	} {
		require.ErrorContains(t, tt.pace.Validate(), tt.want)
	}
}
