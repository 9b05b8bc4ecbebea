package workload_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/workload"
)

// TestGridFindsNarrowTops: with hundreds of trials a session the density is a needle in the range that is searched. The chance is
// still that of a plain sum over a grid about the best fit.
func TestGridFindsNarrowTops(t *testing.T) {
	t.Parallel()
	pace := workload.DefaultPace()
	rapid.Check(t, func(t *rapid.T) {
		start, theta := rapid.Float64Range(.05, .6).Draw(t, "start"), rapid.Float64Range(.03, .3).Draw(t, "theta")
		trials := rapid.IntRange(50, 1000).Draw(t, "trials")
		var sessions []workload.Session
		for x := range rapid.IntRange(6, 25).Draw(t, "sessions") {
			sessions = append(sessions, workload.Session{Number: x + 1, Trials: trials,
				Successes: int(math.Round(float64(trials) * workload.LearningCurve(start, theta, x)))})
		}
		fit, err := workload.FitCurve(sessions, pace, 0)
		require.NoError(t, err)
		a, b := toLogit(fit.Start), toLogit(fit.Theta)
		reachA, reachB := 9*fit.StartError/(fit.Start*(1-fit.Start)), 9*fit.ThetaError/(fit.Theta*(1-fit.Theta))
		top := plainLog(sessions, pace, 0, a, b)
		const side = 80
		var sum, mean float64
		for i := range side {
			for j := range side {
				x, y := a+reachA*(2*float64(i)/(side-1)-1), b+reachB*(2*float64(j)/(side-1)-1)
				w := math.Exp(plainLog(sessions, pace, 0, x, y) - top)
				p := workload.LearningCurve(1/(1+math.Exp(-x)), 1/(1+math.Exp(-y)), len(sessions)+2)
				sum += w
				mean += w * (10*math.Pow(p, 9)*(1-p) + math.Pow(p, 10))
			}
		}
		o := lookAhead(t, course(2, workload.Target{Percent: 90}, sessions))
		require.InDelta(t, mean/sum, o.Skills[0].Share.Mean, 1e-4)
	})
}
