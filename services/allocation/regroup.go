package allocation

import (
	"math"
	"slices"
	"time"
)

// regrouper improves plans of parts of one day (generalised assignment): it takes a few trainers, and deals all their dogs out among them anew,
// as well as that can be done. A little chance in what each dog is worth with each trainer, less and less of it, keeps this from
// ending where no few trainers can do better (the noising method of Charon and Hudry 1993, over neighbourhoods that are searched to the end). Each
// thread has a plan of its own.
type regrouper struct {
	x       *solver
	chains  []*regroupChain
	from    time.Time // of the cooling, under a time limit
	length  int       // moves of a cooling without one, by chain
	at      int       // of them done
	before  int64     // value when the cooling began
	stalled int       // coolings without gain
}

// Time for the bound as a share of the plan's, while there is no hope for a proof.
const regroupShare = 0.15

// Chance, as shares of what a dog is worth less with an average trainer than with its best, at the beginning and at the end of a cooling; and effort.
const (
	regroupHot   = 0.08
	regroupCold  = 0.02
	regroupNear  = 0.06  // chance in which trainers come into a group
	regroupMoves = 2000  // of the first cooling without a time limit
	regroupMost  = 64000 // of a later one
	regroupCost  = 10    // iterations that a move counts for
	regroupRound = 0.02  // of the time limit that a round takes
)

func newRegrouper(x *solver, p *polisher) *regrouper {
	r := &regrouper{x: x, from: time.Now(), length: regroupMoves, before: x.value}
	price := p.minutePrices(x.dual)
	for i := range x.threads {
		r.chains = append(r.chains, newRegroupChain(p, price, newRandom(x.seed, uint64(i)+71)))
	}
	r.restart()
	return r
}

// minutePrices are what a minute of each trainer is worth, in points for a unit of its grain.
func (p *polisher) minutePrices(d *dual) []float64 {
	m := p.s.m
	price := make([]float64, p.trainers)
	for t, c := range p.s.cal {
		for k := range m.nights {
			if m.works[t*m.stride+k] {
				price[t] = math.Ldexp(d.top[m.cell(m.workLine[t], k)], -int(m.shift)) * float64(c.grain)
			}
		}
	}
	return price
}

// restart lets all chains go on from the best plan.
func (r *regrouper) restart() {
	x := r.x
	plan := x.scratch()
	plan.restore(x.best)
	for _, c := range r.chains {
		c.load(plan)
	}
	r.at, r.before = 0, x.value
}

// segment makes some moves on every thread and offers what they found. It returns the iterations used.
func (r *regrouper) segment() int {
	left, limited := r.x.r.left()
	until := time.Now().Add(time.Duration(regroupRound * float64(r.x.r.o.Limit)))
	n, now, next := min(r.length-r.at, r.length/10), 0.0, 0.0
	if limited {
		spent := time.Since(r.from)
		n, now = math.MaxInt32, float64(spent)/float64(spent+max(left, 1))
		next = now
	}
	n = min(n, max(1, r.x.allowanceLeft()/regroupCost))
	if !limited {
		now, next = float64(r.at)/float64(r.length), float64(r.at+n)/float64(r.length)
	}
	made := make([]int, len(r.chains))
	parallel(len(r.chains), len(r.chains), 1, func(_, a, b int) {
		for i := a; i < b; i++ {
			made[i] = r.chains[i].cool(n, now, next, func() bool { return r.x.r.stop() || limited && time.Now().After(until) })
		}
	})
	used := 0
	for i, c := range r.chains {
		used += made[i] * regroupCost
		r.offer(c)
	}
	if r.at += n; !limited && r.at >= r.length {
		r.nextCooling()
	}
	return max(1, used)
}

// nextCooling begins a longer one.
func (r *regrouper) nextCooling() {
	r.stalled++
	if r.x.value > r.before {
		r.stalled = 0
	}
	r.length = min(2*r.length, regroupMost)
	r.restart()
}

// offer hands a chain's best plan to the solver, if everything else in it fits as well.
func (r *regrouper) offer(c *regroupChain) {
	if c.bestValue <= r.x.value {
		return
	}
	plan := r.x.scratch()
	plan.reset()
	for d, t := range c.best {
		if t < 0 {
			continue
		}
		option := c.p.choice(int32(d), t)
		if !plan.fits(option) {
			return
		}
		plan.place(int32(d), option)
	}
	r.x.offer(plan.at, plan.value)
}

// regroupChain is one plan and its moves. It allocates nothing once made.
type regroupChain struct {
	p     *polisher
	rnd   *random
	price []float64 // by trainer, of a unit of minutes
	loss  []float64 // by dog and trainer: what the dog loses there at the prices, against its best; infinite where it can't be
	scale float64

	at        []int32 // by dog: trainer, -1 for none
	left      []int32 // by trainer: minutes
	of        [][]int32
	waiting   []int32
	value     int64
	best      []int32
	bestValue int64

	width  float64 // how many trainers a group has: as many as can be searched to the end two times in three
	chosen []bool  // by trainer
	dealing
}

func newRegroupChain(p *polisher, price []float64, rnd *random) *regroupChain {
	n := len(p.at)
	c := &regroupChain{p: p, rnd: rnd, price: price, loss: make([]float64, n*p.trainers), at: make([]int32, n), left: make([]int32, p.trainers),
		of: make([][]int32, p.trainers), waiting: make([]int32, 0, n), best: make([]int32, n), width: 3, chosen: make([]bool, p.trainers)}
	for t := range c.of {
		c.of[t] = make([]int32, 0, n)
	}
	for d := range n {
		c.rank(d)
	}
	c.scale = p.spread()
	c.dealing.reserve(n, p.trainers)
	return c
}

