package allocation

import (
	"cmp"
	"slices"
)

// propose builds a plan from the stays that the schedules hold most, and fills it up.
func (s *schedules) propose(plan *state, g *guide, stop func() bool) {
	m := s.m
	type held struct {
		weight float32
		dog    int32
		c      choice
	}
	var list []held
	for t, c := range s.cal {
		for i, w := range s.weight[t] {
			if w > 0.03 {
				st := &c.stays[i]
				list = append(list, held{w, m.groups[st.group].dog, choice{st.group, s.bestRun[st.group], st.entry}})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b held) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.dog, b.dog), cmp.Compare(a.c.group, b.c.group))
	})
	plan.reset()
	for _, h := range list {
		if plan.at[h.dog].group < 0 && len(m.members(int(m.unitOf[h.dog]))) == 1 && plan.fits(h.c) {
			plan.placeUnit([]int32{h.dog}, []choice{h.c})
		}
	}
	fill(plan, g, stop)
}
