package dayblocks_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
)

// smallDay is a random day on a coarse grid.
func smallDay(r *rand.Rand, trainers, dogs, sessions, steps int) *dayblocks.Day {
	const step = 15
	d := &dayblocks.Day{Step: step, Minutes: steps * step, Changeover: step * r.IntN(2),
		Policy: dayblocks.Policy{Drop: 20 + r.IntN(80), Change: r.IntN(8), Near: r.IntN(10), Spread: step * r.IntN(5), Late: r.IntN(6), Idle: r.IntN(3)}}
	span := func() dayblocks.Span {
		from := r.IntN(steps)
		return dayblocks.Span{From: from * step, To: (from + 1 + r.IntN(min(3, steps-from))) * step}
	}
	for range trainers {
		t := dayblocks.Trainer{Hours: []dayblocks.Span{{From: 0, To: (steps - r.IntN(3)) * step}}, Finish: step * r.IntN(steps)}
		if r.IntN(3) == 0 {
			t.Fixed = append(t.Fixed, dayblocks.Span{From: (steps - 1) * step, To: steps * step})
		}
		if r.IntN(2) == 0 {
			t.Breaks = append(t.Breaks, dayblocks.Break{Minutes: step, Within: dayblocks.Span{From: step, To: (steps / 2) * step}})
		}
		d.Trainers = append(d.Trainers, t)
	}
	for range 2 {
		d.Areas = append(d.Areas, dayblocks.Area{Dogs: 1 + r.IntN(2), Open: []dayblocks.Span{{From: 0, To: steps * step}}})
	}
	for range dogs {
		dog := dayblocks.Dog{Rest: step * r.IntN(3), Alone: r.IntN(4) == 0, Two: trainers > 1 && r.IntN(6) == 0, Weight: 1 + r.IntN(2)}
		if r.IntN(2) == 0 {
			dog.Away = append(dog.Away, span())
		}
		for range 1 + r.IntN(sessions) {
			s := dayblocks.Session{Minutes: step * (1 + r.IntN(2)), Skill: r.IntN(2), Extra: r.IntN(3)}
			if r.IntN(3) == 0 {
				s.Kept = dayblocks.Kept{Start: step * r.IntN(steps), Points: r.IntN(9)}
			}
			for t := range trainers {
				if t == 0 || r.IntN(2) == 0 {
					s.Handlers = append(s.Handlers, dayblocks.Choice{Trainer: t, Points: r.IntN(6)})
				}
			}
			if dog.Two && r.IntN(2) == 0 {
				for t := range trainers {
					if t == 0 || r.IntN(2) == 0 {
						s.Seconds = append(s.Seconds, dayblocks.Choice{Trainer: t, Points: r.IntN(6)})
					}
				}
			}
			for a := range d.Areas {
				if r.IntN(3) > 0 {
					p := dayblocks.Place{Area: a, Points: r.IntN(4)}
					if r.IntN(3) == 0 {
						p.Closed = append(p.Closed, span())
					}
					s.Areas = append(s.Areas, p)
				}
			}
			dog.Sessions = append(dog.Sessions, s)
		}
		d.Dogs = append(d.Dogs, dog)
	}
	if dogs > 1 && r.IntN(2) == 0 {
		d.Apart = append(d.Apart, [2]int{0, 1})
	}
	return d
}

