package workload_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/workload"
)

// scored makes sessions of so many trials each, from the first on.
func scored(trials int, successes ...int) []workload.Session {
	var sessions []workload.Session
	for i, k := range successes {
		sessions = append(sessions, workload.Session{Number: i + 1, Trials: trials, Successes: k})
	}
	return sessions
}

// plainLog is the logarithm of likelihood times prior, written down once more without any of the shortcuts.
func plainLog(sessions []workload.Session, p workload.Pace, tier int, a, b float64) float64 {
	meanB, spreadB := math.Log(p.Theta/(1-p.Theta)), p.ThetaSpread
	if tier > 0 {
		meanB, spreadB = meanB+p.ThetaSpread*workload.BreedPrior(tier), p.ThetaSpread*math.Sqrt(1-workload.BreedShare)
	}
	za, zb := (a-math.Log(p.Start/(1-p.Start)))/p.StartSpread, (b-meanB)/spreadB
	sum := -za*za/2 - zb*zb/2
	for _, s := range sessions {
		rate := workload.LearningCurve(1/(1+math.Exp(-a)), 1/(1+math.Exp(-b)), s.Number-1)
		sum += float64(s.Successes)*math.Log(rate) + float64(s.Trials-s.Successes)*math.Log(1-rate)
	}
	return sum
}

func toLogit(p float64) float64 { return math.Log(p / (1 - p)) }

func anySessions(t *rapid.T, most int) []workload.Session {
	var sessions []workload.Session
	number := 0
	for range rapid.IntRange(0, most).Draw(t, "sessions") {
		number += rapid.IntRange(0, 2).Draw(t, "gap")
		n := rapid.IntRange(0, 12).Draw(t, "trials")
		sessions = append(sessions, workload.Session{Number: max(1, number), Trials: n, Successes: rapid.IntRange(0, n).Draw(t, "successes"),
			HoldSeconds: rapid.IntRange(0, 90).Draw(t, "hold")})
	}
	return sessions
}

// TestFitIsTheTop: at the fit the gradient of the plain formula, taken by differences, is zero, no other point tried is higher, and
// the standard errors are those of the plain formula's curvature.
func TestFitIsTheTop(t *testing.T) {
	t.Parallel()
	pace := workload.DefaultPace()
	rapid.Check(t, func(t *rapid.T) {
		sessions := anySessions(t, 15)
		tier := rapid.IntRange(0, 6).Draw(t, "tier")
		fit, err := workload.FitCurve(sessions, pace, tier)
		require.NoError(t, err)
		a, b := toLogit(fit.Start), toLogit(fit.Theta)
		at := func(da, db float64) float64 { return plainLog(sessions, pace, tier, a+da, b+db) }
		const h = 1e-4
		top := at(0, 0)
		require.InDelta(t, 0, (at(h, 0)-at(-h, 0))/(2*h), 1e-4)
		require.InDelta(t, 0, (at(0, h)-at(0, -h))/(2*h), 1e-4)
		for _, d := range [][2]float64{{.3, 0}, {-.3, 0}, {0, .3}, {0, -.3}, {1, -1}, {-1, 1}, {2, 2}, {-2, -2}} {
			require.LessOrEqual(t, at(d[0], d[1]), top+1e-9, d)
		}
		aa, bb := (at(h, 0)-2*top+at(-h, 0))/(h*h), (at(0, h)-2*top+at(0, -h))/(h*h)
		ab := (at(h, h) - at(h, -h) - at(-h, h) + at(-h, -h)) / (4 * h * h)
		det := aa*bb - ab*ab
		require.InEpsilon(t, math.Sqrt(-bb/det)*fit.Start*(1-fit.Start), fit.StartError, 1e-3)
		require.InEpsilon(t, math.Sqrt(-aa/det)*fit.Theta*(1-fit.Theta), fit.ThetaError, 1e-3)
		require.InDelta(t, (b-toLogit(pace.Theta))/pace.ThetaSpread, fit.Standing, 1e-9)
	})
}

