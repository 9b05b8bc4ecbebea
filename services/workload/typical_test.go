package workload_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/workload"
)

// slowSchool is a pace that differs from the default in everything.
var slowSchool = workload.Pace{Start: .12, StartSpread: .6, Theta: .05, ThetaSpread: .5, HoldStart: 5, HoldStartSpread: .4, HoldGrowth: .1, HoldGrowthSpread: .3}

// draw simulates records of 8 sessions with 8 trials and a hold, by the plain formulas.
func draw(source *rand.Rand, p workload.Pace, n int) []workload.PaceRecord {
	logit := func(x float64) float64 { return math.Log(x / (1 - x)) }
	records := make([]workload.PaceRecord, n)
	for i := range records {
		tier := source.IntN(7)
		learn, grow, narrow := logit(p.Theta), math.Log(p.HoldGrowth), 1.0
		if tier > 0 {
			learn, grow = learn+p.ThetaSpread*workload.BreedPrior(tier), grow+p.HoldGrowthSpread*workload.BreedPrior(tier)
			narrow = math.Sqrt(1 - workload.BreedShare)
		}
		a, b := logit(p.Start)+p.StartSpread*source.NormFloat64(), learn+narrow*p.ThetaSpread*source.NormFloat64()
		holdA, holdB := math.Log(p.HoldStart)+p.HoldStartSpread*source.NormFloat64(), grow+narrow*p.HoldGrowthSpread*source.NormFloat64()
		records[i] = workload.PaceRecord{HoldSeconds: 120, BreedTier: tier}
		for x := range 8 {
			s := workload.Session{Number: x + 1, Trials: 8}
			for range s.Trials {
				if source.Float64() < 1-1/(1+math.Exp(a))*math.Pow(1/(1+math.Exp(b)), float64(x)) {
					s.Successes++
				}
			}
			s.HoldSeconds = int(max(1, math.Round(min(120, math.Exp(holdA+math.Exp(holdB)*float64(x)+.35*source.NormFloat64())))))
			records[i].Sessions = append(records[i].Sessions, s)
		}
	}
	return records
}

// TestFitPaceFindsThePace: from the logs of 120 dogs of a slow school its pace is found again, and predictions that take it hold
// where those that take the default do not.
func TestFitPaceFindsThePace(t *testing.T) {
	t.Parallel()
	got, err := workload.FitPace(draw(rand.New(rand.NewPCG(5, 1)), slowSchool, 120), workload.Pace{})
	require.NoError(t, err)
	t.Logf("drawn with %+v, found %+v", slowSchool, got)
	for name, pair := range map[string][2]float64{"start": {slowSchool.Start, got.Start}, "theta": {slowSchool.Theta, got.Theta},
		"hold": {slowSchool.HoldStart, got.HoldStart}, "growth": {slowSchool.HoldGrowth, got.HoldGrowth}} {
		require.InEpsilon(t, pair[0], pair[1], .15, name)
	}
	// The default, which counts as ten dogs, lies apart from these: that widens the spreads, which few sessions of a dog say little about.
	for name, pair := range map[string][2]float64{"start": {slowSchool.StartSpread, got.StartSpread}, "theta": {slowSchool.ThetaSpread, got.ThetaSpread},
		"hold": {slowSchool.HoldStartSpread, got.HoldStartSpread}, "growth": {slowSchool.HoldGrowthSpread, got.HoldGrowthSpread}} {
		require.InEpsilon(t, pair[0], pair[1], .45, "spread of the "+name)
	}
	for assumed, holds := range map[workload.Pace]bool{got: true, {}: false} {
		tables, err := workload.Calibrate(workload.Calibration{Dogs: 1000, Seed: 2, True: slowSchool, Assumed: assumed})
		require.NoError(t, err)
		for _, table := range tables {
			wrong := 0
			for _, b := range table.Bands {
				if b.Judged() && !b.Holds() {
					wrong++
				}
			}
			require.Equal(t, holds, wrong == 0, table.String())
		}
	}
}

// TestFitPaceWithFewDogs: nobody leaves the pace that one starts from, and one dog changes it little.
func TestFitPaceWithFewDogs(t *testing.T) {
	t.Parallel()
	none, err := workload.FitPace(nil, workload.Pace{})
	require.NoError(t, err)
	requirePace(t, workload.DefaultPace(), none, 1e-9)
	idle, err := workload.FitPace([]workload.PaceRecord{{HoldSeconds: 60}, {Sessions: []workload.Session{{Number: 1}}}}, slowSchool)
	require.NoError(t, err)
	requirePace(t, slowSchool, idle, 1e-9)
	one, err := workload.FitPace(draw(rand.New(rand.NewPCG(5, 2)), slowSchool, 1), workload.Pace{})
	require.NoError(t, err)
	requirePace(t, workload.DefaultPace(), one, .35)
	require.NotEqual(t, workload.DefaultPace(), one)
}

// TestFitPaceIsRepeatable: the same records give the same to the last bit, and their order hardly matters.
func TestFitPaceIsRepeatable(t *testing.T) {
	t.Parallel()
	records := draw(rand.New(rand.NewPCG(5, 3)), slowSchool, 6)
	first, err := workload.FitPace(records, workload.Pace{})
	require.NoError(t, err)
	again, err := workload.FitPace(records, workload.Pace{})
	require.NoError(t, err)
	require.Equal(t, first, again)
	records[0], records[5] = records[5], records[0]
	turned, err := workload.FitPace(records, workload.Pace{})
	require.NoError(t, err)
	requirePace(t, first, turned, 1e-6)
}

func TestFitPaceRefuses(t *testing.T) {
	t.Parallel()
	_, err := workload.FitPace(nil, workload.Pace{Theta: 2})
	require.ErrorContains(t, err, "part closed by a session")
	_, err = workload.FitPace([]workload.PaceRecord{{}, {Sessions: []workload.Session{{Number: 1, Trials: 2, Successes: 3}}}}, workload.Pace{})
	require.ErrorContains(t, err, "record 2")
}

func requirePace(t *testing.T, want, got workload.Pace, part float64) {
	t.Helper()
	for i, pair := range [][2]float64{{want.Start, got.Start}, {want.StartSpread, got.StartSpread}, {want.Theta, got.Theta}, {want.ThetaSpread, got.ThetaSpread},
		{want.HoldStart, got.HoldStart}, {want.HoldStartSpread, got.HoldStartSpread}, {want.HoldGrowth, got.HoldGrowth}, {want.HoldGrowthSpread, got.HoldGrowthSpread}} {
		require.InEpsilon(t, pair[0], pair[1], part, i)
	}
}
