package refsolve_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/refsolve"
)

const limit = 2 * time.Minute

var solvers = []refsolve.Solver{refsolve.HiGHS, refsolve.CPSAT}

// TestOneRuleAtATime has problems of two or three dogs whose optimum can be worked out by hand and hangs on a single rule. Both
// solvers get the same programme, so one of them is enough here.
func TestOneRuleAtATime(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(p *allocation.Problem)
		want   int64
	}{
		{"room for all", func(*allocation.Problem) {}, 30},
		{"one intake place", func(p *allocation.Problem) { p.Sites[0].Intake[0] = 1 }, 20},
		{"one handover place", func(p *allocation.Problem) { p.Sites[0].Handover[2] = 1 }, 20},
		{"one run on the second night", func(p *allocation.Problem) { p.Sites[0].Runs[0].Capacity[1] = 1 }, 20},
		{"the run is free on the departure day", func(p *allocation.Problem) { p.Sites[0].Runs[0].Capacity[2] = 0 }, 30},
		{"the run is cleaned on the departure day", func(p *allocation.Problem) {
			p.Sites[0].Runs[0].Capacity[2], p.Sites[0].CleanDown = 1, 1
		}, 20},
		{"cleaning is cut off at the horizon", func(p *allocation.Problem) { p.Sites[0].CleanDown = 9 }, 30},
		{"one dog in hand", func(p *allocation.Problem) { p.Trainers[0].Dogs[1] = 1 }, 20},
		{"no dog in hand on a day off", func(p *allocation.Problem) {
			p.Trainers[0].Dogs[1], p.Trainers[0].Works[1] = 0, false
		}, 30},
		{"minutes for one dog", func(p *allocation.Problem) { p.Trainers[0].Minutes[0] = 119 }, 20},
		{"minutes just enough", func(p *allocation.Problem) { p.Trainers[0].Minutes[0] = 120 }, 30},
		{"site minutes for one dog", func(p *allocation.Problem) { p.Sites[0].Minutes = []int{119, 120, 0, 0} }, 20},
		{"cover on the day off for one dog", func(p *allocation.Problem) {
			p.Trainers[0].Works[1] = false
			p.Sites[0].Minutes = []int{120, 19, 0, 0}
		}, 20},
		{"cover on the day off for both", func(p *allocation.Problem) {
			p.Trainers[0].Works[1] = false
			p.Sites[0].Minutes = []int{120, 20, 0, 0}
		}, 30},
		{"a household that does not fit stays at home", func(p *allocation.Problem) {
			p.Together = [][]int{{0, 1}}
			p.Sites[0].Intake[0] = 1
		}, 0},
		{"a household never splits over two days", func(p *allocation.Problem) {
			p.Together = [][]int{{0, 1}}
			later := p.Dogs[1].Placements[0]
			later.Arrival = 1
			p.Dogs[1].Placements = []allocation.Group{later}
		}, 0},
		{"penalties are taken off", func(p *allocation.Problem) {
			p.Dogs[0].Placements[0].Runs = []allocation.RunOption{{Class: 0, Penalty: 3}}
			p.Dogs[0].Placements[0].Trainers = []allocation.TrainerOption{{Trainer: 0, Penalty: 4, Minutes: 60}}
		}, 23},
		{"a placement worth less than nothing is not taken", func(p *allocation.Problem) { p.Dogs[0].Placements[0].Value = -1 }, 20},
		{"one intake place is easy", func(p *allocation.Problem) {
			p.Sites[0].EasyIntake = &allocation.Easy{Upto: []int{1, 0, 0}, Over: 4}
		}, 26},
		{"one handover place is easy", func(p *allocation.Problem) {
			p.Sites[0].EasyHandover = &allocation.Easy{Upto: []int{0, 0, 1, 0}, Over: 11}
		}, 20},
		{"half an hour over on one of two days", func(p *allocation.Problem) {
			p.Trainers[0].Easy = &allocation.Easy{Upto: []int{6, 8, 0}, Over: 3, Unit: 15}
		}, 24},
		{"minutes count in units, half of one upwards", func(p *allocation.Problem) {
			p.Trainers[0].Easy = &allocation.Easy{Upto: []int{3, 4, 0}, Over: 1, Unit: 40}
		}, 29},
		{"less than half a unit does not count", func(p *allocation.Problem) {
			p.Trainers[0].Easy = &allocation.Easy{Upto: []int{2, 0, 0}, Over: 1, Unit: 121}
			p.Trainers[0].Works[1] = false
		}, 30},
		{"no level counts on a day off", func(p *allocation.Problem) {
			p.Trainers[0].Works[1] = false
			p.Trainers[0].Easy = &allocation.Easy{Upto: []int{120, 0, 0}, Over: 1}
		}, 30},
		{"site minutes over a level, cover included", func(p *allocation.Problem) {
			p.Trainers[0].Works[1] = false
			p.Sites[0].Minutes = []int{120, 20, 0}
			p.Sites[0].EasyMinutes = &allocation.Easy{Upto: []int{119, 15, 0}, Over: 1}
		}, 24},
		{"nobody to place", func(p *allocation.Problem) { p.Dogs = nil }, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := twoDogs()
			tt.change(p)
			require.NoError(t, p.Validate())
			r := refsolve.Solve(t, p, refsolve.HiGHS, limit)
			require.True(t, r.Optimal)
			require.Equal(t, tt.want, r.Value)
			require.Equal(t, tt.want, r.Bound)
		})
	}
}

