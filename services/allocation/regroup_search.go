package allocation

import (
	"math"
	"math/bits"
	"slices"
)

// dealing is the problem of dealing some dogs out among a few trainers, in which each dog is worth so much with each of them, and its search: depth
// first, the dogs with most to lose first. A branch ends where what it has lost already, with what the minutes that no dog left over can
// fill are worth, is no less than what the best so far loses.
type dealing struct {
	group []int32 // trainers; number len(group) stands for no trainer
	dogs  []int32
	now   []int32 // by dog: its trainer's number in the plan

	cost  []float64 // by dog and number: minus worth, with chance in it; infinite where the dog can't be
	price []float64 // by number, of a unit of minutes
	tried []float64
	use   []float64
	size  []int32 // by dog and number
	room  []int32 // by number: minutes to begin with

	order []dealOrder
	first []int32 // by place in the order: where its options begin
	opts  []dealOption
	rest  []float64 // by place: what the dogs from there on cost at least
	reach []uint64  // for the last dogs, by how many and number: sums of minutes that they can come to, as bits
	words int
	free  []int32
	cur   []int32
	pick  []int32 // by dog: number found
	bar   float64 // cost of the best found
	found bool
	nodes int
}

type dealOrder struct {
	regret float64
	q      int32
}

type dealOption struct {
	cost   float64
	size   int32
	number int32
}

const (
	groupWidest = 16
	dealWaiting = 4 // dogs not placed that may come in
	dealNodes   = 1000
	dealPrices  = 10 // steps to fit prices to the group
	reachDogs   = 12 // last dogs for which the sums are known
	reachWords  = 64 // more minutes than this times 64 are not looked at so closely
)

func (a *dealing) reserve(dogs, trainers int) {
	wide := min(trainers, groupWidest) + 1
	a.group, a.dogs, a.now = make([]int32, 0, wide), make([]int32, 0, dogs), make([]int32, 0, dogs)
	a.size = make([]int32, dogs*wide)
	a.cost, a.opts = make([]float64, dogs*wide), make([]dealOption, 0, dogs*wide)
	a.price, a.tried, a.use = make([]float64, wide), make([]float64, wide), make([]float64, wide)
	a.room, a.free = make([]int32, wide), make([]int32, wide)
	a.order, a.first, a.rest = make([]dealOrder, 0, dogs), make([]int32, 0, dogs+1), make([]float64, dogs+1)
	a.cur, a.pick = make([]int32, dogs), make([]int32, dogs)
	a.reach = make([]uint64, (reachDogs+1)*wide*reachWords)
}

// lay writes down the problem for the trainers chosen.
func (a *dealing) lay(c *regroupChain, noise float64) {
	a.dogs, a.now = a.dogs[:0], a.now[:0]
	most := int32(0)
	for x, t := range a.group {
		a.room[x], a.price[x] = c.left[t], c.price[t]
		for _, d := range c.of[t] {
			a.dogs, a.now = append(a.dogs, d), append(a.now, int32(x))
			a.room[x] += c.p.size(d, t)
		}
		most = max(most, a.room[x])
	}
	if a.words = int(most)/64 + 1; a.words > reachWords {
		a.words = 0
	}
	placed := len(a.dogs)
	for range min(dealWaiting, len(c.waiting)) {
		if d := c.waiting[c.rnd.below(len(c.waiting))]; !slices.Contains(a.dogs[placed:], d) {
			a.dogs, a.now = append(a.dogs, d), append(a.now, int32(len(a.group)))
		}
	}
	wide := len(a.group) + 1
	for q, d := range a.dogs {
		row := a.cost[q*wide : (q+1)*wide]
		for x, t := range a.group {
			row[x] = math.Inf(1)
			if k := int(d)*c.p.trainers + int(t); c.p.stay[k] >= 0 {
				row[x] = noise*c.rnd.unit() - float64(c.p.worth[k])
				a.size[q*wide+x] = c.p.size(d, t)
			}
		}
		row[wide-1] = noise * c.rnd.unit()
		a.size[q*wide+wide-1] = 0
	}
	a.bar = 0
	for q, x := range a.now {
		a.bar += a.cost[q*wide+int(x)]
	}
	a.fit(c.scale)
	a.sort()
	if a.words > 0 {
		a.sums()
	}
}

// fit moves the prices of minutes some steps along the subgradient, so that they suit this group; without that the search ends branches late.
func (a *dealing) fit(scale float64) {
	n := len(a.group)
	copy(a.tried[:n], a.price[:n])
	best, length := math.Inf(-1), 0.5
	for range dealPrices {
		bound, norm := a.relaxed(), 1e-9
		if bound > best {
			best, length = bound, length*1.1
			copy(a.price[:n], a.tried[:n])
		} else {
			length *= 0.8
		}
		for x := range n {
			if a.tried[x] > 0 || a.use[x] > 0 {
				norm += a.use[x] * a.use[x]
			}
		}
		step := length * max(a.bar-bound, scale/600) / norm
		for x := range n {
			a.tried[x] = max(0, a.tried[x]+step*a.use[x])
		}
	}
	for x := range n {
		a.bar += a.price[x] * float64(a.room[x])
	}
}

