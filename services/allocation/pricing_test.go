package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// partsPriced generates a problem and makes the schedule bound of each of its parts, at prices of the resource bound.
func partsPriced(t *testing.T, size string, seed uint64) (parts []*schedules) {
	t.Helper()
	p, err := Generate(size, seed)
	require.NoError(t, err)
	r := &run{p: p, threads: 1}
	r.prepare()
	for _, x := range r.parts {
		for range 200 {
			x.dual.step(0)
		}
		parts = append(parts, newSchedules(x.dual))
	}
	return parts
}

// TestSchedulesPassed looks at the schedules that pricing passes on the way to the best: each keeps its trainer's days, has a dog once, and is worth
// more than the one before; the best is worth most.
func TestSchedulesPassed(t *testing.T) {
	t.Parallel()
	passed := 0
	for _, s := range partsPriced(t, "X", 1) {
		newMaster(s, 1) // it has pricing note them
		for range 20 {
			require.True(t, s.evaluate(func() bool { return false }))
			for i, c := range s.cal {
				var site *tariff
				if s.m.dayPriced(i) {
					site = s.t
				}
				worth := func(stays []int32) (sum micro) {
					minutes, dogs, seen := make([]int32, len(c.minutes)), make([]int32, len(c.minutes)), map[int32]bool{}
					for _, at := range stays {
						st := &c.stays[at]
						require.False(t, seen[st.dog])
						seen[st.dog] = true
						for k := st.from; k < st.to; k++ {
							minutes[k] += st.size
							dogs[k]++
						}
						sum += s.net[st.group] - micro(st.penalty)<<s.m.shift
						if site != nil {
							sum -= site.siteMinutes(c, st)
						}
					}
					for k := range minutes {
						require.LessOrEqual(t, minutes[k], c.minutes[k])
						require.LessOrEqual(t, dogs[k], c.inHand[k])
					}
					return sum
				}
				before := micro(-1)
				for _, stays := range c.passed {
					require.Greater(t, worth(stays), before)
					before = worth(stays)
					passed++
				}
				require.Greater(t, worth(c.last), before)
				require.Equal(t, s.result[i].value, worth(c.last))
			}
			s.step(0, func() bool { return false })
		}
	}
	require.Positive(t, passed)
}