// bruteForce finds the best value by trying every block, and every place of every break, keeping what Check accepts.
func bruteForce(t *testing.T, d *dayblocks.Day) int {
	t.Helper()
	best := -1
	p := &dayblocks.Plan{Breaks: make([][]int, len(d.Trainers))}
	type slot struct{ dog, session int }
	var slots []slot
	for i := range d.Dogs {
		for j := range d.Dogs[i].Sessions {
			slots = append(slots, slot{i, j})
		}
	}
	var try func(n int)
	try = func(n int) {
		// What is broken already stays broken: only rules between what is there are checked, with the rest listed as dropped.
		full := *p
		full.Dropped = append([]dayblocks.Dropped(nil), p.Dropped...)
		for _, s := range slots[n:] {
			full.Dropped = append(full.Dropped, dayblocks.Dropped{Dog: s.dog, Session: s.session})
		}
		value, err := dayblocks.Check(d, &full)
		if err != nil && n > 0 && len(p.Blocks) > 0 && p.Blocks[len(p.Blocks)-1].Dog == slots[n-1].dog && !repairable(err) {
			return
		}
		if n == len(slots) {
			if err == nil {
				best = max(best, value)
			}
			return
		}
		s := slots[n]
		p.Dropped = append(p.Dropped, dayblocks.Dropped{Dog: s.dog, Session: s.session})
		try(n + 1)
		p.Dropped = p.Dropped[:len(p.Dropped)-1]
		dog := &d.Dogs[s.dog]
		for _, h := range dog.Sessions[s.session].Handlers {
			for second := -1; second < len(d.Trainers); second++ {
				if dog.Two != (second >= 0) || second == h.Trainer {
					continue
				}
				for _, a := range dog.Sessions[s.session].Areas {
					for k := 0; k < d.Minutes; k += d.Step {
						p.Blocks = append(p.Blocks, dayblocks.Block{Dog: s.dog, Session: s.session, Trainer: h.Trainer, Second: second, Area: a.Area, Start: k})
						try(n + 1)
						p.Blocks = p.Blocks[:len(p.Blocks)-1]
					}
				}
			}
		}
	}
	var rest func(t, i int)
	rest = func(trainer, i int) {
		if trainer == len(d.Trainers) {
			try(0)
			return
		}
		x := &d.Trainers[trainer]
		if i == len(x.Breaks) {
			rest(trainer+1, 0)
			return
		}
		for k := 0; k < d.Minutes; k += d.Step {
			p.Breaks[trainer] = append(p.Breaks[trainer], k)
			rest(trainer, i+1)
			p.Breaks[trainer] = p.Breaks[trainer][:i]
		}
	}
	rest(0, 0)
	return best
}

// repairable reports whether blocks to come can end what is broken: only three in a row on one skill, by a session in between.
func repairable(err error) bool { return strings.Contains(err.Error(), "on skill") }

// TestOptimalOnSmallDays compares with trying everything.
func TestOptimalOnSmallDays(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	possible, proven := 0, 0
	for n := range 60 {
		d := smallDay(r, 1+n%2, 1+r.IntN(2), 2, 6)
		best := bruteForce(t, d)
		p, err := dayblocks.Solve(d, dayblocks.Options{Seed: uint64(n)})
		if best < 0 {
			require.Error(t, err, "day %d", n)
			continue
		}
		require.NoError(t, err, "day %d", n)
		value, err := dayblocks.Check(d, p)
		require.NoError(t, err, "day %d", n)
		require.Equal(t, value, p.Value, "day %d", n)
		require.LessOrEqual(t, value, best, "day %d", n)
		require.GreaterOrEqual(t, p.Bound, best, "day %d", n)
		require.Equal(t, best, value, "day %d", n)
		possible++
		if p.Bound == p.Value {
			proven++
		}
	}
	require.Greater(t, possible, 40)
	t.Logf("%d of %d days proven optimal", proven, possible)
	require.Equal(t, possible, proven)
}

// TestLargeDays checks plans of days that are too large to be proven by trying: every rule, the value, the bound, and that the same seed
// gives the same day.
func TestLargeDays(t *testing.T) {
	t.Parallel()
	for seed := range uint64(4) {
		if raceDetector && seed != 1 {
			continue
		}
		d := siteDay(seed, 8-int(seed), 40)
		p, err := dayblocks.Solve(d, dayblocks.Options{Seed: seed, Moves: 1000})
		require.NoError(t, err)
		value, err := dayblocks.Check(d, p)
		require.NoError(t, err)
		require.Equal(t, value, p.Value)
		require.GreaterOrEqual(t, p.Bound, p.Value)
		require.LessOrEqual(t, p.Bound, d.Worth())
		again, err := dayblocks.Solve(d, dayblocks.Options{Seed: seed, Moves: 1000})
		require.NoError(t, err)
		require.Equal(t, p, again)
		t.Logf("%d trainers: worth %d of at most %d, %.2f %% apart, %d sessions dropped", 8-int(seed), p.Value, p.Bound, 100*float64(p.Bound-p.Value)/float64(p.Value), len(p.Dropped))
	}
}