// relaxed is the least cost at the prices tried when every dog has its best trainer, and how far each trainer's minutes would then be overrun.
func (a *dealing) relaxed() (bound float64) {
	n := len(a.group)
	for x := range n {
		a.use[x] = -float64(a.room[x])
		bound -= a.tried[x] * float64(a.room[x])
	}
	for q := range a.dogs {
		row, size := a.cost[q*(n+1):(q+1)*(n+1)], a.size[q*(n+1):(q+1)*(n+1)]
		best, least := n, row[n]
		for x := range n {
			if v := row[x] + a.tried[x]*float64(size[x]); v < least {
				best, least = x, v
			}
		}
		bound += least
		a.use[best] += float64(size[best])
	}
	return bound
}

// sort puts the dogs in order, those first that lose most with their second trainer, and the options of each, the best first.
func (a *dealing) sort() {
	n := len(a.group)
	a.order = a.order[:0]
	for q := range a.dogs {
		first, second := math.Inf(1), math.Inf(1)
		for x := range n + 1 {
			if k := q*(n+1) + x; !math.IsInf(a.cost[k], 1) {
				if x < n {
					a.cost[k] += a.price[x] * float64(a.size[k])
				}
				first, second = min(first, a.cost[k]), min(second, max(first, a.cost[k]))
			}
		}
		a.order = append(a.order, dealOrder{second - first, int32(q)})
	}
	slices.SortFunc(a.order, func(o, p dealOrder) int {
		switch {
		case o.regret > p.regret:
			return -1
		case o.regret < p.regret:
			return 1
		}
		return int(o.q - p.q)
	})
	a.opts, a.first = a.opts[:0], a.first[:0]
	for _, o := range a.order {
		from := len(a.opts)
		a.first = append(a.first, int32(from))
		for x := range n + 1 {
			k := int(o.q)*(n+1) + x
			if math.IsInf(a.cost[k], 1) {
				continue
			}
			a.opts = append(a.opts, dealOption{a.cost[k], a.size[k], int32(x)})
			for i := len(a.opts) - 1; i > from && a.opts[i].cost < a.opts[i-1].cost; i-- {
				a.opts[i], a.opts[i-1] = a.opts[i-1], a.opts[i]
			}
		}
	}
	a.first = append(a.first, int32(len(a.opts)))
	a.rest[len(a.order)] = 0
	for q := len(a.order) - 1; q >= 0; q-- {
		a.rest[q] = a.rest[q+1] + a.opts[a.first[q]].cost
	}
}

// sums finds which sums of minutes the last dogs can come to with each trainer.
func (a *dealing) sums() {
	n, w := len(a.group), a.words
	for x := range n {
		row := a.reach[x*w : (x+1)*w]
		clear(row)
		row[0] = 1
	}
	for left := 1; left <= min(reachDogs, len(a.order)); left++ {
		q := int(a.order[len(a.order)-left].q)
		for x := range n {
			from, to := a.reach[((left-1)*n+x)*w:][:w], a.reach[(left*n+x)*w:][:w]
			copy(to, from)
			if k := q*(n+1) + x; !math.IsInf(a.cost[k], 1) {
				whole, part := int(a.size[k])/64, uint(a.size[k])%64
				for y := w - 1; y >= whole; y-- {
					v := from[y-whole] << part
					if y > whole {
						v |= from[y-whole-1] >> (64 - part)
					}
					to[y] |= v
				}
			}
		}
	}
}

// search finds the best way to deal the dogs out if it is better than the plan's, and reports whether it gave up.
func (a *dealing) search() (cut bool) {
	copy(a.free, a.room[:len(a.group)])
	a.free[len(a.group)] = math.MaxInt32
	a.found, a.nodes = false, 0
	a.bar -= 1e-7
	a.place(0, 0)
	return a.nodes >= dealNodes
}

// place deals out the dogs from a place in the order on, when those before cost so much.
func (a *dealing) place(at int, cost float64) {
	if a.nodes++; a.nodes >= dealNodes {
		return
	}
	if at == len(a.order) {
		for x := range a.group {
			cost += a.price[x] * float64(a.free[x])
		}
		if cost < a.bar {
			a.bar, a.found = cost, true
			for i, o := range a.order {
				a.pick[o.q] = a.cur[i]
			}
		}
		return
	}
	if left := len(a.order) - at; left <= reachDogs && a.words > 0 && a.unfilled(left, a.bar-cost-a.rest[at]) {
		return
	}
	for _, o := range a.opts[a.first[at]:a.first[at+1]] {
		if cost+o.cost+a.rest[at+1] >= a.bar {
			return
		}
		if a.free[o.number] < o.size {
			continue
		}
		a.free[o.number] -= o.size
		a.cur[at] = o.number
		a.place(at+1, cost+o.cost)
		a.free[o.number] += o.size
	}
}

// unfilled reports whether the minutes that so many last dogs must leave free are worth as much as given.
func (a *dealing) unfilled(dogs int, worth float64) bool {
	n, w := len(a.group), a.words
	for x := range n {
		if a.price[x] == 0 {
			continue
		}
		row := a.reach[(dogs*n+x)*w:][:w]
		free := uint(a.free[x])
		i := int(free / 64)
		v := row[i] << (63 - free%64)
		fill := int(free)
		if v == 0 {
			for i--; row[i] == 0; i-- {
			}
			fill = i*64 + 63 - bits.LeadingZeros64(row[i])
		} else {
			fill -= bits.LeadingZeros64(v)
		}
		if worth -= a.price[x] * float64(int(free)-fill); worth <= 0 {
			return true
		}
	}
	return false
}
