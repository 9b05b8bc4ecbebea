package dayblocks

import "math"

// dual holds a price for every step of every trainer and of every area, and with them a bound on what the day must cost at least: each dog's
// day is chosen for itself, at its own cost and the price of what it uses; each break at the price of its time; and what there is of
// trainers and areas is paid back (Lagrangian relaxation; Geoffrion 1974, from memory). That the items are chosen apart can only make them
// cheaper, so the sum is a lower bound at any prices that are not below zero. It is counted in whole numbers.
//
// Left out, and so not counted: changes of area and pairs kept apart; waiting is counted by timelines only.
type dual struct {
	m       *model
	price   []micro // by resource and step; trainers, then areas
	sum     []micro // prefix sums of them, a step more
	use     []int32 // by the choices of the last evaluation
	limit   []int32
	best    micro // highest bound
	top     []micro
	level   float64
	way     []float64 // smoothed subgradient
	turn    []float64 // where prices move to, see direction
	steps   int       // made
	stalled int
	fresh   bool // nothing to smooth with

	held  []heldCosts // by session item
	depth [16]chainLevel
	found chain
	lines *timelines // nil while trainers have prices by the step
	pairs []cheapest // by length and step, where dogs need two trainers
}

// cheapest are the two trainers who are cheapest for a block; -1 stands for none.
type cheapest struct {
	trainer [2]int
	price   [2]micro
}

// micro is a price or cost in 1/1024 of a point.
type micro int64

const (
	unit     micro = 1024
	infinite micro = math.MaxInt64 / 4
)

// heldCosts is what holding a session at each step costs at the going prices.
type heldCosts struct {
	cost []micro
	low  micro
}

// chainLevel is the cheapest way to have held the sessions of a chain, the last one at each step.
type chainLevel struct {
	item int32
	cost []micro
	low  []micro // of cost up to each step
}

// chain is a dog's day: sessions in order, with their steps.
type chain struct {
	items  []int32
	starts []int
	cost   micro
}

func newDual(m *model) *dual {
	n := (len(m.hours) + len(m.open)) * m.steps
	d := &dual{m: m, price: make([]micro, n), top: make([]micro, n), sum: make([]micro, (len(m.hours)+len(m.open))*(m.steps+1)),
		use: make([]int32, n), way: make([]float64, n), turn: make([]float64, n), limit: make([]int32, n), level: levelFirst, fresh: true, best: -infinite, held: make([]heldCosts, len(m.items))}
	for t, h := range m.hours {
		h.each(func(k int) { d.limit[t*m.steps+k] = 1 })
	}
	for a, open := range m.open {
		open.each(func(k int) { d.limit[(len(m.hours)+a)*m.steps+k] = int32(m.d.Areas[a].Dogs) })
	}
	for i := range d.held {
		d.held[i].cost = make([]micro, m.steps)
	}
	for i := range d.depth {
		d.depth[i].cost, d.depth[i].low = make([]micro, m.steps), make([]micro, m.steps)
	}
	return d
}

// evaluate computes the bound at the prices, and the use of all that was chosen.
func (d *dual) evaluate() (bound micro) {
	m := d.m
	n := m.steps
	for r := range len(d.sum) / (n + 1) {
		if d.lines != nil && r < len(m.hours) {
			continue
		}
		var sum micro
		for k, p := range d.price[r*n : (r+1)*n] {
			d.sum[r*(n+1)+k] = sum
			sum += p
			bound -= p * micro(d.limit[r*n+k])
		}
		d.sum[r*(n+1)+n] = sum
	}
	clear(d.use)
	if d.lines != nil {
		clear(d.lines.use)
	}
	d.findPairs()
	for dog := range m.ofDog {
		bound += d.dog(int32(dog))
	}
	if d.lines != nil {
		for t := range m.hours {
			bound -= d.lines.earn(m, t)
		}
		return bound
	}
	for i := m.sessions(); i < len(m.items); i++ {
		it := &m.items[i]
		low, at := infinite, -1
		it.within.each(func(k int) {
			if c := d.paid(int(it.trainer), k, it.busy); c < low {
				low, at = c, k
			}
		})
		if at >= 0 {
			bound += low
			d.count(int(it.trainer), at, it.busy, 1)
		}
	}
	return bound
}

// paid is the price of a resource for some steps.
func (d *dual) paid(r, from, n int) micro {
	at := r*(d.m.steps+1) + from
	return d.sum[at+n] - d.sum[at]
}

// work is the price of a trainer for a block of one of the lengths from a step on.
func (d *dual) work(t, class, k int) micro {
	if l := d.lines; l != nil {
		return l.price[l.at(d.m, t, class, k)]
	}
	return d.paid(t, k, d.m.lengths[class])
}

