package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestForcedInKnapsack compares what a schedule with one stay in it can leave over at most with all schedules of a trainer, on days of one
// capacity; some stays are worth nothing.
func TestForcedInKnapsack(t *testing.T) {
	t.Parallel()
	rnd := newRandom(5, 5)
	forced := 0
	for range 60 {
		jobs := 3 + rnd.below(8)
		cost, weight := make([][]int, 2), make([][]int, 2)
		for a := range cost {
			for range jobs {
				cost[a], weight[a] = append(cost[a], rnd.below(50)), append(weight[a], 1+rnd.below(12))
			}
		}
		g, err := newGAP(cost, weight, []int{3 + rnd.below(25), 10 + rnd.below(20)})
		require.NoError(t, err)
		m := newModel(g.Problem, components(g.Problem)[0], 1)
		require.True(t, m.oneDay())
		net := make([]micro, len(m.groups))
		for i := range net {
			net[i] = micro(rnd.below(60)-10) << m.shift
		}
		c := newCalendars(m)[0]
		x := &pricer{m: m}
		x.price(c, net, nil, 5, 1<<20, 0)
		got := x.forced(c, net, nil)
		require.Len(t, got, len(c.stays))
		for i := range c.stays {
			best := micro(-1 << 60)
			for set := range 1 << len(c.stays) {
				if set>>i&1 == 0 {
					continue
				}
				minutes, sum := int32(0), micro(0)
				for j := range c.stays {
					if set>>j&1 != 0 {
						minutes += c.stays[j].size
						sum += net[c.stays[j].group] - micro(c.stays[j].penalty)<<m.shift
					}
				}
				if minutes <= c.minutes[0] {
					best = max(best, sum)
				}
			}
			require.Equal(t, best, got[i])
			forced++
		}
	}
	require.Positive(t, forced)
}
