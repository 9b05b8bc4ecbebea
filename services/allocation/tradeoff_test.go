package allocation_test

import (
	"slices"
	"testing"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// eachPlan calls see with every plan that keeps the rules.
func eachPlan(p *allocation.Problem, see func(plan []allocation.Placement, value int64)) {
	var plan []allocation.Placement
	loose := *p // households bind only whole plans
	loose.Together = nil
	var try func(d int)
	try = func(d int) {
		if d == len(p.Dogs) {
			if v, err := allocation.Check(p, plan); err == nil {
				see(plan, v)
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
}

// countMoves counts, apart from the code under test, the promises that a plan does not keep.
func countMoves(promised, plan []allocation.Placement) int {
	moves := 0
	for _, want := range promised {
		kept := slices.ContainsFunc(plan, func(pl allocation.Placement) bool {
			pl.Run = want.Run // nobody is promised a run
			return pl == want
		})
		if !kept {
			moves++
		}
	}
	return moves
}

// drawPromises draws promises: often some of a plan that is possible, else any options, which may not fit together.
func drawPromises(t *rapid.T, p *allocation.Problem) []allocation.Placement {
	var promised []allocation.Placement
	if rapid.IntRange(0, 3).Draw(t, "promises fit") > 0 {
		var plans [][]allocation.Placement
		eachPlan(p, func(plan []allocation.Placement, _ int64) { plans = append(plans, slices.Clone(plan)) })
		whole := rapid.SampledFrom(plans).Draw(t, "plan")
		for _, pl := range whole {
			if rapid.IntRange(0, 4).Draw(t, "promised") > 0 {
				promised = append(promised, pl)
			}
		}
		return promised
	}
	for d := range p.Dogs {
		var options []allocation.Placement
		for _, g := range p.Dogs[d].Placements {
			for _, r := range g.Runs {
				for _, tr := range g.Trainers {
					options = append(options, allocation.Placement{Dog: d, Site: g.Site, Arrival: g.Arrival, Run: r.Class, Trainer: tr.Trainer})
				}
			}
		}
		if len(options) > 0 && rapid.Bool().Draw(t, "promised") {
			promised = append(promised, rapid.SampledFrom(options).Draw(t, "promise"))
		}
	}
	return promised
}

// requireCurve holds a curve against what it says of itself: rules, counts, order.
func requireCurve(t require.TestingT, p *allocation.Problem, promised []allocation.Placement, c allocation.TradeOffCurve) {
	require.Equal(t, len(promised), c.Promises)
	for i, x := range c.Points {
		if x.Found {
			value, err := allocation.Check(p, x.Placements)
			require.NoError(t, err)
			require.Equal(t, value, x.Value)
			require.Equal(t, countMoves(promised, x.Placements), x.Moved)
			require.LessOrEqual(t, x.Moved, x.Moves)
			require.GreaterOrEqual(t, x.Bound, x.Value)
			require.False(t, x.Impossible)
		}
		if i > 0 {
			before := c.Points[i-1]
			require.Greater(t, x.Moves, before.Moves)
			require.False(t, x.Impossible && !before.Impossible)
			require.False(t, before.Found && !x.Found)
			if before.Found {
				require.GreaterOrEqual(t, x.Value, before.Value)
			}
			if !before.Impossible {
				require.GreaterOrEqual(t, x.Bound, before.Bound)
			}
		}
	}
}

func TestTradeOffAgainstBruteForce(t *testing.T) {
	t.Parallel()
	points, closed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p := drawAny(t, 4)
		promised := drawPromises(t, p)
		moves := []int{3, 0, 1, 2, 4, 9}
		best := map[int]int64{}
		eachPlan(p, func(plan []allocation.Placement, value int64) {
			for _, n := range moves {
				if m := countMoves(promised, plan); m <= n {
					if old, known := best[n]; !known || value > old {
						best[n] = value
					}
				}
			}
		})
		c, err := allocation.TradeOff(p, promised, moves, allocation.TradeOffOptions{Threads: rapid.IntRange(1, 2).Draw(t, "threads")})
		require.NoError(t, err)
		requireCurve(t, p, promised, c)
		require.Len(t, c.Points, len(moves))
		for _, x := range c.Points {
			truth, possible := best[x.Moves]
			require.Equal(t, !possible, x.Impossible, "%d moves", x.Moves)
			require.Equal(t, possible, x.Found, "%d moves", x.Moves)
			if !possible {
				continue
			}
			require.GreaterOrEqual(t, x.Bound, truth, "%d moves", x.Moves)
			require.LessOrEqual(t, x.Value, truth, "%d moves", x.Moves)
			points++
			if x.Bound == x.Value {
				closed++
				require.Equal(t, truth, x.Value)
			}
			if x.Moves == 0 || x.Moves >= len(promised) {
				require.Equal(t, truth, x.Value, "%d of %d moves", x.Moves, len(promised))
				require.Equal(t, truth, x.Bound, "%d of %d moves", x.Moves, len(promised))
			}
		}
	})
	t.Logf("%d of %d points proven", closed, points)
	require.Greater(t, closed*10, points*9, "between the ends only the concave hull can be proven, which is most of it")
}

func TestTradeOffKeepsItsPromises(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := drawAny(t, 15)
		start, err := allocation.Solve(p, allocation.Options{Iterations: 1, Seed: rapid.Uint64Range(0, 9).Draw(t, "start")})
		require.NoError(t, err)
		promised := start.Placements
		o := allocation.TradeOffOptions{Seed: rapid.Uint64().Draw(t, "seed"), Threads: rapid.IntRange(1, 3).Draw(t, "threads"),
			Iterations: rapid.IntRange(1, 20_000).Draw(t, "iterations"), Warm: promised}
		var calls []allocation.TradeOffProgress
		o.Progress = func(x allocation.TradeOffProgress) { calls = append(calls, x) }
		moves := []int{0, 1, 2, 5}
		c, err := allocation.TradeOff(p, promised, moves, o)
		require.NoError(t, err)
		requireCurve(t, p, promised, c)
		require.True(t, c.Points[0].Found, "the promises fit together")
		require.NotEmpty(t, calls)
		for i := range calls {
			for j, x := range calls[i].Points {
				if i > 0 {
					require.GreaterOrEqual(t, x.Value, calls[i-1].Points[j].Value)
					require.LessOrEqual(t, x.Bound, calls[i-1].Points[j].Bound)
				}
				require.LessOrEqual(t, x.Value, c.Points[j].Value)
				require.GreaterOrEqual(t, x.Bound, c.Points[j].Bound)
			}
		}
		o.Progress = nil
		again, err := allocation.TradeOff(p, promised, moves, o)
		require.NoError(t, err)
		require.Equal(t, c.Points, again.Points, "same seed, same curve")
		require.Equal(t, c.Searches, again.Searches)
	})
}

