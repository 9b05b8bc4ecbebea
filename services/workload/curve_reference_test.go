package workload_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/refsolve"
	"github.com/longlead/longlead/services/workload"
)

// TestOutsideCurvesOfSciPy compares best fits, their standard errors and chances with those of SciPy, which climbs, differentiates
// and integrates by other methods.
func TestOutsideCurvesOfSciPy(t *testing.T) {
	t.Parallel()
	const further = 6
	pace := workload.DefaultPace()
	priors := [2][2]float64{{toLogit(pace.Start), pace.StartSpread}, {toLogit(pace.Theta), pace.ThetaSpread}}
	records := [][]workload.Session{nil, scored(8, 8, 8, 8, 8), scored(8, 0, 0, 0, 0), scored(8, 2, 3, 5, 5, 6, 7), scored(1, 1)}
	source := rand.New(rand.NewPCG(5, 5))
	for range 20 {
		var sessions []workload.Session
		for n := range 1 + source.IntN(12) {
			trials := 1 + source.IntN(12)
			sessions = append(sessions, workload.Session{Number: n + 1, Trials: trials, Successes: source.IntN(trials + 1)})
		}
		records = append(records, sessions)
	}
	var cases []refsolve.CurveCase
	for _, sessions := range records {
		c := refsolve.CurveCase{Priors: priors, At: len(sessions) + further, Need: 8, Trials: 10, Sessions: [][3]int{}}
		for _, s := range sessions {
			c.Sessions = append(c.Sessions, [3]int{s.Number, s.Trials, s.Successes})
		}
		cases = append(cases, c)
	}
	fits, version := refsolve.FitCurves(t, cases)
	var off struct{ start, theta, startError, thetaError, chance float64 }
	for i, sessions := range records {
		s := lookAhead(t, course(further, eightOfTen, sessions)).Skills[0]
		off.start = max(off.start, math.Abs(s.Curve.Start-fits[i].Start))
		off.theta = max(off.theta, math.Abs(s.Curve.Theta-fits[i].Theta))
		off.startError = max(off.startError, math.Abs(s.Curve.StartError-fits[i].StartError))
		off.thetaError = max(off.thetaError, math.Abs(s.Curve.ThetaError-fits[i].ThetaError))
		off.chance = max(off.chance, math.Abs(s.Share.Mean-fits[i].Chance))
	}
	outside.Near(t, "chance of 8 of 10 after four sessions of 8 passes and 6 more", version, fits[1].Chance, lookAhead(t, course(further, eightOfTen, records[1])).All.Mean, 1e-5)
	for _, c := range []struct {
		what           string
		off, tolerance float64
	}{
		{"start", off.start, 1e-6}, {"theta", off.theta, 1e-6}, {"standard error of start", off.startError, 1e-5},
		{"standard error of theta", off.thetaError, 1e-5}, {"chance of 8 of 10", off.chance, 1e-5},
	} {
		outside.Near(t, fmt.Sprintf("learning curves of %d dogs, %s: largest difference", len(records), c.what), version, 0, c.off, c.tolerance)
	}
}
