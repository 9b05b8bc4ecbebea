package slots

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReopen begins with plans that appoint nobody: reopening keeps them free of clashes, never makes them dearer, counts their cost right, and
// ends at the proven optimum where the whole part can be reopened.
func TestReopen(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(14, 4))
	day := Span{0, 480}
	reached, parts := 0, 0
	for range 6 {
		p := &Problem{Step: 15, Minutes: 480, Pause: 15, Days: []Day{{day, 7}}, Areas: []Area{{1, []Span{day}}, {1, []Span{day}}}, Gates: []Gate{{15, 10}}}
		for range 3 {
			p.Trainers = append(p.Trainers, Trainer{[]Span{{30 * r.IntN(4), 480 - 30*r.IntN(4)}}})
		}
		for range reopenLeast + r.IntN(2) {
			from := 60 * r.IntN(4)
			p.Visits = append(p.Visits, Visit{Minutes: 60 + 15*r.IntN(4), Trainers: []Choice{{r.IntN(2), r.IntN(9)}, {2, r.IntN(30)}}, Areas: []Choice{{0, 0}, {1, 3}}, Gates: []Choice{{}},
				Windows: []Window{{Span{from, from + 180 + 15*r.IntN(8)}, 4}}, Miss: 100})
		}
		require.NoError(t, p.Validate())
		m, err := newModel(p)
		require.NoError(t, err)
		for _, x := range m.split() {
			if len(x.visits) < reopenLeast {
				continue
			}
			parts++
			none := make([]int32, len(x.visits))
			for v := range none {
				none[v] = x.first[v+1] - 1
			}
			never := func() bool { return false }
			reopened, best := newTree(x, none, never), newTree(x, x.greedy(), never)
			for last := reopened.cost; reopened.tries < 40; last = reopened.cost {
				reopened.reopen(10)
				require.LessOrEqual(t, reopened.cost, last)
				cost, ok := x.fits(reopened.best)
				require.True(t, ok)
				require.Equal(t, cost, reopened.cost)
			}
			best.search(5000)
			require.Equal(t, best.cost, best.bound)
			require.GreaterOrEqual(t, reopened.cost, best.bound)
			if reopened.cost == best.bound {
				reached++
			}
		}
	}
	require.GreaterOrEqual(t, parts, 4)
	require.GreaterOrEqual(t, reached, parts*9/10, "of %d", parts)
}