// TestLaterDay: the same day some hours later has the same plan, as much later.
func TestLaterDay(t *testing.T) {
	t.Parallel()
	const later = 235
	shift := func(spans []dayblocks.Span) (out []dayblocks.Span) {
		for _, s := range spans {
			out = append(out, dayblocks.Span{From: s.From + later, To: s.To + later})
		}
		return out
	}
	for seed := range uint64(3) {
		d := siteDay(seed+1, 3, 10)
		r := rand.New(rand.NewPCG(seed, 31))
		for i := range d.Dogs {
			for j := range d.Dogs[i].Sessions {
				if r.IntN(3) == 0 {
					d.Dogs[i].Sessions[j].Kept = dayblocks.Kept{Start: 480 + 5*r.IntN(60), Points: 5}
				}
			}
		}
		p, err := dayblocks.Solve(d, dayblocks.Options{Seed: 1})
		require.NoError(t, err)
		for i := range d.Trainers {
			x := &d.Trainers[i]
			x.Hours, x.Fixed, x.Finish = shift(x.Hours), shift(x.Fixed), x.Finish+later
			for b := range x.Breaks {
				x.Breaks[b].Within = shift([]dayblocks.Span{x.Breaks[b].Within})[0]
			}
		}
		for i := range d.Areas {
			d.Areas[i].Open = shift(d.Areas[i].Open)
		}
		for i := range d.Dogs {
			d.Dogs[i].Away = shift(d.Dogs[i].Away)
			for j := range d.Dogs[i].Sessions {
				d.Dogs[i].Sessions[j].Kept.Start += later
			}
		}
		q, err := dayblocks.Solve(d, dayblocks.Options{Seed: 1})
		require.NoError(t, err)
		for i := range p.Blocks {
			p.Blocks[i].Start += later
		}
		for _, breaks := range p.Breaks {
			for b := range breaks {
				breaks[b] += later
			}
		}
		require.Equal(t, p, q)
		require.NotEmpty(t, p.Blocks)
	}
}

// TestMoreTrainers checks that a further trainer, who may hold any session, never makes a small day worse.
func TestMoreTrainers(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	better := 0
	for n := range 60 {
		d := smallDay(r, 1, 3, 2, 8)
		before, err := dayblocks.Solve(d, dayblocks.Options{Seed: uint64(n)})
		if err != nil {
			continue
		}
		d.Trainers = append(d.Trainers, dayblocks.Trainer{Hours: []dayblocks.Span{{To: d.Minutes}}})
		for i := range d.Dogs {
			for j := range d.Dogs[i].Sessions {
				s := &d.Dogs[i].Sessions[j]
				s.Handlers = append(s.Handlers, dayblocks.Choice{Trainer: 1})
			}
		}
		after, err := dayblocks.Solve(d, dayblocks.Options{Seed: uint64(n)})
		require.NoError(t, err)
		require.GreaterOrEqual(t, after.Value, before.Value, "day %d", n)
		if after.Value > before.Value {
			better++
		}
	}
	require.Positive(t, better)
}

// TestStopped checks that a plan is whole whenever the search is stopped.
func TestStopped(t *testing.T) {
	t.Parallel()
	d := siteDay(1, 8, 40)
	for n := range 6 {
		p, err := dayblocks.Solve(d, dayblocks.Options{Limit: time.Duration(n+1) * 15 * time.Millisecond, Moves: 1 << 20})
		require.NoError(t, err)
		value, err := dayblocks.Check(d, p)
		require.NoError(t, err)
		require.Equal(t, value, p.Value)
	}
}

// TestStartIsKept checks that a plan can be gone on from: never worse than it.
func TestStartIsKept(t *testing.T) {
	t.Parallel()
	d := siteDay(2, 7, 24)
	p, err := dayblocks.Solve(d, dayblocks.Options{Moves: 4000})
	require.NoError(t, err)
	next, err := dayblocks.Solve(d, dayblocks.Options{Moves: 1, Start: p.Blocks, StartRests: p.Breaks})
	require.NoError(t, err)
	require.GreaterOrEqual(t, next.Value, p.Value)
}

