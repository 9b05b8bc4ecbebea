package allocation_test

import (
	"testing"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
)

// inn is a school that can be worked out by hand: one site with one small run and two large ones, four days, one trainer who has
// 60 minutes a day and is off on day 1, and three dogs of two nights that want to come on day 0 or 1.
func inn() *allocation.Problem {
	dog := func(value int) allocation.Dog {
		d := allocation.Dog{Nights: 2}
		for arrival := range 2 {
			d.Placements = append(d.Placements, allocation.Group{Arrival: arrival, Value: value - arrival,
				Runs:     []allocation.RunOption{{Class: 0}, {Class: 1, Penalty: 2}},
				Trainers: []allocation.TrainerOption{{Trainer: 0, Penalty: 1, Minutes: 30, Cover: 10}}})
		}
		return d
	}
	return &allocation.Problem{Days: 4,
		Sites: []allocation.Site{{Name: "inn", Intake: []int{2, 2, 2}, Handover: []int{0, 0, 2, 2}, Minutes: []int{60, 25, 60},
			Runs: []allocation.RunClass{{Class: "S", Capacity: []int{1, 1, 1}}, {Class: "L", Capacity: []int{2, 2, 2}}}}},
		Trainers: []allocation.Trainer{{Works: []bool{true, false, true}, Minutes: []int{60, 0, 60}, Dogs: []int{2, 0, 2}}},
		Dogs:     []allocation.Dog{dog(20), dog(30), dog(40)}}
}

func at(dog, arrival, run int) allocation.Placement {
	return allocation.Placement{Dog: dog, Arrival: arrival, Run: run}
}

func TestCheck(t *testing.T) {
	t.Parallel()
	two := []allocation.Placement{at(1, 0, 1), at(2, 0, 0)}
	for name, c := range map[string]struct {
		change func(p *allocation.Problem)
		plan   []allocation.Placement
		value  int64
		want   string
	}{
		"nothing":       {value: 0},
		"two dogs":      {plan: two, value: 27 + 39},
		"twice":         {plan: []allocation.Placement{at(1, 0, 1), at(1, 1, 1)}, want: "dog 1 is placed twice"},
		"no such dog":   {plan: []allocation.Placement{at(9, 0, 1)}, want: "dog 9"},
		"no such day":   {plan: []allocation.Placement{at(1, 2, 1)}, want: "no such option"},
		"no such class": {plan: []allocation.Placement{at(1, 0, 5)}, want: "no such option"},
		"one run":       {plan: []allocation.Placement{at(1, 0, 0), at(2, 0, 0)}, want: "dog 2: runs of class 0 at site 0 on day 0: 2 used of 1"},
		"clean-down": {change: func(p *allocation.Problem) {
			p.Sites[0].CleanDown = 1
			p.Dogs[1].Nights = 1
			p.Sites[0].Handover[1] = 1
		},
			plan: []allocation.Placement{at(1, 0, 0), at(2, 1, 0)}, want: "runs of class 0 at site 0 on day 1"},
		"intake":   {change: func(p *allocation.Problem) { p.Sites[0].Intake[0] = 1 }, plan: two, want: "intake places of site 0 on day 0: 2 used of 1"},
		"handover": {change: func(p *allocation.Problem) { p.Sites[0].Handover[2] = 1 }, plan: two, want: "handover places of site 0 on day 2"},
		"minutes":  {change: func(p *allocation.Problem) { p.Trainers[0].Minutes[0] = 59 }, plan: two, want: "minutes of trainer 0 on day 0: 60 used of 59"},
		"dogs":     {change: func(p *allocation.Problem) { p.Trainers[0].Dogs[0] = 1 }, plan: two, want: "dogs in hand of trainer 0 on day 0"},
		"cover":    {change: func(p *allocation.Problem) { p.Sites[0].Minutes[1] = 19 }, plan: two, want: "minutes of site 0 on day 1: 20 used of 19"},
		"household split": {change: func(p *allocation.Problem) { p.Together = [][]int{{1, 2}} },
			plan: []allocation.Placement{at(1, 0, 1), at(2, 1, 0)}, want: "one site on one day"},
		"household half": {change: func(p *allocation.Problem) { p.Together = [][]int{{0, 2}} }, plan: two, want: "together or not at all"},
	} {
		p := inn()
		if c.change != nil {
			c.change(p)
		}
		require.NoError(t, p.Validate(), name)
		value, err := allocation.Check(p, c.plan)
		if c.want != "" {
			require.ErrorContains(t, err, c.want, name)
			continue
		}
		require.NoError(t, err, name)
		require.Equal(t, c.value, value, name)
	}
}

