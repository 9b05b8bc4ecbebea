package slots

import (
	"cmp"
	"slices"
)

// relaxation works out what a part would cost at least if cells could be overused for a price. With the right prices that is the value of the
// linear relaxation of the time-indexed programme (Geoffrion 1974, from memory).
type relaxation struct {
	x      *part
	prices []int64 // by cell, the present ones
	sum    []int64 // by cell: the prices before it
	least  []int64 // by visit: the least reduced cost
	picks  []int32 // by visit: the option that has it
	load   []int64 // by cell: how many of the picks use it; one more at the end
	mean   []int64 // by cell: the average of load over the latest steps, times scale
	over   []int64 // by cell: the direction in which the prices move
	picked []int32 // by option: how often it was picked of late; later steps weigh more
}

func newRelaxation(x *part) relaxation {
	cells := len(x.room)
	return relaxation{x: x, prices: make([]int64, cells), sum: make([]int64, cells+1), least: make([]int64, len(x.visits)),
		picks: make([]int32, len(x.visits)), load: make([]int64, cells+1), mean: make([]int64, cells), over: make([]int64, cells),
		picked: make([]int32, len(x.all))}
}

// reduced is what an option costs with the prices of its cells.
func (r *relaxation) reduced(o int32) int64 {
	x := &r.x.all[o]
	cost := int64(x.cost) * scale
	for _, s := range x.cells() {
		cost += r.sum[s.hi] - r.sum[s.lo]
	}
	return cost
}

// price picks for each visit the option that costs least at the node's prices, and returns the bound, times scale.
func (r *relaxation) price(n *node) (value int64) {
	copy(r.prices, n.prices)
	return r.relax(n)
}

func (r *relaxation) relax(n *node) (value int64) {
	for c, price := range r.prices {
		r.sum[c+1] = r.sum[c] + price
		value -= price * int64(r.x.room[c])
	}
	for v := range r.least {
		options := n.of(v)
		r.picks[v], r.least[v] = options[0], r.reduced(options[0])
		for _, o := range options[1:] {
			if cost := r.reduced(o); cost < r.least[v] {
				r.picks[v], r.least[v] = o, cost
			}
		}
		value += r.least[v]
	}
	return value
}

// count adds up how often the picks use each cell, and reports whether they are a plan.
func (r *relaxation) count() (plan bool) {
	clear(r.load)
	for _, o := range r.picks {
		for _, s := range r.x.all[o].cells() {
			r.load[s.lo]++
			r.load[s.hi]--
		}
	}
	plan = true
	depth := int64(0)
	for c := range r.prices {
		depth += r.load[c]
		r.load[c] = depth
		plan = plan && depth <= int64(r.x.room[c])
	}
	return plan
}

// Of the steps of prices, in thousandths: how far the first ones go of the way that would close the gap, how far at most; how much the latest
// picks count in the average; after how many steps without a better bound the way is shortened, and to what; how often a plan is built.
const (
	wayFirst, wayMost, wayLeast = 500, 2000, 2
	latest                      = 100
	patience, shorten           = 15, 660
	buildsPer                   = 8
	nearby                      = 4 // a plan that costs this part more than the best one is worth improving
)

// descend moves the prices so that the bound of a node rises, and builds plans on the way. The node keeps the best prices and bound. Each step
// goes from the best prices in the direction in which an average of the latest picks overuses the cells (the volume algorithm of Barahona and
// Anbil 2000, from memory).
func (t *tree) descend(n *node, steps int) {
	best, found := slices.Clone(n.prices), t.price(n)
	n.bound = max(n.bound, found)
	clear(t.picked)
	t.see(n, 0)
	for c, load := range t.load[:len(t.mean)] {
		t.mean[c] = load * scale
	}
	way, since := int64(wayFirst), 0
	for step := 1; step < steps && t.hopeful(n.bound); step++ {
		square := t.direction(best)
		if square == 0 || way < wayLeast || step%64 == 63 && t.stop() {
			break
		}
		length := max(scale/16, (int64(t.cost)*scale-found)*way/1000)
		for c, price := range best {
			t.prices[c] = max(0, price+length*t.over[c]/square)
		}
		value := t.relax(n)
		t.see(n, step)
		share, along := max(latest, 1000/int64(step+1)), int64(0)
		for c, load := range t.load[:len(t.mean)] {
			along += (load - int64(t.x.room[c])) * t.over[c]
			t.mean[c] += (load*scale - t.mean[c]) * share / 1000
		}
		if value > found {
			found, since = value, 0
			copy(best, t.prices)
			n.bound = max(n.bound, value)
			if along > 0 {
				way = min(wayMost, way*11/10)
			}
		} else if since++; since >= patience {
			since, way = 0, way*shorten/1000
		}
	}
	n.prices = best
}

// see takes note of the picks: as a plan, if they are one, and for a cut; from time to time a plan is built from them.
func (t *tree) see(n *node, step int) {
	if t.count() {
		t.offer(t.picks)
	}
	if step%buildsPer == 0 {
		t.build(n)
	}
	for _, o := range t.picks {
		t.picked[o] += int32(step + 1)
	}
}

// direction is by how much the average of the picks overuses each cell whose price can move, times scale, and the square of it, divided by scale.
func (r *relaxation) direction(best []int64) (square int64) {
	for c, mean := range r.mean {
		over := mean - int64(r.x.room[c])*scale
		if over < 0 && best[c] == 0 {
			over = 0
		}
		r.over[c] = over
		square += over * over
	}
	return square / scale
}

// build makes a plan from the picks: as many of them as fit together, those first for which another would cost most more, then for each other
// visit the option that costs least at the prices and fits.
func (t *tree) build(n *node) {
	room, plan := slices.Clone(t.x.room), make([]int32, len(t.picks))
	order := make([]int, len(plan))
	regret := make([]int64, len(plan))
	for v := range plan {
		order[v], plan[v] = v, -1
		next := int64(1 << 62)
		for _, o := range n.of(v) {
			if o != t.picks[v] {
				next = min(next, t.reduced(o))
			}
		}
		regret[v] = next - t.least[v]
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(regret[b], regret[a]) })
	for _, v := range order {
		if o := t.picks[v]; free(room, t.x.all[o].cells()) {
			plan[v] = o
			take(room, t.x.all[o].cells(), 1)
		}
	}
	for _, v := range order {
		if plan[v] >= 0 {
			continue
		}
		least := int64(1 << 62)
		for o := t.x.first[v]; o < t.x.first[v+1]; o++ {
			if cost := t.reduced(o); cost < least && free(room, t.x.all[o].cells()) {
				least, plan[v] = cost, o
			}
		}
		take(room, t.x.all[plan[v]].cells(), 1)
	}
	cost := 0
	for _, o := range plan {
		cost += t.x.all[o].cost
	}
	if cost < t.cost+t.cost/nearby+1 {
		t.x.improve(plan, room)
		t.offer(plan)
	}
}
