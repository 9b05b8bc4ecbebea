package allocation

import (
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestDealing deals out all dogs of small assignments among all trainers at once and compares with every assignment there is.
func TestDealing(t *testing.T) {
	t.Parallel()
	rnd := newRandom(5, 5)
	compared, better := 0, 0
	for n := range 300 {
		p := randomAssignment(rnd)
		for _, part := range components(p) {
			c := chainOf(newModel(p, part, 1))
			c.width = float64(c.p.trainers)
			before := c.value
			if len(c.waiting) > dealWaiting {
				continue
			}
			c.choose()
			free := slices.Clone(c.waiting)
			for range 200 { // which dogs that wait come in is left to chance
				c.lay(c, 0)
				if missing := slices.ContainsFunc(free, func(d int32) bool { return !slices.Contains(c.dogs, d) }); !missing {
					break
				}
			}
			require.False(t, c.search(), "problem %d", n)
			if c.found {
				c.deal()
			}
			checkChain(t, c)
			compared++
			if c.value > before {
				better++
			}
			require.Equal(t, everyAssignment(partOf(p, part), 0, make([]int, len(p.Trainers))), c.value, "problem %d", n)
		}
	}
	t.Logf("%d compared, %d better than before", compared, better)
	require.Greater(t, compared, 200)
	require.Greater(t, better, 50)
}

// partOf is a problem with the dogs of one part only.
func partOf(p *Problem, c part) *Problem {
	q := *p
	q.Dogs = nil
	for _, u := range c.units {
		for _, d := range u {
			q.Dogs = append(q.Dogs, p.Dogs[d])
		}
	}
	return &q
}

// chainOf makes a chain with a greedy plan.
func chainOf(m *model) *regroupChain {
	d := newDual(m, m.typicalGain(), 1)
	for range 100 {
		d.step(0)
	}
	s := newSchedules(d)
	p := newPolisher(s)
	price := p.minutePrices(d)
	guide := newGuide(m)
	guide.update(d.settle(), 1)
	plan := newState(m)
	fill(plan, guide, func() bool { return false })
	c := newRegroupChain(p, price, newRandom(3, 3))
	c.load(plan)
	return c
}

// checkChain counts a chain's plan anew.
func checkChain(t *testing.T, c *regroupChain) {
	t.Helper()
	value, waiting := int64(0), 0
	left := make([]int32, c.p.trainers)
	for k := range left {
		if m := c.p.s.cal[k].minutes; len(m) > 0 {
			left[k] = m[0]
		}
	}
	for d, at := range c.at {
		if at < 0 {
			require.Contains(t, c.waiting, int32(d))
			waiting++
			continue
		}
		require.Contains(t, c.of[at], int32(d))
		value += c.p.worth[d*c.p.trainers+int(at)]
		left[at] -= c.p.size(int32(d), at)
		require.GreaterOrEqual(t, left[at], int32(0))
	}
	require.Equal(t, left, c.left)
	require.Equal(t, value, c.value)
	require.Len(t, c.waiting, waiting)
}

// largeChain is a chain for a published problem of 20 agents and 100 jobs.
func largeChain(t testing.TB) *regroupChain {
	t.Helper()
	f, err := os.Open("../../testdata/gap/chu1997/d20100")
	require.NoError(t, err)
	defer f.Close()
	g, err := ReadGAP(f)
	require.NoError(t, err)
	return chainOf(newModel(g.Problem, components(g.Problem)[0], 1))
}

// TestRegroupMoves checks the bookkeeping after every move, that the best plan is kept, and that moves allocate nothing.
func TestRegroupMoves(t *testing.T) {
	c := largeChain(t)
	start, most := c.value, c.bestValue
	for k := range 2000 {
		c.move(c.scale * regroupHot * float64(k%4) / 3)
		checkChain(t, c)
		most = max(most, c.value)
		require.Equal(t, most, c.bestValue)
	}
	require.Greater(t, most, start)
	require.Zero(t, testing.AllocsPerRun(500, func() { c.move(c.scale * regroupCold) }))
}

func BenchmarkRegroup(b *testing.B) {
	c := largeChain(b)
	b.ReportAllocs()
	for b.Loop() {
		c.move(c.scale * regroupCold)
	}
}
