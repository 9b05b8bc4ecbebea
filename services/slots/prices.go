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
	load   []int64 // by cell: how far the picks overuse it
	picked []int32 // by option: how often it was picked of late; later steps weigh more
}

func newRelaxation(x *part) relaxation {
	cells := len(x.room)
	return relaxation{x: x, prices: make([]int64, cells), sum: make([]int64, cells+1), least: make([]int64, len(x.visits)),
		picks: make([]int32, len(x.visits)), load: make([]int64, cells+1), picked: make([]int32, len(x.all))}
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

// overuse counts by how much the picks overuse each cell, and returns the square of the whole where a price can still move, and whether the
// picks are a plan.
func (r *relaxation) overuse() (square int64, plan bool) {
	clear(r.load)
	for _, o := range r.picks {
		for _, s := range r.x.all[o].cells() {
			r.load[s.lo]++
			r.load[s.hi]--
		}
	}
	plan = true
	depth := int64(0)
	for c, price := range r.prices {
		depth += r.load[c]
		over := depth - int64(r.x.room[c])
		plan = plan && over <= 0
		if over < 0 && price == 0 {
			over = 0
		}
		r.load[c] = over
		square += over * over
	}
	return square, plan
}

// Of the steps of prices: how far the first ones go, in thousandths of the way that would close the gap; after how many steps without a better
// bound they are halved; and how often a plan is built.
const (
	wayFirst  = 1500
	patience  = 12
	buildsPer = 8
)

// descend moves the prices so that the bound of a node rises, and builds plans on the way. The node keeps the best prices and bound.
func (t *tree) descend(n *node, steps int) {
	copy(t.prices, n.prices)
	best := slices.Clone(n.prices)
	clear(t.picked)
	way, since, found := int64(wayFirst), 0, int64(-1<<62)
	for step := range steps {
		value := t.relax(n)
		if value > found {
			found, since = value, 0
			copy(best, t.prices)
			n.bound = max(n.bound, value)
		} else if since++; since >= patience {
			since, way = 0, way/2
			copy(t.prices, best)
			t.relax(n)
		}
		square, plan := t.overuse()
		if plan {
			t.offer(t.picks)
		}
		if step%buildsPer == 0 {
			t.build(n)
		}
		for _, o := range t.picks {
			t.picked[o] += int32(step + 1)
		}
		if !t.hopeful(n.bound) || square == 0 || way < 20 || step%64 == 63 && t.stop() {
			break
		}
		length := max(1, max(scale/16, int64(t.cost)*scale-found)*way/1000/square)
		for c := range t.prices {
			t.prices[c] = max(0, t.prices[c]+length*t.load[c])
		}
	}
	n.prices = best
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
	t.x.improve(plan, room)
	t.offer(plan)
}