// TestKeptStarts checks that a session stays where it was for points, and moves when moving is worth more than they are.
func TestKeptStarts(t *testing.T) {
	t.Parallel()
	all := []dayblocks.Span{{To: 120}}
	session := dayblocks.Session{Minutes: 15, Handlers: []dayblocks.Choice{{Trainer: 0}}, Areas: []dayblocks.Place{{Area: 0}}, Kept: dayblocks.Kept{Start: 60, Points: 10}}
	d := &dayblocks.Day{Step: 15, Minutes: 120, Trainers: []dayblocks.Trainer{{Hours: all}}, Areas: []dayblocks.Area{{Dogs: 1, Open: all}},
		Dogs: []dayblocks.Dog{{Sessions: []dayblocks.Session{session}}}, Policy: dayblocks.Policy{Drop: 100}}
	for _, c := range []struct {
		change      func()
		start, cost int
		worthIt     string
	}{
		{func() {}, 60, 0, "nothing is in its way"},
		{func() { d.Trainers[0].Finish = 60; d.Policy.Late = 4 }, 60, 4, "late costs less than moving"},
		{func() { d.Policy.Late = 30 }, -1, 10, "late costs more than moving"},
	} {
		c.change()
		p, err := dayblocks.Solve(d, dayblocks.Options{})
		require.NoError(t, err, c.worthIt)
		require.Len(t, p.Blocks, 1, c.worthIt)
		if c.start >= 0 {
			require.Equal(t, c.start, p.Blocks[0].Start, c.worthIt)
		} else {
			require.NotEqual(t, 60, p.Blocks[0].Start, c.worthIt)
		}
		require.Equal(t, d.Worth()-c.cost, p.Value, c.worthIt)
		value, err := dayblocks.Check(d, p)
		require.NoError(t, err, c.worthIt)
		require.Equal(t, p.Value, value, c.worthIt)
		require.Equal(t, p.Value, p.Bound, c.worthIt)
	}
}

// TestBreaksComeFirst checks that breaks which fit in one order only are found at once, and that such as fit in none are refused by name.
func TestBreaksComeFirst(t *testing.T) {
	t.Parallel()
	d := siteDay(0, 2, 6)
	from := d.Trainers[1].Hours[0].From
	d.Trainers[1].Hours[0].To, d.Trainers[1].Fixed, d.Trainers[1].Finish = from+60, nil, 0
	d.Trainers[1].Breaks = []dayblocks.Break{{Minutes: 20, Within: dayblocks.Span{From: from, To: from + 60}}, {Minutes: 40, Within: dayblocks.Span{From: from, To: from + 45}}}
	require.True(t, d.BreaksFit(d.Trainers[1]))
	for seed := range uint64(20) {
		p, err := dayblocks.Solve(d, dayblocks.Options{Seed: seed, Limit: 1})
		require.NoError(t, err)
		_, err = dayblocks.Check(d, p)
		require.NoError(t, err)
		require.Equal(t, []int{from + 40, from}, p.Breaks[1])
	}
	d.Trainers[1].Breaks[0].Minutes = 25
	require.False(t, d.BreaksFit(d.Trainers[1]))
	_, err := dayblocks.Solve(d, dayblocks.Options{})
	require.ErrorContains(t, err, "trainer 1 has no room for its breaks")
}

// TestReasons checks the reasons for what is dropped on days made for them.
func TestReasons(t *testing.T) {
	t.Parallel()
	all := []dayblocks.Span{{To: 60}}
	session := dayblocks.Session{Minutes: 15, Handlers: []dayblocks.Choice{{Trainer: 0}}, Areas: []dayblocks.Place{{Area: 0}}}
	for _, c := range []struct {
		name   string
		change func(d *dayblocks.Day)
		want   dayblocks.Reason
		lost   int
	}{
		{"closed area", func(d *dayblocks.Day) { d.Areas[0].Open = nil }, dayblocks.NeverPossible, 2},
		{"dog needs rest", func(d *dayblocks.Day) { d.Dogs[0].Rest = 45; d.Dogs[0].Sessions = append(d.Dogs[0].Sessions, session) }, dayblocks.DogFull, 1},
		{"trainer has 15 minutes", func(d *dayblocks.Day) { d.Trainers[0].Hours = []dayblocks.Span{{To: 15}} }, dayblocks.NoTrainer, 1},
		{"one area, open shortly", func(d *dayblocks.Day) {
			d.Areas[0].Open = []dayblocks.Span{{To: 15}}
			d.Trainers = append(d.Trainers, dayblocks.Trainer{Hours: all})
			for i := range d.Dogs {
				d.Dogs[i].Sessions[0].Handlers = []dayblocks.Choice{{Trainer: 0}, {Trainer: 1}}
			}
		}, dayblocks.NoArea, 1},
		{"no second trainer", func(d *dayblocks.Day) {
			d.Dogs[1].Two = true
			d.Trainers = append(d.Trainers, dayblocks.Trainer{Hours: []dayblocks.Span{{To: 15}}})
			d.Dogs[0].Sessions[0].Handlers = []dayblocks.Choice{{Trainer: 1}}
			d.Dogs[0].Weight = 9
		}, dayblocks.NoSecond, 1},
		{"costs more than it is worth", func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Areas = []dayblocks.Place{{Area: 0, Points: 500}} }, dayblocks.NotWorthIt, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := &dayblocks.Day{Step: 15, Minutes: 60, Trainers: []dayblocks.Trainer{{Hours: all}}, Areas: []dayblocks.Area{{Dogs: 1, Open: all}}, Policy: dayblocks.Policy{Drop: 100}}
			for range 2 {
				s := session
				d.Dogs = append(d.Dogs, dayblocks.Dog{Sessions: []dayblocks.Session{s}})
			}
			c.change(d)
			p, err := dayblocks.Solve(d, dayblocks.Options{})
			require.NoError(t, err)
			_, err = dayblocks.Check(d, p)
			require.NoError(t, err)
			require.Len(t, p.Dropped, c.lost)
			require.Equal(t, c.want, p.Dropped[0].Reason)
		})
	}
}