// scaled is a tenth of the iterations under the race detector.
func scaled(iterations int) int {
	if raceDetector {
		return iterations / 10
	}
	return iterations
}

// promisesOf makes a school whose month was promised by a plan that knew half of the dogs only, and has changed since.
func promisesOf(t testing.TB, size string, seed uint64) (*allocation.Problem, []allocation.Placement) {
	t.Helper()
	p := mustGenerate(t, size, seed)
	early := *p
	early.Dogs = slices.Clone(p.Dogs)
	for d := range early.Dogs {
		if d%2 == 1 {
			early.Dogs[d].Placements = nil
		}
	}
	s, err := allocation.Solve(&early, allocation.Options{Seed: seed, Iterations: 5000})
	require.NoError(t, err)
	return p, s.Placements
}

func TestTradeOffOfASchool(t *testing.T) {
	t.Parallel()
	p, promised := promisesOf(t, "T", 3)
	moves := []int{0, 1, 2, 5, 10, len(promised)}
	c, err := allocation.TradeOff(p, promised, moves, allocation.TradeOffOptions{Threads: 2, Iterations: scaled(60_000), Warm: promised})
	require.NoError(t, err)
	requireCurve(t, p, promised, c)
	for _, x := range c.Points {
		t.Logf("%2d moves: %d moved, %d placed, value %d, bound %d, gap %.2f %%", x.Moves, x.Moved, len(x.Placements), x.Value, x.Bound, x.Gap())
	}
	last := len(c.Points) - 1
	if !raceDetector { // which leaves no time to find anything
		require.Greater(t, c.Points[1].Value, c.Points[0].Value, "half of the dogs came later, so the first move is worth something")
		require.Greater(t, c.Points[last].Value, c.Points[1].Value)
	}
	require.Less(t, c.Points[0].Bound, c.Points[last].Bound, "no move has a bound of its own")

	// Any plan with few moves is below the bound of its number: here plans made with other seeds and prices.
	for seed := range uint64(3) {
		other, err := allocation.TradeOff(p, promised, []int{int(seed), 7}, allocation.TradeOffOptions{Seed: 100 + seed, Threads: 2, Iterations: scaled(5_000)})
		require.NoError(t, err)
		for _, y := range other.Points {
			for _, x := range c.Points {
				if y.Found && y.Moved <= x.Moves {
					require.LessOrEqual(t, y.Value, x.Bound)
				}
			}
		}
	}
}