// countWork counts a trainer's block.
func (d *dual) countWork(t int, i int32, k int) {
	if l := d.lines; l != nil {
		l.use[l.at(d.m, t, d.m.items[i].class, k)]++
		return
	}
	d.count(t, k, d.m.items[i].busy, 1)
}

func (d *dual) count(r, from, n int, times int32) {
	for k := range n {
		d.use[r*d.m.steps+from+k] += times
	}
}

// hold computes what holding a session costs at each step.
func (d *dual) hold(i int32) {
	m := d.m
	h := &d.held[i]
	h.low = infinite
	for k := range h.cost {
		h.cost[k] = infinite
	}
	it := &m.items[i]
	for k := m.first; k < m.last; k++ {
		_, in := d.in(it, k)
		if in >= infinite {
			continue
		}
		if _, _, by := d.by(i, k); by < infinite {
			h.cost[k] = by + in
			if k != it.kept {
				h.cost[k] += micro(it.moved) * unit
			}
			h.low = min(h.low, h.cost[k])
		}
	}
}

// findPairs finds the cheapest trainers for blocks of each length at each step.
func (d *dual) findPairs() {
	m := d.m
	if !m.pairs {
		return
	}
	grow(&d.pairs, len(m.lengths)*m.steps)
	for class := range m.lengths {
		for k := m.first; k < m.last; k++ {
			c := cheapest{[2]int{-1, -1}, [2]micro{infinite, infinite}}
			for t := range m.hours {
				if !m.begin[t][class].has(k) {
					continue
				}
				switch p := d.work(t, class, k); {
				case p < c.price[0]:
					c.trainer, c.price = [2]int{t, c.trainer[0]}, [2]micro{p, c.price[0]}
				case p < c.price[1]:
					c.trainer[1], c.price[1] = t, p
				}
			}
			d.pairs[class*m.steps+k] = c
		}
	}
}

// pair is the cheapest second trainer beside one; -1 where there is none.
func (d *dual) pair(it *item, but, k int) (second int, price micro) {
	if it.anySecond {
		p := &d.pairs[it.class*d.m.steps+k]
		n := 0
		if p.trainer[0] == but {
			n = 1
		}
		return p.trainer[n], p.price[n]
	}
	second, price = -1, infinite
	for _, o := range it.seconds {
		if o.Trainer == but || !d.m.begin[o.Trainer][it.class].has(k) {
			continue
		}
		if p := micro(o.Points)*unit + d.work(o.Trainer, it.class, k); p < price {
			second, price = o.Trainer, p
		}
	}
	return second, price
}

// by is the cheapest trainer, or pair, for an item at a step.
func (d *dual) by(i int32, k int) (trainer, second int, low micro) {
	m := d.m
	it := &m.items[i]
	low, trainer, second = infinite, -1, -1
	for _, h := range it.handlers {
		if !m.begin[h.Trainer][it.class].has(k) {
			continue
		}
		c := micro(h.Points)*unit + d.work(h.Trainer, it.class, k)
		if k+it.busy > m.finish[h.Trainer] {
			c += micro(m.d.Policy.Late) * unit
		}
		other, with := -1, micro(0)
		if it.two {
			if other, with = d.pair(it, h.Trainer, k); other < 0 {
				continue
			}
		}
		if c+with < low {
			low, trainer, second = c+with, h.Trainer, other
		}
	}
	return trainer, second, low
}

// in is the cheapest area for an item at a step.
func (d *dual) in(it *item, k int) (at int, low micro) {
	low, at = infinite, -1
	for n := range it.places {
		p := &it.places[n]
		if !p.starts.has(k) {
			continue
		}
		c := d.paid(len(d.m.hours)+p.area, k, it.length)
		if it.alone {
			c *= micro(d.m.d.Areas[p.area].Dogs)
		}
		if c += micro(p.points) * unit; c < low {
			low, at = c, n
		}
	}
	return at, low
}

// countItem counts what an item uses at a step, at the trainer and area that are cheapest.
func (d *dual) countItem(i int32, k int) {
	it := &d.m.items[i]
	trainer, second, _ := d.by(i, k)
	at, _ := d.in(it, k)
	d.countWork(trainer, i, k)
	if second >= 0 {
		d.countWork(second, i, k)
	}
	n := int32(1)
	area := it.places[at].area
	if it.alone {
		n = int32(d.m.d.Areas[area].Dogs)
	}
	d.count(len(d.m.hours)+area, k, it.length, n)
}

// settle goes back to the best prices.
func (d *dual) settle() {
	copy(d.price, d.top)
	if d.lines != nil {
		copy(d.lines.price, d.lines.top)
	}
}

// bound is the least that the day costs, in whole points.
func (d *dual) bound() int { return int((d.best + unit - 1) >> 10) }
