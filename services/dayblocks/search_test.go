package dayblocks

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// booksDay is a small day with all that a plan is counted by.
func booksDay() *Day {
	d := &Day{Step: 15, Minutes: 480, Changeover: 15, Policy: Policy{Drop: 50, Change: 3, Near: 4, Spread: 120, Late: 5, Idle: 1}, Apart: [][2]int{{0, 1}, {2, 5}}}
	for range 3 {
		d.Trainers = append(d.Trainers, Trainer{Hours: []Span{{0, 450}}, Fixed: []Span{{120, 150}}, Finish: 400 / 15 * 15, Breaks: []Break{{30, Span{150, 300}}, {15, Span{30, 120}}}})
	}
	for range 2 {
		d.Areas = append(d.Areas, Area{2, []Span{{0, 240}, {270, 480}}})
	}
	for i := range 8 {
		dog := Dog{Rest: 30, Alone: i == 3, Two: i == 4, Weight: 1 + i%2}
		for j := range 3 {
			dog.Sessions = append(dog.Sessions, Session{Minutes: 15 + 15*(i%2), Skill: j % 2, Handlers: []Choice{{i % 3, 0}, {(i + 1) % 3, 5}}, Areas: []Place{{0, 0, nil}, {1, j, nil}}})
		}
		d.Dogs = append(d.Dogs, dog)
	}
	return d
}

// TestMovesKeepTheBooks checks after every move that the cost kept up to date, what is free and what is where agree with a plan built anew.
func TestMovesKeepTheBooks(t *testing.T) {
	t.Parallel()
	d := booksDay()
	require.NoError(t, d.Validate())
	m := newModel(d)
	x := newSearch(m, newState(m), 1)
	var all []int32
	for i := range m.items {
		all = append(all, int32(i))
	}
	x.fill(all)
	x.now = x.s.cost() + x.missingBreaks()
	for range 3000 {
		x.move(10)
		anew := newState(m)
		for i, p := range x.s.at {
			if p.start >= 0 {
				anew.put(int32(i), p, true)
			}
		}
		require.Equal(t, anew.cost()+x.missingBreaks(), x.now)
		require.Equal(t, anew.cost(), x.s.cost())
		require.Equal(t, anew.missing, x.s.missing)
		require.InDelta(t, anew.spare(), x.s.spare(), 1e-6)
		require.Equal(t, anew.free, x.s.free)
		require.Equal(t, anew.load, x.s.load)
		require.Equal(t, anew.room, x.s.room)
		require.Equal(t, anew.bare, x.s.bare)
	}
}

// TestTwins: a search that follows another is where that one is, and what one finds the other knows.
func TestTwins(t *testing.T) {
	t.Parallel()
	m := newModel(booksDay())
	x := firstPlan(m, Options{Seed: 1})
	y := x.twin(1)
	require.Equal(t, x.s.at, y.s.at)
	apart := 0
	for range 200 {
		for range 10 {
			x.move(20)
			y.move(20)
		}
		if x.now != y.now {
			apart++
		}
		low, best := min(x.now, y.now), min(x.best, y.best)
		x.exchange(y)
		require.Equal(t, []int{low, low, best, best}, []int{x.now, y.now, x.best, y.best})
		for _, z := range []*search{x, y} {
			require.Equal(t, low, z.s.cost()+z.missingBreaks())
		}
		if low < best {
			require.Fail(t, "a plan better than the best")
		}
	}
	require.Greater(t, apart, 20)
}

// TestOddTime: free time counts for what could be filled with it, the more the longer it is in one piece.
func TestOddTime(t *testing.T) {
	t.Parallel()
	m := &model{d: &Day{Policy: Policy{Drop: 100}}, steps: 130, lengths: []int{4, 5}}
	m.findWaste()
	all := newSteps(130)
	all.put(0, 130, true)
	of := func(runs ...[2]int) float64 {
		free := newSteps(130)
		for _, r := range runs {
			free.put(r[0], r[1], true)
		}
		return m.countOdd(free, all)
	}
	require.Zero(t, of())
	require.InDelta(t, 2*(1-1./5), of([2]int{3, 4}), 1e-9)    // a step that no session fills
	require.InDelta(t, 2*(0-16./5), of([2]int{62, 66}), 1e-9) // room for a session, across two words
	require.InDelta(t, of([2]int{0, 3})+of([2]int{64, 69}), of([2]int{0, 3}, [2]int{125, 130}), 1e-9)
	require.Less(t, of([2]int{10, 14}), of([2]int{10, 12}, [2]int{20, 22})) // in one piece rather than in two
	none := newSteps(130)
	require.Zero(t, m.countOdd(all, none))
}

// TestWhenFreeTimeCounts: only where a session is left out that some trainer could hold on an empty day.
func TestWhenFreeTimeCounts(t *testing.T) {
	t.Parallel()
	session := func(trainer int) Session {
		return Session{Minutes: 15, Handlers: []Choice{{Trainer: trainer}}, Areas: []Place{{Area: 0}}}
	}
	for _, c := range []struct {
		what    string
		trainer int // of the second dog
		hours   int
		full    bool
	}{
		{"all held", 0, 60, false},
		{"no time for the second dog", 0, 20, true},
		{"the second dog's trainer is not there", 1, 20, false},
	} {
		d := &Day{Step: 5, Minutes: 240, Policy: Policy{Drop: 100}, Trainers: []Trainer{{Hours: []Span{{0, c.hours}}}, {}}, Areas: []Area{{1, []Span{{0, 240}}}},
			Dogs: []Dog{{Sessions: []Session{session(0)}}, {Sessions: []Session{session(c.trainer)}}}}
		require.NoError(t, d.Validate())
		x := firstPlan(newModel(d), Options{})
		x.lookWhetherFull()
		require.Equal(t, c.full, x.full, c.what)
		if !c.full {
			require.Zero(t, x.oddTime(), c.what)
		}
	}
}