// rank works out what a dog loses with each trainer.
func (c *regroupChain) rank(d int) {
	n := c.p.trainers
	row := c.loss[d*n : (d+1)*n]
	least := math.Inf(1)
	for t := range row {
		row[t] = math.Inf(1)
		if k := d*n + t; c.p.stay[k] >= 0 {
			row[t] = c.price[t]*float64(c.p.size(int32(d), int32(t))) - float64(c.p.worth[k])
			least = min(least, row[t])
		}
	}
	for t := range row {
		row[t] -= least
	}
}

// spread is how much less a dog is worth with an average trainer than with its best, on average, in points; at least 1.
func (p *polisher) spread() float64 {
	var spread float64
	for d := range p.at {
		var top, sum, n float64
		for t := range p.trainers {
			if k := d*p.trainers + t; p.stay[k] >= 0 {
				top, sum, n = max(top, float64(p.worth[k])), sum+float64(p.worth[k]), n+1
			}
		}
		if n > 0 {
			spread += top - sum/n
		}
	}
	return max(1, spread/float64(max(1, len(p.at))))
}

// load takes a plan over.
func (c *regroupChain) load(plan *state) {
	p := c.p
	p.read(plan)
	copy(c.at, p.at)
	copy(c.left, p.left)
	for t := range c.of {
		c.of[t] = c.of[t][:0]
	}
	c.waiting, c.value = c.waiting[:0], 0
	for d, t := range c.at {
		if t < 0 {
			c.waiting = append(c.waiting, int32(d))
			continue
		}
		c.of[t] = append(c.of[t], int32(d))
		c.value += p.worth[d*p.trainers+int(t)]
	}
	c.keep()
}

func (c *regroupChain) keep() {
	copy(c.best, c.at)
	c.bestValue = c.value
}

// cool makes up to n moves while the cooling goes from one share to another, and returns how many.
func (c *regroupChain) cool(n int, from, to float64, stop func() bool) int {
	for k := range n {
		if k%16 == 0 && stop() {
			return k
		}
		share := from + (to-from)*float64(k)/float64(n)
		c.move(c.scale * regroupHot * math.Pow(regroupCold/regroupHot, share))
	}
	return n
}

// move regroups the dogs of a few trainers.
func (c *regroupChain) move(noise float64) {
	c.choose()
	c.lay(c, noise)
	if c.width = min(c.width+0.01, float64(min(c.p.trainers, groupWidest))); c.search() {
		c.width = max(2, c.width-0.03)
	}
	if c.found {
		c.deal()
	}
	for _, t := range c.group {
		c.chosen[t] = false
	}
	if c.value > c.bestValue {
		c.keep()
	}
}

// choose picks trainers: one whose time or dogs are worth little as they are, and others with whom a dog of those chosen loses little.
func (c *regroupChain) choose() {
	c.group = c.group[:0]
	size := int(c.width)
	if c.rnd.unit() < c.width-float64(size) {
		size++
	}
	n := c.p.trainers
	first, other := int32(c.rnd.below(n)), int32(c.rnd.below(n))
	if c.wasted(other) > c.wasted(first) {
		first = other
	}
	c.add(first)
	for len(c.group) < min(size, n) {
		t := c.group[c.rnd.below(len(c.group))]
		if len(c.of[t]) == 0 || c.rnd.below(4) == 0 {
			c.add(int32(c.rnd.below(n)))
			continue
		}
		row := c.loss[int(c.of[t][c.rnd.below(len(c.of[t]))])*n:][:n]
		next, least := int32(c.rnd.below(n)), math.Inf(1)
		for u, loss := range row {
			if loss < least && !c.chosen[u] {
				if l := loss + regroupNear*c.scale*c.rnd.exponential(); l < least {
					next, least = int32(u), l
				}
			}
		}
		c.add(next)
	}
}

func (c *regroupChain) add(t int32) {
	if !c.chosen[t] {
		c.chosen[t] = true
		c.group = append(c.group, t)
	}
}

// wasted is what a trainer's free minutes would be worth and what its dogs lose.
func (c *regroupChain) wasted(t int32) float64 {
	sum := c.price[t] * float64(c.left[t])
	for _, d := range c.of[t] {
		sum += c.loss[int(d)*c.p.trainers+int(t)]
	}
	return sum
}

// deal takes over what the search found.
func (c *regroupChain) deal() {
	n := c.p.trainers
	for _, t := range c.group {
		for _, d := range c.of[t] {
			c.value -= c.p.worth[int(d)*n+int(t)]
			c.left[t] += c.p.size(d, t)
		}
		c.of[t] = c.of[t][:0]
	}
	c.waiting = slices.DeleteFunc(c.waiting, func(d int32) bool { return slices.Contains(c.dogs, d) })
	for q, d := range c.dogs {
		x := c.pick[q]
		if int(x) == len(c.group) {
			c.at[d] = -1
			c.waiting = append(c.waiting, d)
			continue
		}
		t := c.group[x]
		c.at[d] = t
		c.of[t] = append(c.of[t], d)
		c.left[t] -= c.p.size(d, t)
		c.value += c.p.worth[int(d)*n+int(t)]
	}
}
