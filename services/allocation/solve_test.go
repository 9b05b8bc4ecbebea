package allocation_test

import (
	"testing"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawProblem draws a small problem that uses every feature now and then. Capacities are tight, so that rules bite.
func drawProblem(t *rapid.T, mostDogs int) *allocation.Problem {
	n := func(name string, a, b int) int { return rapid.IntRange(a, b).Draw(t, name) }
	days := n("days", 3, 8)
	p := &allocation.Problem{Name: "drawn", Days: days}
	series := func(name string, length, a, b int) []int {
		return rapid.SliceOfN(rapid.IntRange(a, b), length, length).Draw(t, name)
	}
	for range n("sites", 1, 2) {
		s := allocation.Site{Name: "site", Intake: series("intake", days-1, 0, 2), Handover: series("handover", days, 0, 3)}
		for range n("classes", 1, 2) {
			s.Runs = append(s.Runs, allocation.RunClass{Class: "run", Capacity: series("runs", days-1, 0, 3)})
		}
		if rapid.Bool().Draw(t, "limited") {
			s.Minutes = series("site minutes", days-1, 0, 9)
		}
		s.CleanDown = n("clean-down", 0, 2)
		p.Sites = append(p.Sites, s)
	}
	for range n("trainers", 1, 3) {
		p.Trainers = append(p.Trainers, allocation.Trainer{Site: n("trainer's site", 0, len(p.Sites)-1),
			Works:   rapid.SliceOfN(rapid.Bool(), days-1, days-1).Draw(t, "works"),
			Minutes: series("minutes", days-1, 0, 9), Dogs: series("dogs in hand", days-1, 0, 3)})
	}
	for range n("dogs", 0, mostDogs) {
		p.Dogs = append(p.Dogs, drawDog(t, p))
	}
	if len(p.Dogs) >= 2 && rapid.Bool().Draw(t, "household") {
		p.Together = [][]int{{0, len(p.Dogs) - 1}}
	}
	return p
}

func drawDog(t *rapid.T, p *allocation.Problem) allocation.Dog {
	n := func(name string, a, b int) int { return rapid.IntRange(a, b).Draw(t, name) }
	d := allocation.Dog{Nights: n("nights", 1, 3)}
	for site := range p.Sites {
		for arrival := 0; arrival+d.Nights <= p.Days-1; arrival++ {
			if n("offered", 0, 3) == 0 {
				continue
			}
			g := allocation.Group{Site: site, Arrival: arrival, Value: n("value", -2, 20)}
			for c := range p.Sites[site].Runs {
				g.Runs = append(g.Runs, allocation.RunOption{Class: c, Penalty: n("run penalty", 0, 4)})
			}
			for tr := range p.Trainers {
				if p.Trainers[tr].Site == site {
					g.Trainers = append(g.Trainers, allocation.TrainerOption{Trainer: tr, Penalty: n("trainer penalty", 0, 4),
						Minutes: n("minutes", 0, 5), Cover: n("cover", 0, 3)})
				}
			}
			d.Placements = append(d.Placements, g)
		}
	}
	return d
}

// bruteForce tries every combination of options, leaving it to Check to say which plans keep the rules.
func bruteForce(p *allocation.Problem) int64 {
	var best int64
	var plan []allocation.Placement
	loose := *p // households bind only whole plans
	loose.Together = nil
	var try func(d int)
	try = func(d int) {
		if d == len(p.Dogs) {
			if v, err := allocation.Check(p, plan); err == nil {
				best = max(best, v)
			}
			return
		}
		try(d + 1)
		for _, g := range p.Dogs[d].Placements {
			for _, r := range g.Runs {
				for _, tr := range g.Trainers {
					plan = append(plan, allocation.Placement{Dog: d, Site: g.Site, Arrival: g.Arrival, Run: r.Class, Trainer: tr.Trainer})
					if _, err := allocation.Check(&loose, plan); err == nil {
						try(d + 1)
					}
					plan = plan[:len(plan)-1]
				}
			}
		}
	}
	try(0)
	return best
}

func TestSolveAgainstBruteForce(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 4)
		require.NoError(t, p.Validate())
		want := bruteForce(p)
		s, err := allocation.Solve(p, allocation.Options{Seed: rapid.Uint64().Draw(t, "seed"), Threads: rapid.IntRange(1, 3).Draw(t, "threads")})
		require.NoError(t, err)
		require.Equal(t, want, s.Value)
		require.Equal(t, want, s.Bound)
		require.Equal(t, allocation.Optimal, s.Status)
	})
}

func TestSolveKeepsItsPromises(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawAny(t, 25)
		var calls []allocation.Progress
		o := allocation.Options{Seed: rapid.Uint64().Draw(t, "seed"), Threads: rapid.IntRange(1, 3).Draw(t, "threads"),
			Iterations: rapid.IntRange(1, 3000).Draw(t, "iterations")}
		o.Progress = func(x allocation.Progress) { calls = append(calls, x) }
		s, err := allocation.Solve(p, o)
		require.NoError(t, err)
		value, err := allocation.Check(p, s.Placements)
		require.NoError(t, err)
		require.Equal(t, value, s.Value)
		require.GreaterOrEqual(t, s.Bound, s.Value)
		require.Equal(t, s.Bound == s.Value, s.Status == allocation.Optimal)
		require.NotEmpty(t, calls)
		last := calls[len(calls)-1]
		require.Equal(t, []int64{s.Value, s.Bound}, []int64{last.Value, last.Bound})
		for i := 1; i < len(calls); i++ {
			require.GreaterOrEqual(t, calls[i].Value, calls[i-1].Value)
			require.LessOrEqual(t, calls[i].Bound, calls[i-1].Bound)
		}

		o.Progress = nil
		again, err := allocation.Solve(p, o)
		require.NoError(t, err)
		require.Equal(t, s.Placements, again.Placements, "same seed, same plan")
		require.Equal(t, s.Bound, again.Bound)

		o.Warm, o.Iterations = s.Placements, 1
		warm, err := allocation.Solve(p, o)
		require.NoError(t, err)
		require.GreaterOrEqual(t, warm.Value, s.Value, "never worse than the start")
	})
}

func TestSolveIgnoresOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 6)
		order := rapid.Permutation(indices(len(p.Dogs))).Draw(t, "order")
		q := *p
		q.Dogs, q.Together = nil, nil
		at := make([]int, len(order))
		for i, d := range order {
			q.Dogs = append(q.Dogs, p.Dogs[d])
			at[d] = i
		}
		for _, dogs := range p.Together {
			q.Together = append(q.Together, []int{at[dogs[0]], at[dogs[1]]})
		}
		a, err := allocation.Solve(p, allocation.Options{Seed: 1})
		require.NoError(t, err)
		b, err := allocation.Solve(&q, allocation.Options{Seed: 2})
		require.NoError(t, err)
		require.Equal(t, allocation.Optimal, a.Status)
		require.Equal(t, allocation.Optimal, b.Status)
		require.Equal(t, a.Value, b.Value)
	})
}

func TestMoreRoomIsNeverWorse(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t, 5)
		before, err := allocation.Solve(p, allocation.Options{})
		require.NoError(t, err)
		for i := range p.Sites {
			for k := range p.Sites[i].Intake {
				p.Sites[i].Intake[k]++
			}
		}
		for i := range p.Trainers {
			for k := range p.Trainers[i].Minutes {
				p.Trainers[i].Minutes[k]++
			}
		}
		after, err := allocation.Solve(p, allocation.Options{})
		require.NoError(t, err)
		require.GreaterOrEqual(t, after.Bound, before.Bound)
		require.GreaterOrEqual(t, after.Value, before.Value)
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func mustGenerate(t testing.TB, size string, seed uint64) *allocation.Problem {
	t.Helper()
	p, err := allocation.Generate(size, seed)
	require.NoError(t, err)
	return p
}

func TestCancelAtAnyInstant(t *testing.T) {
	t.Parallel()
	p := mustGenerate(t, "S", 3)
	for _, wait := range []time.Duration{0, time.Millisecond, 20 * time.Millisecond, 150 * time.Millisecond} {
		cancel := make(chan struct{})
		time.AfterFunc(wait, func() { close(cancel) })
		s, err := allocation.Solve(p, allocation.Options{Threads: 2, Cancel: cancel})
		require.NoError(t, err)
		require.Equal(t, allocation.StopCancelled, s.Stopped)
		value, err := allocation.Check(p, s.Placements)
		require.NoError(t, err)
		require.Equal(t, value, s.Value)
		require.GreaterOrEqual(t, s.Bound, s.Value)
		require.Less(t, s.Seconds, wait.Seconds()+5)
	}
}

// TestSameSeedSamePlan repeats runs large enough for threads to share one plan, and small enough for each to have its own.
func TestSameSeedSamePlan(t *testing.T) {
	t.Parallel()
	for size, iterations := range map[string]int{"T": 40_000, "M": 12_000} {
		if raceDetector {
			iterations /= 8
		}
		p := mustGenerate(t, size, 6)
		o := allocation.Options{Seed: 5, Threads: 2, Iterations: iterations}
		a, err := allocation.Solve(p, o)
		require.NoError(t, err)
		b, err := allocation.Solve(p, o)
		require.NoError(t, err)
		require.Equal(t, a.Placements, b.Placements, size)
		require.Equal(t, a.Bound, b.Bound, size)
		require.Equal(t, a.Prices, b.Prices, size)
		require.Equal(t, allocation.StopIterations, a.Stopped)
	}
}

// TestEnoughAtAnyInstant: unlike cancelling, it leaves no part without a first plan, whenever it is asked for.
func TestEnoughAtAnyInstant(t *testing.T) {
	t.Parallel()
	for _, after := range []time.Duration{-1, 0, time.Millisecond, 50 * time.Millisecond, 300 * time.Millisecond} {
		p := mustGenerate(t, "S", 3)
		enough := make(chan struct{})
		if after < 0 {
			close(enough)
		} else {
			time.AfterFunc(after, func() { close(enough) })
		}
		s, err := allocation.Solve(p, allocation.Options{Threads: 2, Enough: enough})
		require.NoError(t, err)
		require.Equal(t, allocation.StopCancelled, s.Stopped)
		require.Greater(t, len(s.Placements), len(p.Dogs)/3, "a first plan, after %s", after)
		value, err := allocation.Check(p, s.Placements)
		require.NoError(t, err)
		require.Equal(t, s.Value, value)
		require.GreaterOrEqual(t, s.Bound, s.Value)
		require.Less(t, s.Seconds, 60.0)

		// Cancelling goes before it, and a limit as well.
		closed := make(chan struct{})
		close(closed)
		s, err = allocation.Solve(p, allocation.Options{Threads: 2, Enough: make(chan struct{}), Cancel: closed})
		require.NoError(t, err)
		require.Equal(t, allocation.StopCancelled, s.Stopped)
	}
}
