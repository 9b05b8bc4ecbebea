package allocation

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// coolings lists how long the coolings of a search with so many seconds for 120 dogs and so many moves a second last, as moves a dog, until the time to
// rebuild has come.
func coolings(t *testing.T, limit time.Duration, speed float64) (moves []float64) {
	p, err := Generate("S", 1)
	require.NoError(t, err)
	r := &run{p: p, o: Options{Limit: limit, Threads: 1}, threads: 1, start: time.Now()}
	x := newSolver(r, newModel(p, components(p)[0], 1), 0, 1, nil)
	x.makePlan()
	c := newSearch(x)
	c.speed, c.cycles, c.at = speed, 1, 1
	for {
		c.keepTime()
		moves = append(moves, c.lasts.Seconds()*0.4*speed/float64(len(x.m.dogOf)))
		r.start = r.start.Add(-c.lasts)
		c.from = c.from.Add(-c.lasts)
		if c.cooled() {
			return moves
		}
		c.cycles++
	}
}

// TestCoolings: where there is time for one slow cooling only, it takes most of it; where there is more, the plan is warmed up again.
func TestCoolings(t *testing.T) {
	const seconds = 60
	few := coolings(t, seconds*time.Second, 1000)
	require.Len(t, few, 1)
	require.InDelta(t, coolShare*seconds*0.4*1000/120, few[0], 1)
	many := coolings(t, seconds*time.Second, 50_000)
	require.Greater(t, len(many), 3)
	require.InDelta(t, coolMost, many[0], 10)
	for _, moves := range many[1:] {
		require.InDelta(t, coolMost/2, moves, 10)
	}
}
