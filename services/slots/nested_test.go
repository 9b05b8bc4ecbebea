package slots

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestAssignmentsAreFlows checks that parts whose limits lie one within the other are solved as flows, with the same cost as by search: trainers
// who have time for one visit a morning, on days with few places.
func TestAssignmentsAreFlows(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 3))
	flows := 0
	for range 100 {
		p := &Problem{Step: 60, Minutes: 300, Areas: []Area{{Room: 99, Open: []Span{{0, 300}}}}, Gates: []Gate{{}}}
		for d := range 3 {
			p.Days = append(p.Days, Day{Span{d * 100, d*100 + 100}, 1 + r.IntN(3)})
		}
		for range 1 + r.IntN(5) {
			p.Trainers = append(p.Trainers, Trainer{[]Span{{0, 300}}})
		}
		for range 2 + r.IntN(7) {
			v := Visit{Minutes: 60, Areas: []Choice{{}}, Gates: []Choice{{}}, Miss: 20 + r.IntN(40)}
			for n := range p.Trainers {
				if r.IntN(3) > 0 {
					v.Trainers = append(v.Trainers, Choice{n, r.IntN(20)})
				}
			}
			for d := range 3 {
				if r.IntN(3) > 0 {
					v.Windows = append(v.Windows, Window{Span{d * 100, d*100 + 100}, r.IntN(30)})
				}
			}
			p.Visits = append(p.Visits, v)
		}
		require.NoError(t, p.Validate())
		m, err := newModel(p)
		require.NoError(t, err)
		for _, x := range m.split() {
			limits, leaf, ok := x.nested()
			require.True(t, ok)
			picks, cost := x.assign(limits, leaf)
			counted, fits := x.fits(picks)
			require.True(t, fits)
			require.Equal(t, counted, cost)
			search := newTree(x, x.greedy(), func() bool { return false })
			search.search(1000)
			require.Equal(t, search.cost, search.bound)
			require.Equal(t, search.cost, cost)
			flows++
		}
	}
	require.Greater(t, flows, 100)
}

// TestTimesAreNoFlow: visits of different lengths at one trainer's day are not taken for an assignment.
func TestTimesAreNoFlow(t *testing.T) {
	t.Parallel()
	day := Span{0, 300}
	p := &Problem{Step: 15, Minutes: 300, Days: []Day{{day, 9}}, Areas: []Area{{9, []Span{day}}}, Gates: []Gate{{}}, Trainers: []Trainer{{[]Span{day}}}}
	for n := range 3 {
		p.Visits = append(p.Visits, Visit{Minutes: 60 + 30*n, Trainers: []Choice{{}}, Areas: []Choice{{}}, Gates: []Choice{{}}, Windows: []Window{{Span: day}}, Miss: 10})
	}
	m, err := newModel(p)
	require.NoError(t, err)
	parts := m.split()
	require.Len(t, parts, 1)
	_, _, ok := parts[0].nested()
	require.False(t, ok)
}

// TestParts: days that no owner could swap are planned apart, and so are visits that share nothing that is scarce.
func TestParts(t *testing.T) {
	t.Parallel()
	all := []Span{{0, 600}}
	p := &Problem{Step: 60, Minutes: 600, Days: []Day{{Span{0, 300}, 9}, {Span{300, 600}, 9}}, Areas: []Area{{9, all}}, Gates: []Gate{{}}, Trainers: []Trainer{{all}, {all}, {all}}}
	for n := range 6 {
		from := 300 * (n % 2)
		p.Visits = append(p.Visits, Visit{Minutes: 60, Trainers: []Choice{{n / 2, 0}}, Areas: []Choice{{}}, Gates: []Choice{{}}, Windows: []Window{{Span{from, from + 300}, 0}}, Miss: 10})
	}
	parts := func() (out [][]int) {
		m, err := newModel(p)
		require.NoError(t, err)
		for _, x := range m.split() {
			out = append(out, x.visits)
		}
		return out
	}
	require.Equal(t, [][]int{{0}, {1}, {2}, {3}, {4}, {5}}, parts())
	p.Visits[3].Trainers = append(p.Visits[3].Trainers, Choice{0, 1})
	require.Equal(t, [][]int{{0}, {1, 3}, {2}, {4}, {5}}, parts(), "they could want the same trainer")
	p.Areas[0].Room = 2
	require.Equal(t, [][]int{{0, 2, 4}, {1, 3, 5}}, parts(), "three could be in the area")
}
