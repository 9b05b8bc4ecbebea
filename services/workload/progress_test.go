package workload_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/workload"
)

func TestOutsideLearningCurve(t *testing.T) {
	t.Parallel()
	const source = "Bush-Mosteller / Rescorla-Wagner p(n+1)=p+theta(1-p) (from memory), computed step by step, theta 0.1"
	for _, tt := range []struct {
		n    int
		want float64
	}{{5, .4095}, {10, .6513}, {20, .8784}, {22, .9015}, {30, .9576}} {
		outside.Near(t, fmt.Sprintf("learning curve after %d sessions", tt.n), source, tt.want, workload.LearningCurve(0, .1, tt.n), .00005)
	}
	n, ok := workload.SessionsTo(0, .1, .9)
	require.True(t, ok)
	outside.Check(t, "sessions to reach 90 %", source, 22, n)
}

func TestOutsideWilson(t *testing.T) {
	t.Parallel()
	const source = "Wilson 1927 score interval, 95 %, computed from the published formula (from memory)"
	for _, tt := range []struct {
		passes, n int
		low, high float64
	}{
		{8, 10, .4902, .9433}, {9, 10, .5958, .9821}, {10, 10, .7225, 1}, {18, 20, .6990, .9721}, {27, 30, .7438, .9654}, {0, 10, 0, .2775},
	} {
		low, high := workload.Wilson(tt.passes, tt.n, workload.Z95)
		name := fmt.Sprintf("Wilson %d of %d", tt.passes, tt.n)
		outside.Near(t, name+", lower", source, tt.low, low, .00005)
		outside.Near(t, name+", upper", source, tt.high, high, .00005)
	}
}

func TestWilsonProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		low, high := workload.Wilson(k, n, workload.Z95)
		rate := float64(k) / float64(n)
		require.LessOrEqual(t, 0.0, low)
		require.LessOrEqual(t, low, rate)
		require.LessOrEqual(t, rate, high)
		require.LessOrEqual(t, high, 1.0)
		// The bounds are by definition the rates p at which k/n lies z standard errors away.
		for _, p := range []float64{low, high} {
			if p > 0 && p < 1 {
				require.InDelta(t, workload.Z95, math.Abs(rate-p)/math.Sqrt(p*(1-p)/float64(n)), 1e-9)
			}
		}
		mirrorLow, mirrorHigh := workload.Wilson(n-k, n, workload.Z95)
		require.InDelta(t, low, 1-mirrorHigh, 1e-12)
		require.InDelta(t, high, 1-mirrorLow, 1e-12)
		if k < n {
			better, _ := workload.Wilson(k+1, n, workload.Z95)
			require.Greater(t, better, low)
		}
	})
	for _, bad := range [][2]int{{0, 0}, {-1, 3}, {4, 3}} {
		low, high := workload.Wilson(bad[0], bad[1], workload.Z95)
		require.Equal(t, [2]float64{0, 1}, [2]float64{low, high})
	}
}

func TestSessionsToProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p0 := rapid.Float64Range(0, 1).Draw(t, "p0")
		theta := rapid.Float64Range(.005, 1).Draw(t, "theta")
		target := rapid.Float64Range(.01, .99).Draw(t, "target")
		n, ok := workload.SessionsTo(p0, theta, target)
		require.True(t, ok)
		// Step by step, as the formula is written.
		p, steps := p0, 0
		for p < target-1e-12 {
			p += theta * (1 - p)
			steps++
		}
		require.InDelta(t, steps, n, 0, "p0 %v theta %v target %v", p0, theta, target)
	})
}

func TestSessionsToNever(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		p0, theta, target float64
		n                 int
		ok                bool
	}{
		{.2, 0, .9, 0, false},
		{.2, .1, 1, 0, false},
		{.2, .1, 1.5, 0, false},
		{.2, 1, 1, 1, true},
		{.95, 0, .9, 0, true},
	} {
		n, ok := workload.SessionsTo(tt.p0, tt.theta, tt.target)
		require.Equal(t, tt.ok, ok, tt)
		require.Equal(t, tt.n, n, tt)
	}
}