// twoDogs has room for two dogs, worth 10 and 20, for the nights 0 and 1 with one trainer and one class of run.
func twoDogs() *allocation.Problem {
	p := &allocation.Problem{Name: "two dogs", Days: 4,
		Sites: []allocation.Site{{Name: "only", Runs: []allocation.RunClass{{Class: "M", Capacity: []int{2, 2, 2}}},
			Intake: []int{2, 2, 2}, Handover: []int{2, 2, 2, 2}}},
		Trainers: []allocation.Trainer{{Works: []bool{true, true, true}, Minutes: []int{200, 200, 200}, Dogs: []int{2, 2, 2}}}}
	for _, value := range []int{10, 20} {
		p.Dogs = append(p.Dogs, allocation.Dog{Nights: 2, Placements: []allocation.Group{{Value: value,
			Runs: []allocation.RunOption{{}}, Trainers: []allocation.TrainerOption{{Minutes: 60, Cover: 10}}}}})
	}
	return p
}

// TestOptimumOfRandomProblems compares the proven optimum of our engine with those of two solvers that share no code with it.
func TestOptimumOfRandomProblems(t *testing.T) {
	t.Parallel()
	for seed := range uint64(24) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			p := randomProblem(seed / 2)
			if seed%2 == 1 { // the same again with soft levels
				p = withSoftLevels(p, seed)
			}
			require.NoError(t, p.Validate())
			var reference [2]refsolve.Result
			for i, solver := range solvers {
				reference[i] = refsolve.Solve(t, p, solver, limit)
				require.True(t, reference[i].Optimal, solver)
				require.Equal(t, reference[i].Value, reference[i].Bound, solver)
			}
			require.Equal(t, reference[0].Value, reference[1].Value, "the two solvers differ")
			require.Positive(t, reference[0].Value, "a problem in which nothing can be placed shows nothing")

			ours, err := allocation.Solve(p, allocation.Options{Seed: seed, Limit: limit})
			require.NoError(t, err)
			counted, err := allocation.Check(p, ours.Placements)
			require.NoError(t, err)
			require.Equal(t, ours.Value, counted)
			require.Equal(t, allocation.Optimal, ours.Status)
			require.Equal(t, ours.Value, ours.Bound)
			for _, r := range reference {
				outside.Check(t, fmt.Sprintf("optimum of random problem %d (%d dogs)", seed, len(p.Dogs)), r.Version, r.Value, ours.Value)
			}
		})
	}
}
