package allocation

import (
	"cmp"
	"slices"
)

// The depth-first search for a trainer's best schedule, in order of arrival.

// deepen explores with the tolerance asked for. Where that meets the node limit, little is known: the bound of a branch looked at last is hardly
// lower than that of the whole. Graded pricing then explores again with larger tolerances, each of which proves a bound if it ends.
func (x *pricer) deepen(bound, tolerance micro) micro {
	whole := bound
	bound = x.explore(whole, tolerance)
	if !x.graded || x.nodes < x.limit {
		return bound
	}
	nodes, failed := x.nodes, tolerance
	for range grades {
		if x.stopped {
			break
		}
		try := (failed + bound - x.value) / 2
		x.nodes = 0
		bound = min(bound, x.explore(whole, try))
		if nodes += x.nodes; x.nodes >= x.limit {
			failed = try
		}
		if bound-x.value <= failed {
			break
		}
	}
	x.nodes = nodes
	return bound
}

// grades is how many tolerances are tried where the one asked for is too small.
const grades = 3

// nodesAsk is after how many nodes a search asks whether to stop.
const nodesAsk = 4096

// explore searches for the best schedule and returns a bound on it. Branches that cannot beat the best by more than the tolerance
// are cut; when the node limit is met, what was left open counts into the bound.
func (x *pricer) explore(bound, tolerance micro) micro {
	c := x.c
	copy(x.left, c.minutes)
	copy(x.hand, c.inHand)
	gap := bound - x.value - tolerance
	x.search = x.search[:0]
	for i := range x.items {
		it := &x.items[i]
		if x.surplus[it.dog]-it.left < gap {
			x.search = append(x.search, int32(i))
		}
	}
	// Items are in order of arrival already; among those of one day, the promising ones go first.
	slices.SortStableFunc(x.search, func(a, b int32) int {
		return cmp.Or(cmp.Compare(x.items[a].from, x.items[b].from), cmp.Compare(x.items[b].left, x.items[a].left))
	})
	x.listCandidates()
	x.soft.clear()
	at := spot{slack: x.soft.slack}
	for _, s := range x.surplus {
		at.waiting += s
	}
	for k := int(c.ends[0]); k < len(c.minutes); k++ {
		at.later += x.worth(k, c.minutes[k], c.inHand[k])
	}
	x.seen.forget()
	x.path, x.open, x.cut = x.path[:0], x.value, tolerance
	x.visit(at)
	if x.nodes >= x.limit {
		return min(bound, max(x.open, x.value+tolerance))
	}
	return min(bound, x.value+tolerance)
}

// candidate is what the search looks at of an item, close together in its order; millions are looked at.
type candidate struct {
	value      micro
	most       micro // that the dog could leave over from here on
	less       micro // than that the item is worth
	drop       micro // by which it is less once the item is past
	item       int32
	dog        int32
	size, step int32 // step: see pricer.entries; 0 for an item without working days
	from, to   int16
	soft       bool // it takes of a soft level
}

// listCandidates lays the items of the search out.
func (x *pricer) listCandidates() {
	n := len(x.search)
	grow(&x.list, n)
	for d := range x.surplus {
		x.surplus[d], x.lastAt[d] = 0, -1
	}
	for j := n - 1; j >= 0; j-- {
		it := &x.items[x.search[j]]
		if x.lastAt[it.dog] < 0 {
			x.lastAt[it.dog] = int32(j)
		}
		after := x.surplus[it.dog]
		most := max(after, it.left)
		x.surplus[it.dog] = most
		c := candidate{value: it.value, most: most, less: most - it.value, drop: most - after, item: x.search[j], dog: it.dog,
			size: it.size, from: it.from, to: it.to, soft: it.load != 0}
		if it.from < it.to {
			c.step = x.entries[it.class]
		}
		x.list[j] = c
	}
}

// spot is where the search stands: the next position in the list of items, the working day and window it has come to, the entry of the
// window's table for those who came in this window, what the chosen leave over (less what a soft level surely costs), what the days
// after the window can still earn, what the dogs not chosen could leave over, and what is paid for room below a soft level that nobody has taken yet.
type spot struct {
	j, day, window, entry        int
	value, later, waiting, slack micro
}

