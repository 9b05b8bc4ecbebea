package allocation_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/allocation"
)

// merge makes one problem of several that share nothing, with the dogs in the order given.
func merge(pieces []*allocation.Problem, order func(n int) []int) *allocation.Problem {
	whole := &allocation.Problem{Name: "merged"}
	for _, p := range pieces {
		whole.Days = max(whole.Days, p.Days)
	}
	pad := func(v []int) []int { return append(slices.Clone(v), make([]int, whole.Days-len(v))...) }
	var dogs []allocation.Dog
	var households [][]int
	for _, p := range pieces {
		p = eachLevel(p, func(e *allocation.Easy) { e.Upto = pad(e.Upto) })
		firstSite, firstTrainer, firstDog := len(whole.Sites), len(whole.Trainers), len(dogs)
		for _, s := range p.Sites {
			s.Intake, s.Handover = pad(s.Intake), pad(s.Handover)
			s.Runs = slices.Clone(s.Runs)
			for c := range s.Runs {
				s.Runs[c].Capacity = pad(s.Runs[c].Capacity)
			}
			if s.Minutes != nil {
				s.Minutes = pad(s.Minutes)
			}
			whole.Sites = append(whole.Sites, s)
		}
		for _, t := range p.Trainers {
			t.Site, t.Minutes, t.Dogs = t.Site+firstSite, pad(t.Minutes), pad(t.Dogs)
			t.Works = append(slices.Clone(t.Works), make([]bool, whole.Days-len(t.Works))...)
			whole.Trainers = append(whole.Trainers, t)
		}
		for _, d := range p.Dogs {
			d.Placements = slices.Clone(d.Placements)
			for i := range d.Placements {
				g := &d.Placements[i]
				g.Site, g.Trainers = g.Site+firstSite, slices.Clone(g.Trainers)
				for j := range g.Trainers {
					g.Trainers[j].Trainer += firstTrainer
				}
			}
			dogs = append(dogs, d)
		}
		for _, h := range p.Together {
			household := slices.Clone(h)
			for i := range household {
				household[i] += firstDog
			}
			households = append(households, household)
		}
	}
	at := make([]int, len(dogs))
	for to, from := range order(len(dogs)) {
		whole.Dogs = append(whole.Dogs, dogs[from])
		at[from] = to
	}
	for _, h := range households {
		for i := range h {
			h[i] = at[h[i]]
		}
		whole.Together = append(whole.Together, h)
	}
	return whole
}

// apart solves each part by itself and joins.
func apart(t require.TestingT, p *allocation.Problem, parts []allocation.Part, o allocation.Options) allocation.Solution {
	warm := o.Warm
	solutions := make([]allocation.Solution, len(parts))
	for i := len(parts) - 1; i >= 0; i-- { // the order does not matter
		own := parts[i].Problem(p)
		require.NoError(t, own.Validate())
		o.Warm = parts[i].Start(warm)
		var err error
		solutions[i], err = allocation.Solve(own, o)
		require.NoError(t, err)
	}
	joined, err := allocation.Join(p, parts, solutions)
	require.NoError(t, err)
	return joined
}

// TestSplitAndJoin holds split, solve and join against Solve of the whole, on problems small enough to be proven.
func TestSplitAndJoin(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var pieces []*allocation.Problem
		for range rapid.IntRange(1, 4).Draw(t, "pieces") {
			pieces = append(pieces, drawAny(t, 5))
		}
		p := merge(pieces, func(n int) []int { return rapid.Permutation(indices(n)).Draw(t, "order") })
		require.NoError(t, p.Validate())
		least := rapid.IntRange(1, 6).Draw(t, "least")
		parts := allocation.Split(p, least)
		require.Equal(t, parts, allocation.Split(p, least), "the same parts every time")
		requirePartition(t, p, parts, least)

		whole, err := allocation.Solve(p, allocation.Options{Seed: 1})
		require.NoError(t, err)
		joined := apart(t, p, parts, allocation.Options{Seed: 1})
		require.Equal(t, allocation.Optimal, whole.Status)
		require.Equal(t, allocation.Optimal, joined.Status)
		require.Equal(t, allocation.StopProven, joined.Stopped)
		require.Equal(t, whole.Value, joined.Value)
		require.Equal(t, whole.Bound, joined.Bound)
		value, err := allocation.Check(p, joined.Placements)
		require.NoError(t, err)
		require.Equal(t, value, joined.Value)
		require.True(t, slices.IsSortedFunc(joined.Placements, func(a, b allocation.Placement) int { return a.Dog - b.Dog }))

		// A plan of the whole as the start of its parts is never lost.
		again := apart(t, p, parts, allocation.Options{Seed: 2, Iterations: 1, Warm: whole.Placements})
		require.Equal(t, whole.Value, again.Value)
	})
}

