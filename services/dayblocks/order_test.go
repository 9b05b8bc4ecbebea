package dayblocks

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestFromAndUpTo compares with looking at one step after the other.
func TestFromAndUpTo(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		n := 1 + r.IntN(200)
		s := newSteps(n)
		for range r.IntN(6) {
			at := r.IntN(n)
			s.put(at, at+1, true)
		}
		for k := range n {
			from, upTo := k, k
			for from < n && !s.has(from) {
				from++
			}
			for upTo >= 0 && !s.has(upTo) {
				upTo--
			}
			if from == n {
				from = -1
			}
			require.Equal(t, from, s.from(k))
			require.Equal(t, upTo, s.upTo(k))
		}
		require.Equal(t, -1, s.from(64*len(s)))
		require.Equal(t, -1, s.upTo(-1))
	}
}

// fullDay is a day of four trainers and seven dogs with a plan that holds all: trainers work without a gap, but for a break and what a dog's rest
// asks for.
func fullDay(r *rand.Rand) *Day {
	d := &Day{Step: 5, Minutes: 24 * 60, Changeover: 5, Policy: Policy{Drop: 100, Change: 1}, Areas: []Area{{1, []Span{{0, 1440}}}, {3, []Span{{0, 1440}}}}}
	const dogs, trainers = 7, 4
	d.Dogs = make([]Dog, dogs)
	free := make([]int, dogs) // when each dog has rested
	for i := range d.Dogs {
		d.Dogs[i].Rest = 10
	}
	quiet := 0 // when the area for one dog is free
	for w := range trainers {
		now := 60
		x := Trainer{Breaks: []Break{{Minutes: 20, Within: Span{60, 1440}}}}
		for block := range 5 {
			if block == 2 {
				now += 20
			}
			i := 0
			for j := range d.Dogs {
				if free[j] < free[i] || free[j] == free[i] && r.IntN(2) == 0 {
					i = j
				}
			}
			now = max(now, free[i])
			s := Session{Minutes: 5 * (2 + r.IntN(4)), Skill: len(d.Dogs[i].Sessions), Handlers: []Choice{{Trainer: w}}, Areas: []Place{{Area: 1}}}
			if now >= quiet && r.IntN(3) == 0 {
				s.Areas[0].Area, quiet = 0, now+s.Minutes
			}
			d.Dogs[i].Sessions = append(d.Dogs[i].Sessions, s)
			free[i] = now + s.Minutes + 10
			now += s.Minutes + 5
		}
		x.Hours = []Span{{60, now}}
		d.Trainers = append(d.Trainers, x)
	}
	return d
}

// TestFullDays: days that hold all sessions with next to no time left are planned so, and nearly all of those that a short search alone leaves
// something out of.
func TestFullDays(t *testing.T) {
	t.Parallel()
	left, held := 0, 0
	for seed := range uint64(60) {
		d := fullDay(rand.New(rand.NewPCG(seed, 8)))
		require.NoError(t, d.Validate())
		m := newModel(d)
		x := firstPlan(m, Options{Seed: seed})
		x.anneal(&pace{moves: 1000}, 0.015, 0, func() bool { return false })
		count := func() (n int) {
			for i := range m.items {
				if x.bestAt[i].start < 0 {
					n++
				}
			}
			return n
		}
		if count() == 0 || count() > ordersDropped {
			continue
		}
		left++
		before := x.best
		x.reorder(5000, func() bool { return false })
		require.LessOrEqual(t, x.best, before)
		if count() == 0 {
			held++
			p := x.s.plan()
			p.Value = d.Worth() - x.best
			value, err := Check(d, p)
			require.NoError(t, err)
			require.Equal(t, p.Value, value)
		}
	}
	t.Logf("%d of %d days hold all", held, left)
	require.Greater(t, left, 10)
	require.Greater(t, held*10, left*6)
}

// TestNoOrder: a day that no order helps is left as it is, at once.
func TestNoOrder(t *testing.T) {
	t.Parallel()
	day := func(change func(d *Day)) *search {
		d := &Day{Step: 5, Minutes: 200, Policy: Policy{Drop: 10}, Areas: []Area{{2, []Span{{0, 200}}}}, Trainers: []Trainer{{Hours: []Span{{0, 60}}}}}
		for range 3 {
			d.Dogs = append(d.Dogs, Dog{Sessions: []Session{{Minutes: 20, Handlers: []Choice{{}}, Areas: []Place{{}}}}})
		}
		change(d)
		m := newModel(d)
		return newSearch(m, newState(m), 1) // nothing is placed
	}
	for name, change := range map[string]func(d *Day){
		"two trainers":   func(d *Day) { d.Dogs[0].Two = true },
		"kept apart":     func(d *Day) { d.Apart = [][2]int{{0, 1}} },
		"no time":        func(d *Day) { d.Trainers[0].Hours[0].To = 55 },
		"no trainer":     func(d *Day) { d.Dogs[0].Sessions[0].Handlers = nil },
		"nothing to add": func(d *Day) { d.Dogs = nil },
		"too much":       func(d *Day) { d.Dogs = append(d.Dogs, d.Dogs...) },
		"never together": func(d *Day) { d.Dogs[0].Away = []Span{{0, 45}} },
	} {
		x := day(change)
		before := x.best
		began := time.Now()
		x.reorder(1000, func() bool { return false })
		require.Equal(t, before, x.best, name)
		require.Less(t, time.Since(began), time.Second, name)
	}
	x := day(func(*Day) {})
	x.reorder(1000, func() bool { return false })
	require.Zero(t, x.best)
}
