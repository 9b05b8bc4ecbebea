package slots

import (
	"cmp"
	"slices"
)

// greedy is a first plan of a part: visits with the fewest slots first, each with the cheapest one that fits.
func (x *part) greedy() []int32 {
	room, plan := slices.Clone(x.room), make([]int32, len(x.visits))
	order := make([]int, len(plan))
	for v := range order {
		order[v] = v
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(x.of(a)), len(x.of(b))) })
	for _, v := range order {
		plan[v] = x.cheapest(v, room)
		take(room, x.all[plan[v]].cells(), 1)
	}
	x.improve(plan, room)
	return plan
}

// cheapest is a visit's cheapest option that fits.
func (x *part) cheapest(v int, room []int32) int32 {
	for o := x.first[v]; o < x.first[v+1]; o++ {
		if free(room, x.all[o].cells()) {
			return o
		}
	}
	return x.first[v+1] - 1
}

// improve gives visits cheaper options as long as that lessens the cost of the plan, moving at most one other visit out of the way each time.
// room is what the plan leaves.
func (x *part) improve(plan, room []int32) {
	for better := true; better; {
		better = false
		for v := range plan {
			for o := x.first[v]; x.all[o].cost < x.all[plan[v]].cost; o++ {
				if x.swap(plan, room, v, o) {
					better = true
					break
				}
			}
		}
	}
}

// swap gives a visit another option if, with the visit that is in the way moved to its cheapest one, the plan costs less.
func (x *part) swap(plan, room []int32, v int, o int32) bool {
	old := plan[v]
	gain := x.all[old].cost - x.all[o].cost
	take(room, x.all[old].cells(), -1)
	if free(room, x.all[o].cells()) {
		take(room, x.all[o].cells(), 1)
		plan[v] = o
		return true
	}
	full := firstFull(room, x.all[o].cells())
	for w, other := range plan {
		if w == v || !uses(x.all[other].cells(), full) {
			continue
		}
		take(room, x.all[other].cells(), -1)
		if free(room, x.all[o].cells()) {
			take(room, x.all[o].cells(), 1)
			if next := x.cheapest(w, room); x.all[next].cost-x.all[other].cost < gain {
				take(room, x.all[next].cells(), 1)
				plan[v], plan[w] = o, next
				return true
			}
			take(room, x.all[o].cells(), -1)
		}
		take(room, x.all[other].cells(), 1)
	}
	take(room, x.all[old].cells(), 1)
	return false
}

// firstFull is the first cell of some that takes no more.
func firstFull(room []int32, cells []stretch) int32 {
	for _, s := range cells {
		for c := s.lo; c < s.hi; c++ {
			if room[c] <= 0 {
				return c
			}
		}
	}
	return -1
}

// uses reports whether a cell is among some.
func uses(cells []stretch, c int32) bool {
	for _, s := range cells {
		if s.lo <= c && c < s.hi {
			return true
		}
	}
	return false
}