// requirePartition requires that parts share no dog, site or household, hold everyone who has an option, and are large enough.
func requirePartition(t *rapid.T, p *allocation.Problem, parts []allocation.Part, least int) {
	home := map[int]int{}
	siteHome := map[int]int{}
	for i, x := range parts {
		require.True(t, len(x.Dogs) >= least || len(parts) == 1, "part %d of %d has %d dogs", i, len(parts), len(x.Dogs))
		for _, d := range x.Dogs {
			require.NotContains(t, home, d)
			home[d] = i
		}
		for _, s := range x.Sites {
			require.NotContains(t, siteHome, s)
			siteHome[s] = i
		}
		for _, tr := range x.Trainers {
			require.Contains(t, x.Sites, p.Trainers[tr].Site)
		}
	}
	for d := range p.Dogs {
		for _, g := range p.Dogs[d].Placements {
			require.Contains(t, home, d)
			require.Equal(t, home[d], siteHome[g.Site])
		}
	}
	for _, h := range p.Together {
		for _, d := range h {
			require.Equal(t, home[h[0]], home[d])
		}
	}
}

// TestJoinOfLargerParts joins plans that are not proven: bounds add up, and prices find their places.
func TestJoinOfLargerParts(t *testing.T) {
	t.Parallel()
	p := merge([]*allocation.Problem{mustGenerate(t, "S", 1), mustGenerate(t, "X", 2), mustGenerate(t, "S", 4)}, func(n int) []int {
		order := indices(n)
		slices.Reverse(order)
		return order
	})
	parts := allocation.Split(p, 100)
	require.Len(t, parts, 2, "the 20 dogs of one site go with others")
	o := allocation.Options{Seed: 3, Threads: 2, Iterations: 3000}
	joined := apart(t, p, parts, o)
	var value, bound int64
	for _, x := range parts {
		s, err := allocation.Solve(x.Problem(p), o)
		require.NoError(t, err)
		value, bound = value+s.Value, bound+s.Bound
		for i, site := range x.Sites {
			require.Equal(t, s.Prices.Sites[i], joined.Prices.Sites[site])
		}
		for i, trainer := range x.Trainers {
			require.Equal(t, s.Prices.Trainers[i], joined.Prices.Trainers[trainer])
		}
	}
	require.Equal(t, value, joined.Value)
	require.Equal(t, bound, joined.Bound)
	require.Equal(t, allocation.Feasible, joined.Status)
	require.Equal(t, allocation.StopIterations, joined.Stopped)
	require.Equal(t, joined.Placements, apart(t, p, parts, o).Placements, "the same plan every time")
}

func TestJoinRefuses(t *testing.T) {
	t.Parallel()
	p := merge([]*allocation.Problem{mustGenerate(t, "X", 1), mustGenerate(t, "X", 2)}, indices)
	parts := allocation.Split(p, 1)
	require.Len(t, parts, 2)
	solutions := make([]allocation.Solution, 2)
	for i := range parts {
		var err error
		solutions[i], err = allocation.Solve(parts[i].Problem(p), allocation.Options{Iterations: 300})
		require.NoError(t, err)
	}
	_, err := allocation.Join(p, parts, solutions[:1])
	require.ErrorContains(t, err, "1 solutions")
	_, err = allocation.Join(p, parts[:1], solutions[:1])
	require.ErrorContains(t, err, "is in 0 parts")
	_, err = allocation.Join(p, []allocation.Part{parts[0], parts[0]}, solutions)
	require.ErrorContains(t, err, "is in 2 parts")
	_, err = allocation.Join(p, []allocation.Part{parts[1], parts[0]}, solutions)
	require.Error(t, err, "solutions of other parts")
	short := slices.Clone(solutions)
	short[1].Placements = short[1].Placements[1:]
	_, err = allocation.Join(p, parts, short)
	require.ErrorContains(t, err, "its parts")
	short = slices.Clone(solutions)
	short[0].Prices.Sites = nil
	_, err = allocation.Join(p, parts, short)
	require.ErrorContains(t, err, "prices are for 0 sites")
	strange := slices.Clone(parts)
	strange[0].Sites = []int{7}
	_, err = allocation.Join(p, strange, solutions)
	require.ErrorContains(t, err, "site 7, which does not exist")
}

func TestSplitOfNothing(t *testing.T) {
	t.Parallel()
	p := &allocation.Problem{Days: 3}
	require.Empty(t, allocation.Split(p, 1))
	joined, err := allocation.Join(p, nil, nil)
	require.NoError(t, err)
	require.Equal(t, allocation.Optimal, joined.Status)
	require.Zero(t, joined.Bound)
}
