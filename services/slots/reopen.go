package slots

import (
	"cmp"
	"slices"
)

// Effort of reopening a plan: once for so many nodes of the search; how many visits are free at first and at most; and how far each try looks.
const (
	reopenPer                 = 25
	reopenFirst, reopenMost   = 4, 10
	reopenNodes, reopenSteps  = 25, 80
	reopenWider               = 12 // tries in a row without success after which one visit more is free
	reopenLeast               = 5  // visits of a part that is worth it
	reopenNear, reopenOfWhich = 2, 3
)

// reopen takes some visits out of the best plan and places them anew as well as can be, all others kept: so many times. It finds better plans
// of parts that are too large for the search to end.
func (t *tree) reopen(times int) {
	if len(t.x.visits) < reopenLeast {
		return
	}
	for range times {
		if t.bound >= t.cost || t.stop() {
			return
		}
		size := min(reopenFirst+t.fails/reopenWider, reopenMost, len(t.x.visits))
		t.tries++
		if t.replace(t.some(size)) {
			t.fails = 0
		} else {
			t.fails++
		}
	}
}

// draw is a number below n, another one at each call, the same in each run.
func (t *tree) draw(n int) int {
	t.draws++
	return int(mixed(t.draws) % uint64(n))
}

// some chooses visits to be freed: two times in three those that begin near one of them in the plan, else any. Every other time the first one
// costs more than its cheapest option.
func (t *tree) some(size int) []int {
	var dear []int
	for v, o := range t.best {
		if t.x.all[o].cost > t.x.all[t.x.first[v]].cost {
			dear = append(dear, v)
		}
	}
	first := t.draw(len(t.best))
	if len(dear) > 0 && t.tries%2 == 0 {
		first = dear[t.draw(len(dear))]
	}
	order, key := make([]int, len(t.best)), make([]int, len(t.best))
	near := t.tries%reopenOfWhich < reopenNear
	from := t.x.all[t.best[first]].slot.Begin
	if from < 0 {
		options := t.x.of(first)
		from = options[t.draw(len(options))].slot.Begin
	}
	for v := range order {
		order[v], key[v] = v, t.draw(1<<20)
		if near {
			at := t.x.all[t.best[v]].slot.Begin
			key[v] = max(at-from, from-at)<<8 + key[v]&0xff
		}
	}
	key[first] = -1
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(key[a], key[b]), cmp.Compare(a, b)) })
	return order[:size]
}

// replace finds the best options for some visits beside those of all others, and reports whether that lessens the cost.
func (t *tree) replace(visits []int) bool {
	sub := &part{first: []int32{0}, visits: visits, room: slices.Clone(t.x.room)}
	for v, o := range t.best {
		if !slices.Contains(visits, v) {
			take(sub.room, t.x.all[o].cells(), 1)
		}
	}
	var start, origin []int32
	for _, v := range visits {
		for o := t.x.first[v]; o < t.x.first[v+1]; o++ {
			if free(sub.room, t.x.all[o].cells()) {
				if o == t.best[v] {
					start = append(start, int32(len(sub.all)))
				}
				sub.all, origin = append(sub.all, t.x.all[o]), append(origin, o)
			}
		}
		sub.first = append(sub.first, int32(len(sub.all)))
	}
	s := newTree(sub, start, t.stop)
	before := s.cost
	s.steps = reopenSteps
	s.search(reopenNodes)
	if s.cost >= before {
		return false
	}
	for n, v := range visits {
		t.best[v] = origin[s.best[n]]
	}
	t.cost -= before - s.cost
	return true
}
