package refsolve_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/refsolve"
)

// randomDay is a small day in which every rule and cost can matter.
func randomDay(r *rand.Rand) *dayblocks.Day {
	const step = 10
	size := 8 + r.IntN(10)
	some := func(one int) []dayblocks.Span {
		if r.IntN(one) > 0 {
			return nil
		}
		from := r.IntN(size)
		return []dayblocks.Span{{From: from * step, To: min(size, from+1+r.IntN(4)) * step}}
	}
	d := &dayblocks.Day{Step: step, Minutes: size * step, Changeover: step * r.IntN(2), Policy: dayblocks.Policy{
		Drop: 10 + r.IntN(100), Change: r.IntN(12), Near: r.IntN(12), Spread: r.IntN(6) * step, Late: r.IntN(10), Idle: r.IntN(4)}}
	for range 1 + r.IntN(3) {
		from := r.IntN(3)
		t := dayblocks.Trainer{Hours: []dayblocks.Span{{From: from * step, To: (size - r.IntN(3)) * step}}, Fixed: some(3), Finish: r.IntN(size) * step}
		if r.IntN(2) == 0 {
			t.Breaks = append(t.Breaks, dayblocks.Break{Minutes: step, Within: dayblocks.Span{From: step * 2, To: step * (4 + r.IntN(4))}})
		}
		d.Trainers = append(d.Trainers, t)
	}
	for range 1 + r.IntN(3) {
		d.Areas = append(d.Areas, dayblocks.Area{Dogs: r.IntN(3), Open: append(some(3), dayblocks.Span{From: r.IntN(3) * step, To: size * step})})
	}
	total := 0
	for total < 3+r.IntN(7) {
		dog := dayblocks.Dog{Rest: r.IntN(4) * step, Away: some(2), Alone: r.IntN(4) == 0, Two: r.IntN(5) == 0, Weight: r.IntN(4)}
		for range 1 + r.IntN(3) {
			s := dayblocks.Session{Minutes: step * (1 + r.IntN(3)), Skill: r.IntN(2), Extra: r.IntN(9)}
			if r.IntN(3) == 0 {
				s.Kept = dayblocks.Kept{Start: r.IntN(size) * step, Points: r.IntN(12)}
			}
			for t := range d.Trainers {
				if r.IntN(3) > 0 {
					s.Handlers = append(s.Handlers, dayblocks.Choice{Trainer: t, Points: r.IntN(9)})
				}
			}
			for a := range d.Areas {
				if r.IntN(4) > 0 {
					s.Areas = append(s.Areas, dayblocks.Place{Area: a, Points: r.IntN(9), Closed: some(3)})
				}
			}
			dog.Sessions = append(dog.Sessions, s)
			total++
		}
		d.Dogs = append(d.Dogs, dog)
	}
	for i := range d.Dogs {
		for j := range i {
			if r.IntN(4) == 0 {
				d.Apart = append(d.Apart, [2]int{i, j})
			}
		}
	}
	return d
}

// someSeconds says for some sessions of dogs that need two who may be the second, and for how many points.
func someSeconds(r *rand.Rand, d *dayblocks.Day) {
	for i := range d.Dogs {
		for j := range d.Dogs[i].Sessions {
			if s := &d.Dogs[i].Sessions[j]; d.Dogs[i].Two && r.IntN(2) == 0 {
				s.Seconds = []dayblocks.Choice{}
				for t := range d.Trainers {
					if r.IntN(3) > 0 {
						s.Seconds = append(s.Seconds, dayblocks.Choice{Trainer: t, Points: r.IntN(9)})
					}
				}
			}
		}
	}
}

// TestDaysAgainstCPSAT checks that small days are planned as well as CP-SAT proves that they can be: the same value, with a bound that is not
// below it; and that both find the same days impossible. The rules are written down twice, in Go and in Python.
func TestDaysAgainstCPSAT(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(11, 17))
	var days []*dayblocks.Day
	for range 220 {
		days = append(days, randomDay(r))
		someSeconds(rand.New(rand.NewPCG(uint64(len(days)), 5)), days[len(days)-1])
	}
	found, version := refsolve.SolveDays(t, days)
	possible, proven, dropped, sessions := 0, 0, 0, 0
	for n, d := range days {
		p, err := dayblocks.Solve(d, dayblocks.Options{Seed: uint64(n)})
		if found[n].Value == nil {
			require.ErrorIs(t, err, dayblocks.ErrInvalid, "day %d", n)
			continue
		}
		require.NoError(t, err, "day %d", n)
		value, err := dayblocks.Check(d, p)
		require.NoError(t, err, "day %d", n)
		require.Equal(t, *found[n].Bound, *found[n].Value, "day %d is not proven by %s", n, version)
		require.Equal(t, *found[n].Value, value, "day %d", n)
		require.GreaterOrEqual(t, p.Bound, value, "day %d", n)
		possible++
		if p.Bound == value {
			proven++
		}
		dropped, sessions = dropped+len(p.Dropped), sessions+len(p.Dropped)+len(p.Blocks)
	}
	t.Logf("%d days of %s: same value on all, %d proven by us as well; %d of %d sessions dropped", possible, version, proven, dropped, sessions)
	require.GreaterOrEqual(t, possible, 200)
	require.Positive(t, dropped)
}