func TestUsage(t *testing.T) {
	t.Parallel()
	u := allocation.Usage(inn(), []allocation.Placement{at(1, 0, 1), at(2, 1, 0), at(0, 3, 3)})
	require.Equal(t, []int{0, 1, 1, 0}, u.Sites[0].Runs[0].Used)
	require.Equal(t, []int{1, 1, 0, 0}, u.Sites[0].Runs[1].Used)
	require.Equal(t, []int{1, 1, 0, 0}, u.Sites[0].Intake.Used)
	require.Equal(t, []int{0, 0, 1, 1}, u.Sites[0].Handover.Used)
	require.Equal(t, []int{30, 20, 30, 0}, u.Sites[0].Minutes.Used)
	require.Equal(t, []int{30, 0, 30, 0}, u.Trainers[0].Minutes.Used)
	require.Equal(t, []int{1, 0, 1, 0}, u.Trainers[0].Dogs.Used)
	require.Equal(t, 1, u.Trainers[0].Dogs.Left(0))
}

func TestBlockers(t *testing.T) {
	t.Parallel()
	p := inn()
	plan := []allocation.Placement{at(1, 0, 1), at(2, 0, 0)}
	r := allocation.Blockers(p, plan, 0)
	require.Equal(t, []int{0}, r.Dogs)
	require.Equal(t, 4, r.Considered)
	require.False(t, r.Impossible)
	require.Len(t, r.Options, 2)
	require.Equal(t, 0, r.Options[0].Placements[0].Arrival, "the most valuable first")
	require.Equal(t, []int{1, 2}, r.Options[0].Displaces)
	require.Equal(t, 1, r.Nearest.Placements[0].Arrival)
	require.Equal(t, []allocation.Block{{Resource: allocation.Resource{Kind: allocation.SiteMinutes, Class: -1, Trainer: -1, Day: 1},
		Use: 20, Need: 10, Capacity: 25, Holders: []int{1, 2}}}, r.Nearest.Blocks)

	require.Empty(t, allocation.Blockers(p, plan, 1).Options, "a placed dog needs no reasons")

	p.Trainers[0].Minutes = []int{20, 0, 20}
	r = allocation.Blockers(p, nil, 0)
	require.True(t, r.Impossible)
	require.Nil(t, r.Nearest)
	require.True(t, r.Options[0].Hard)

	require.True(t, allocation.Blockers(&allocation.Problem{Days: 2, Dogs: []allocation.Dog{{Nights: 1}}}, nil, 0).Impossible)

	p = inn() // a household of two does not fit into one run and one dog in hand
	p.Together = [][]int{{0, 1}}
	p.Trainers[0].Dogs = []int{1, 0, 1}
	r = allocation.Blockers(p, nil, 1)
	require.Equal(t, []int{0, 1}, r.Dogs)
	require.True(t, r.Impossible, "even an empty school has no room for both")
	require.Len(t, r.Options[0].Placements, 2)
}

func TestSolveInnByHand(t *testing.T) {
	t.Parallel()
	// Two dogs fit by cover (25 minutes on day 1), so the two dearest come on day 0, one of them in a larger run: 30+40-1-1-2.
	s, err := allocation.Solve(inn(), allocation.Options{})
	require.NoError(t, err)
	require.Equal(t, int64(66), s.Value)
	require.Equal(t, allocation.Optimal, s.Status)
	require.Equal(t, allocation.StopProven, s.Stopped)
	require.Equal(t, []int{1, 2}, []int{s.Placements[0].Dog, s.Placements[1].Dog})
	require.Len(t, s.Prices.Sites[0].Runs, 2)
	require.Len(t, s.Prices.Sites[0].Minutes, 4)
	require.Len(t, s.Prices.Trainers[0].Minutes, 4)

	bad := inn()
	bad.Trainers[0].Site = 4
	_, err = allocation.Solve(bad, allocation.Options{})
	require.ErrorIs(t, err, allocation.ErrInvalid)
}