func TestJudge(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name                 string
		passes, n, mark      int
		want                 workload.Readiness
		low, high            int
		wantText, wantAbsent string
	}{
		{"all of ten", 10, 10, 0, workload.Ready, 72, 100, "65 % is asked for", "say little"},
		{"nine of ten", 9, 10, 0, workload.NotYet, 59, 99, "9 of 10 passed", "say little"},
		{"eighteen of twenty", 18, 20, 0, workload.Ready, 69, 98, "", "say little"},
		{"eighteen of twenty for 70", 18, 20, 70, workload.NotYet, 69, 98, "70 % is asked for", "say little"},
		{"three of three", 3, 3, 0, workload.TooFew, 43, 100, "Fewer than 8 trials say little", ""},
		{"three of three for 40", 3, 3, 40, workload.Ready, 43, 100, "Fewer than 8 trials say little", ""},
		{"none yet", 0, 0, 0, workload.TooFew, 0, 100, "say little", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p, err := workload.Judge(tt.passes, tt.n, tt.mark)
			require.NoError(t, err)
			require.Equal(t, tt.want, p.State)
			require.Equal(t, [2]int{tt.low, tt.high}, [2]int{p.LowPercent, p.HighPercent})
			require.Contains(t, p.Text, tt.wantText)
			if tt.wantAbsent != "" {
				require.NotContains(t, p.Text, tt.wantAbsent)
			}
		})
	}
	for _, bad := range [][3]int{{5, 4, 0}, {-1, 4, 0}, {0, -1, 0}, {3, 4, 100}, {3, 4, -5}} {
		_, err := workload.Judge(bad[0], bad[1], bad[2])
		require.Error(t, err, bad)
	}
}

func TestOutsideCareStaff(t *testing.T) {
	t.Parallel()
	const source = "NACA/HSUS 15 min an animal a day, cited by ASV 2010; staff = N x 15/60 / 3 h, computed"
	for _, tt := range []struct{ dogs, minutes, staff int }{{12, 180, 1}, {20, 300, 2}, {48, 720, 4}, {250, 3750, 21}} {
		outside.Check(t, fmt.Sprintf("care minutes of %d dogs", tt.dogs), source, tt.minutes, tt.dogs*workload.CareMinutes)
		outside.Check(t, fmt.Sprintf("care staff of %d dogs in 3 h", tt.dogs), source, tt.staff, workload.CareStaff(tt.dogs, 180))
	}
	require.Zero(t, workload.CareStaff(0, 180))
	require.Zero(t, workload.CareStaff(10, 0))
	require.Equal(t, 2, workload.CareStaff(13, 180), "13 dogs are 195 minutes")
}

func TestOutsideLittle(t *testing.T) {
	t.Parallel()
	const source = "Little's law L = lambda W, computed"
	for _, tt := range []struct {
		name        string
		perDay, los float64
		want        float64
	}{
		{"6 intakes a week, 21 days", 6.0 / 7, 21, 18},
		{"1.5 a day, 14 days", 1.5, 14, 21},
		{"10 a week, 17.5 days", 10.0 / 7, 17.5, 25},
	} {
		outside.Near(t, "dogs present: "+tt.name, source, tt.want, workload.Population(tt.perDay, tt.los), 1e-9)
	}
	outside.Near(t, "same intake, stay 8 to 12 days: population grows by", "UF shelter course, example of length of stay",
		1.5, workload.Population(2, 12)/workload.Population(2, 8), 1e-12)
	const cats = "Million Cat Challenge, example of length of stay"
	outside.Near(t, "10 animals, 1 leaves a day: mean stay", cats, 10, workload.MeanStay(10, 1), 1e-12)
	outside.Near(t, "30 animals, 1 leaves a day: mean stay", cats, 30, workload.MeanStay(30, 1), 1e-12)
	require.Zero(t, workload.MeanStay(10, 0))
}

func TestOutsideTrainerDay(t *testing.T) {
	t.Parallel()
	const source = "capacity arithmetic from trade figures: 480 paid - 30 meal - 30 rest; common practice, no source"
	day := workload.WorkingMinutes(480, 30, 30)
	outside.Check(t, "working minutes", source, 420, day)
	outside.Check(t, "minutes of 3 sessions of 20", source, 90, workload.BaseMinutes(3, 20))
	outside.Check(t, "minutes of 2 sessions of 15", source, 55, workload.BaseMinutes(2, 15))
	outside.Check(t, "dogs at 90 minutes", source, 4, workload.DogsInHand(day, 0, 90))
	outside.Check(t, "dogs at 55 minutes (7 a day also stated by a guide-dog school)", source, 7, workload.DogsInHand(day, 0, 55))
	outside.Check(t, "dogs at 90 minutes beside a handover and an intake of 60 each", source, 3, workload.DogsInHand(day, 120, 90))
	require.Zero(t, workload.DogsInHand(60, 90, 30))
	require.Zero(t, workload.DogsInHand(60, 0, 0))
	require.Zero(t, workload.WorkingMinutes(30, 30, 30))
}