// TestInvalidDays checks that each fault is named.
func TestInvalidDays(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		change func(d *dayblocks.Day)
		says   string
	}{
		{func(d *dayblocks.Day) { d.Step = 0 }, "steps of 0"},
		{func(d *dayblocks.Day) { d.Minutes = 7 }, "multiples of the step"},
		{func(d *dayblocks.Day) { d.Trainers[0].Hours[0].To = 1 << 30 }, "trainer 0, hours"},
		{func(d *dayblocks.Day) { d.Trainers[0].Breaks[0].Minutes = 600 }, "trainer 0 has no room for its breaks"},
		{func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Minutes = -5 }, "dog 0, session 0: -5 minutes"},
		{func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Handlers[0].Trainer = 99 }, "trainer 99"},
		{func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Areas[0].Area = -1 }, "area -1"},
		{func(d *dayblocks.Day) { d.Apart = [][2]int{{0, 0}} }, "two dogs"},
		{func(d *dayblocks.Day) { d.Policy.Drop = -1 }, "policy: -1"},
		{func(d *dayblocks.Day) { d.Dogs[0].Rest = 3 }, "rest of 3 minutes"},
		{func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Kept = dayblocks.Kept{Start: 600, Points: -1} }, "kept at minute 600"},
		{func(d *dayblocks.Day) { d.Dogs[0].Sessions[0].Kept.Start = 7 }, "kept at minute 7"},
	} {
		d := siteDay(0, 3, 6)
		c.change(d)
		_, err := dayblocks.Solve(d, dayblocks.Options{Moves: 1})
		require.ErrorIs(t, err, dayblocks.ErrInvalid)
		require.ErrorContains(t, err, c.says)
	}
}

// TestCheckFindsFaults breaks every rule in a good plan, and Check must say so.
func TestCheckFindsFaults(t *testing.T) {
	t.Parallel()
	d := siteDay(0, 8, 16)
	good, err := dayblocks.Solve(d, dayblocks.Options{Moves: 1000})
	require.NoError(t, err)
	for _, c := range []struct {
		change func(p *dayblocks.Plan)
		says   string
	}{
		{func(p *dayblocks.Plan) { p.Blocks[0].Start = 3 * 60 }, "not at work"},
		{func(p *dayblocks.Plan) { p.Blocks[0].Start++ }, "off the grid"},
		{func(p *dayblocks.Plan) { p.Blocks[0].Trainer = 7 - p.Blocks[0].Trainer }, "may not be held"},
		{func(p *dayblocks.Plan) { p.Blocks = append(p.Blocks, p.Blocks[0]) }, "held twice"},
		{func(p *dayblocks.Plan) { p.Blocks = p.Blocks[1:] }, "held false, dropped false"},
		{func(p *dayblocks.Plan) { p.Breaks[0][0] = 0 }, "takes break 0"},
		{func(p *dayblocks.Plan) { p.Blocks[0].Second = 3 - 4*min(1, 1+p.Blocks[0].Second) }, "second trainer"},
	} {
		p := *good
		p.Blocks = append([]dayblocks.Block(nil), good.Blocks...)
		p.Breaks = nil
		for _, b := range good.Breaks {
			p.Breaks = append(p.Breaks, append([]int(nil), b...))
		}
		c.change(&p)
		_, err := dayblocks.Check(d, &p)
		require.ErrorContains(t, err, c.says)
	}
}
