package dayblocks

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestMovesKeepTheBooks checks after every move that the cost kept up to date, what is free and what is where agree with a plan built anew.
func TestMovesKeepTheBooks(t *testing.T) {
	t.Parallel()
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
		require.Equal(t, anew.free, x.s.free)
		require.Equal(t, anew.load, x.s.load)
		require.Equal(t, anew.room, x.s.room)
		require.Equal(t, anew.bare, x.s.bare)
	}
}