// visit chooses the next stay among those from a spot on.
func (x *pricer) visit(at spot) {
	x.keep(at.value - at.slack)
	list := x.list
	if at.j >= len(list) {
		return
	}
	earn := x.earn(&at)
	for ; at.j < len(list); at.j++ {
		it := &list[at.j]
		if at.day < int(it.from) {
			if !x.advance(&at, int(it.from)) {
				return
			}
			earn = x.earn(&at)
		}
		bar := x.value + x.cut - at.value - at.later - at.waiting
		if earn[at.entry] <= bar {
			return
		}
		if x.used[it.dog] {
			continue
		}
		if x.nodes >= x.limit {
			x.open = max(x.open, x.value+x.cut-bar+earn[at.entry])
			return
		}
		// Most candidates fail by what is known of them without looking at their days.
		entry := at.entry + int(it.step)
		if entry >= len(earn) || earn[entry] <= bar+it.less {
			at.waiting -= it.drop
			continue
		}
		if next, ok := x.after(at, it); ok && next.value+next.later+next.waiting+earn[next.entry] > x.value+x.cut {
			if x.nodes++; x.nodes%nodesAsk == 0 && x.stop != nil && x.stop() {
				x.stopped, x.limit = true, 0
			}
			item := &x.items[it.item]
			x.used[it.dog] = true
			x.path = append(x.path, it.item)
			x.take(item, 1)
			x.visit(next)
			x.take(item, -1)
			x.path = x.path[:len(x.path)-1]
			x.used[it.dog] = false
		}
		at.waiting -= it.drop
	}
}

// earn is, by entry, what the rest of a spot's window can earn.
func (x *pricer) earn(at *spot) []micro {
	return x.windows[at.window][(at.day-x.c.windowStart(at.window))*x.size:]
}

// advance moves on to a later working day, over into later windows if need be. It reports false if nothing better can come from there.
func (x *pricer) advance(at *spot, day int) bool {
	c := x.c
	if x.soft.on {
		x.soft.pass(at, day)
	}
	entered := false
	for day >= int(c.ends[at.window]) {
		at.window++
		entered = true
		at.entry = 0
		for k := int(c.ends[at.window-1]); k < int(c.ends[at.window]); k++ {
			at.later -= x.worth(k, x.left[k], x.hand[k])
		}
	}
	at.day = day
	if entered {
		before := at.later
		for k := day; k < int(c.ends[at.window]); k++ {
			before += x.worth(k, x.left[k], x.hand[k])
		}
		if at.value+before+at.waiting <= x.value+x.cut {
			return false
		}
	}
	state, present := x.stateKey(at.j, day)
	if x.seen.dominated(state, at.value) {
		return false
	}
	if entered {
		x.enterWindow(at.window, day, present)
	}
	return true
}

// after is the spot after taking an item; ok is false if it does not fit.
func (x *pricer) after(at spot, it *candidate) (next spot, ok bool) {
	c := x.c
	next = at
	next.j++
	next.value += it.value
	next.waiting -= it.most
	if it.soft {
		x.soft.add(&next, &x.items[it.item])
	}
	if it.from == it.to {
		return next, true
	}
	end := int(c.ends[at.window])
	for k := int(it.from); k < end; k++ {
		if x.left[k] < it.size || x.hand[k] < 1 {
			return next, false
		}
	}
	for k := end; k < int(it.to); k++ {
		left, hand := x.left[k], x.hand[k]
		if left < it.size || hand < 1 {
			return next, false
		}
		next.later -= x.worth(k, left, hand) - x.worth(k, left-it.size, hand-1)
	}
	next.entry += int(it.step)
	return next, true
}

// stateKey names all that matters for the choices from a working day on: the stays that are still there, named by present, and the dogs
// chosen that could come again.
func (x *pricer) stateKey(j, day int) (state, present stateKey) {
	for _, i := range x.path {
		it := &x.items[i]
		if int(it.to) > day {
			until := it.to
			if x.soft.on { // the days that were cut off matter as well
				until = it.until
			}
			present.add(uint64(until)<<32 | uint64(it.size))
		}
		if int(x.lastAt[it.dog]) >= j {
			state.add(1<<63 | uint64(it.dog))
		}
	}
	present.add(1<<62 | uint64(day))
	state.a, state.b = state.a+present.a, state.b+present.b
	return state, present
}