func TestTradeOffWhenPromisesCannotStand(t *testing.T) {
	t.Parallel()
	p, promised := promisesOf(t, "X", 2)
	// The trainer with the most promises can have one dog in hand from now on.
	count := map[int]int{}
	busy := 0
	for _, pl := range promised {
		count[pl.Trainer]++
		if count[pl.Trainer] > count[busy] {
			busy = pl.Trainer
		}
	}
	require.Greater(t, count[busy], 1)
	tr := &p.Trainers[busy]
	tr.Dogs = slices.Clone(tr.Dogs)
	for k := range tr.Dogs {
		tr.Dogs[k] = min(tr.Dogs[k], 1)
	}
	_, err := allocation.Check(p, promised)
	require.Error(t, err)
	c, err := allocation.TradeOff(p, promised, []int{0, 1, 2, 4, len(promised)}, allocation.TradeOffOptions{Threads: 2, Iterations: scaled(40_000), Warm: promised})
	require.NoError(t, err)
	requireCurve(t, p, promised, c)
	for _, x := range c.Points {
		t.Logf("%2d moves: found %v, impossible %v, %d moved, %d placed, value %d, bound %d", x.Moves, x.Found, x.Impossible, x.Moved, len(x.Placements), x.Value, x.Bound)
	}
	require.True(t, c.Points[0].Impossible, "the promises do not fit together")
	require.True(t, c.Points[len(c.Points)-1].Found)
}

func TestTradeOffCancelled(t *testing.T) {
	t.Parallel()
	p, promised := promisesOf(t, "S", 3)
	for _, wait := range []time.Duration{0, 20 * time.Millisecond, 600 * time.Millisecond} {
		cancel := make(chan struct{})
		time.AfterFunc(wait, func() { close(cancel) })
		start := time.Now()
		c, err := allocation.TradeOff(p, promised, []int{0, 3}, allocation.TradeOffOptions{Threads: 2, Cancel: cancel})
		require.NoError(t, err)
		require.Equal(t, allocation.StopCancelled, c.Stopped)
		require.Less(t, time.Since(start), wait+time.Minute)
		requireCurve(t, p, promised, c)
		require.True(t, c.Points[0].Found, "the promises themselves are a plan")
	}
	c, err := allocation.TradeOff(p, promised, []int{0, 3}, allocation.TradeOffOptions{Threads: 2, Limit: 1500 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, allocation.StopLimit, c.Stopped)
	require.Less(t, c.Seconds, 60.0, "it ends soon after its limit, on a busy machine too")
	requireCurve(t, p, promised, c)
}

func TestTradeOffRefusals(t *testing.T) {
	t.Parallel()
	p := mustGenerate(t, "X", 1)
	option := func(d int) allocation.Placement {
		g := p.Dogs[d].Placements[0]
		return allocation.Placement{Dog: d, Site: g.Site, Arrival: g.Arrival, Run: g.Runs[0].Class, Trainer: g.Trainers[0].Trainer}
	}
	wrong := option(1)
	wrong.Arrival = 1000
	for _, c := range []struct {
		promised []allocation.Placement
		moves    []int
		says     string
	}{
		{[]allocation.Placement{option(0), option(0)}, []int{0}, "dog 0 has two promises"},
		{[]allocation.Placement{wrong}, []int{0}, "dog 1 was promised site"},
		{[]allocation.Placement{{Dog: 99}}, []int{0}, "there are 20 dogs"},
		{nil, []int{-1}, "-1 moves"},
	} {
		_, err := allocation.TradeOff(p, c.promised, c.moves, allocation.TradeOffOptions{Iterations: 1})
		require.ErrorIs(t, err, allocation.ErrInvalid)
		require.ErrorContains(t, err, c.says)
	}
	c, err := allocation.TradeOff(p, nil, nil, allocation.TradeOffOptions{})
	require.NoError(t, err)
	require.Empty(t, c.Points)
}