func TestFitCurve(t *testing.T) {
	t.Parallel()
	fit := func(s []workload.Session, tier int) workload.Curve {
		c, err := workload.FitCurve(s, workload.Pace{}, tier)
		require.NoError(t, err)
		return c
	}
	typical := fit(nil, 0)
	require.InDelta(t, .2, typical.Start, 1e-9, "no record is the typical dog")
	require.InDelta(t, .1, typical.Theta, 1e-9)
	require.InDelta(t, .1*.9*.8, typical.ThetaError, 1e-9, "as uncertain as dogs differ")
	require.Equal(t, typical, fit([]workload.Session{{Number: 4}}, 0), "a session without a score says nothing")

	pass, none := fit(scored(10, 10, 10, 10, 10), 0), fit(scored(10, 0, 0, 0, 0), 0)
	require.True(t, pass.Start > .8 && pass.Start < 1 && pass.Theta > typical.Theta, "%+v", pass)
	require.True(t, none.Start < .1 && none.Start > 0 && none.Theta < typical.Theta && none.Theta > 0, "%+v", none)

	quick, slow := fit(nil, 1), fit(nil, 6)
	require.Greater(t, quick.Theta, slow.Theta)
	require.InDelta(t, workload.BreedPrior(1), quick.Standing, 1e-9, "a breed counts .30 of its standing before the dog is known")
	own := scored(10, 2, 3, 4, 4, 5, 5, 6, 6)
	require.Less(t, math.Abs(fit(own, 1).Standing-fit(own, 6).Standing), .5*(quick.Standing-slow.Standing), "the dog's record outweighs its breed")

	// A curve that is followed exactly by many trials is found again.
	var exact []workload.Session
	for x := range 20 {
		exact = append(exact, workload.Session{Number: x + 1, Trials: 1000, Successes: int(math.Round(1000 * workload.LearningCurve(.15, .07, x)))})
	}
	found := fit(exact, 0)
	require.InDelta(t, .15, found.Start, .003)
	require.InDelta(t, .07, found.Theta, .001)
	require.Less(t, found.ThetaError, .002)

	for _, tt := range []struct {
		session workload.Session
		want    string
	}{
		{workload.Session{Number: 0}, "session 0: number 0: use 1 to 10000"},
		{workload.Session{Number: 2, Trials: -1}, "session 2: trials -1"},
		{workload.Session{Number: 2, Trials: 3, Successes: 4}, "session 2: successes 4: use 0 to 3"},
		{workload.Session{Number: 2, HoldSeconds: 3601}, "session 2: hold in seconds 3601"},
	} {
		_, err := workload.FitCurve([]workload.Session{tt.session}, workload.Pace{}, 0)
		require.ErrorContains(t, err, tt.want)
	}
	_, err := workload.FitCurve(nil, workload.Pace{Theta: 1}, 0)
	require.ErrorContains(t, err, "typical pace")
}

// course is a dog with one skill.
func course(days int, target workload.Target, sessions []workload.Session) workload.Course {
	return workload.Course{DaysLeft: days, SessionsPerDay: 1, Skills: []workload.SkillRecord{{Name: "heel", Target: target, Sessions: sessions}}}
}

func lookAhead(t require.TestingT, c workload.Course) workload.Outlook {
	o, err := workload.LookAhead(c)
	require.NoError(t, err)
	return o
}

// TestChanceIsThePlainAverage: the chance and its interval are those of a plain sum over a far finer and wider grid.
func TestChanceIsThePlainAverage(t *testing.T) {
	t.Parallel()
	pace := workload.DefaultPace()
	for name, sessions := range map[string][]workload.Session{
		"nothing": nil, "one trial": {{Number: 1, Trials: 1, Successes: 1}}, "mixed": scored(8, 2, 3, 3, 5, 4, 6),
		"all pass": scored(6, 6, 6, 6), "all fail": scored(6, 0, 0, 0), "many": scored(60, 10, 18, 22, 30, 33, 36, 40, 44),
		"from the middle on": {{Number: 12, Trials: 30, Successes: 15}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			const tier, need, trials, side = 2, 8, 10, 500
			at := 6
			for _, s := range sessions {
				at = max(at, s.Number+6)
			}
			var sum, mean float64
			weights := map[int]float64{} // of the chance in thousandths
			for i := range side {
				a := toLogit(pace.Start) + (float64(i)/(side-1)*14-7)*pace.StartSpread
				for j := range side {
					b := toLogit(pace.Theta) + (float64(j)/(side-1)*14-7)*pace.ThetaSpread
					w := math.Exp(plainLog(sessions, pace, tier, a, b))
					p := workload.LearningCurve(1/(1+math.Exp(-a)), 1/(1+math.Exp(-b)), at)
					chance := 45*math.Pow(p, 8)*math.Pow(1-p, 2) + 10*math.Pow(p, 9)*(1-p) + math.Pow(p, 10)
					sum += w
					mean += w * chance
					weights[int(chance*1000)] += w
				}
			}
			quantile := func(part float64) float64 {
				var below float64
				for v := range 1001 {
					if below += weights[v]; below >= part*sum {
						return float64(v) / 1000
					}
				}
				return 1
			}
			c := course(6, workload.Target{Percent: 80}, sessions)
			c.BreedTier = tier
			share := lookAhead(t, c).Skills[0].Share
			t.Logf("%+v, off %.6f %.4f %.4f", share, share.Mean-mean/sum, share.Low-quantile(.025), share.High-quantile(.975))
			require.InDelta(t, mean/sum, share.Mean, 1e-5)
			require.InDelta(t, quantile(.025), share.Low, .02)
			require.InDelta(t, quantile(.975), share.High, .02)
		})
	}
}
