package allocation

import (
	"math"
	"slices"
	"time"
)

const (
	// searchesPerPoint is how many searches a point gets, about, when the budget is shared out.
	searchesPerPoint = 3
	// mostSweeps is how often searches that left a gap are repeated, with more time and another seed.
	mostSweeps = 4
)

// run makes searches until every point is proven, the budget is used, or nothing is left to try.
func (c *curve) run() error {
	for sweep := 0; sweep < mostSweeps; sweep++ {
		if err := c.start(); err != nil {
			return err
		}
		for c.goesOn() {
			i, ok := c.next()
			if !ok {
				break
			}
			if err := c.improve(i); err != nil {
				return err
			}
		}
		if !c.goesOn() || c.o.Iterations <= 0 && c.o.Limit <= 0 {
			break
		}
		c.forget()
	}
	if c.o.Progress != nil {
		c.report("done")
	}
	return nil
}

// start makes the searches that serve every point: no move at all, any number of moves, and moves at a price that no single
// one is worth.
func (c *curve) start() error {
	if err := c.keepAll(); err != nil {
		return err
	}
	if len(c.moves) == 0 || c.count == 0 || c.moves[len(c.moves)-1] == 0 {
		return nil // which was all there is to search
	}
	for _, mu := range []int64{0, c.base} {
		if c.goesOn() && !c.tried(mu) && (mu == 0 || c.moves[0] < c.count) {
			if err := c.price(mu); err != nil {
				return err
			}
		}
	}
	return nil
}

// keepAll searches among plans without a move, at rising prices until the promises are kept or it is proven that they cannot be.
func (c *curve) keepAll() error {
	mu := c.base
	for c.goesOn() {
		_, kept := c.plans[0]
		if kept && c.plans[0].value == c.bound(0) || !kept && c.bound(0) < c.least {
			return nil
		}
		s, err := c.search(c.priced(mu, nil), c.start0(mu))
		if err != nil {
			return err
		}
		c.cuts = append(c.cuts, cut{mu: mu, bound: s.Bound, pinned: c.count > 0, closed: s.Status == Optimal})
		if _, kept = c.plans[0]; kept && c.movesOf(s.Placements) == 0 || mu >= c.top {
			return nil
		}
		mu = min(4*mu, c.top)
	}
	return nil
}

// price searches among all plans, with every kept promise worth mu more.
func (c *curve) price(mu int64) error {
	c.asked[mu] = true
	all := func(int) bool { return true }
	s, err := c.search(c.priced(mu, all), c.start0(mu))
	if err == nil {
		c.cuts = append(c.cuts, cut{mu: mu, bound: s.Bound, closed: s.Status == Optimal})
	}
	return err
}

// priced is the problem with every promised placement worth mu more. Dogs with a promise for which free does not hold have
// no other choice than it; nil frees none.
func (c *curve) priced(mu int64, free func(dog int) bool) *Problem {
	q := *c.p
	q.Dogs = slices.Clone(c.p.Dogs)
	for d, pl := range c.promised {
		if pl == nil {
			continue
		}
		at, t := promisedOption(&c.p.Dogs[d], pl)
		g := c.p.Dogs[d].Placements[at]
		if free == nil || !free(d) {
			g.Trainers = slices.Clone(g.Trainers[t : t+1])
			g.Trainers[0].Penalty -= int(mu)
			q.Dogs[d].Placements = []Group{g}
			continue
		}
		g.Trainers = slices.Clone(g.Trainers)
		g.Trainers[t].Penalty -= int(mu)
		q.Dogs[d].Placements = slices.Clone(q.Dogs[d].Placements)
		q.Dogs[d].Placements[at] = g
	}
	return &q
}

// start0 is the plan to start from at a price: the best of those known, else what of the start fits.
func (c *curve) start0(mu int64) []Placement {
	var best []Placement
	worth := int64(math.MinInt64)
	for m := 0; m <= c.count; m++ {
		if x, known := c.plans[m]; known && x.value-mu*int64(m) > worth {
			best, worth = x.placements, x.value-mu*int64(m)
		}
	}
	if best == nil {
		return c.o.Warm
	}
	return best
}

// search solves a priced problem with its share of the budget and learns its plan.
func (c *curve) search(q *Problem, warm []Placement) (Solution, error) {
	o := Options{Seed: c.o.Seed + uint64(c.searches), Threads: c.o.Threads, Cancel: c.o.Cancel, Warm: warm}
	share := max(1, c.expected()-c.searches)
	if c.o.Iterations > 0 {
		o.Iterations = max(1, (c.o.Iterations-c.used)/share)
		c.used += o.Iterations
	}
	if c.o.Limit > 0 {
		o.Limit = max(time.Millisecond, (c.o.Limit-c.spent())/time.Duration(share))
	}
	if c.o.Progress != nil {
		o.Progress = func(x Progress) { c.report(x.Phase) }
	}
	s, err := Solve(q, o)
	if err != nil {
		return s, err
	}
	c.searches++
	if s.Stopped == StopCancelled {
		c.stopped = StopCancelled
	}
	if err := c.learn(s.Placements); err != nil {
		return s, err
	}
	return s, c.putBackFrom(s.Placements)
}

// spent is the time used, which decides nothing where there is no limit of time.
func (c *curve) spent() time.Duration { return time.Since(c.begun) }

// expected is how many searches share the budget.
func (c *curve) expected() int { return searchesPerPoint*len(c.moves) + 3 }

// report tells what is known.
func (c *curve) report(phase string) {
	c.o.Progress(TradeOffProgress{Points: c.points(), Searches: c.searches, Expected: max(c.searches, c.expected()),
		Seconds: c.spent().Seconds(), Phase: phase})
}

// open counts the points with a gap.
func (c *curve) open() int {
	n := 0
	for i := range c.moves {
		if c.gap(i) > 0 {
			n++
		}
	}
	return n
}

// goesOn reports whether there is something to do and budget to do it.
func (c *curve) goesOn() bool {
	select {
	case <-c.o.Cancel:
		c.stopped = StopCancelled
	default:
	}
	switch {
	case c.stopped != "" || c.open() == 0:
		return false
	case c.o.Iterations > 0 && c.used >= c.o.Iterations:
		c.stopped = StopIterations
		return false
	case c.o.Limit > 0 && c.spent() >= c.o.Limit-5*time.Millisecond:
		c.stopped = StopLimit
		return false
	}
	return true
}

// next picks the point that was served least, of equal ones that with the widest gap, among those for which there is something left to try.
func (c *curve) next() (at int, ok bool) {
	for i := range c.moves {
		if c.gap(i) == 0 || !c.hasTry(i) {
			continue
		}
		if !ok || c.served[i] < c.served[at] || c.served[i] == c.served[at] && c.gap(i) > c.gap(at) {
			at, ok = i, true
		}
	}
	return at, ok
}

func (c *curve) hasTry(i int) bool {
	if _, ok := c.nextPrice(c.moves[i]); ok {
		return true
	}
	if _, ok := c.toJoin(i); ok {
		return true
	}
	_, ok := c.toPolish(i)
	return ok
}

// improve makes one search for a point: at a price, among the choices of known plans, or around its plan; in turn, as far as
// there is any.
func (c *curve) improve(i int) error {
	turn := c.served[i]
	c.served[i]++
	for k := range 3 {
		switch (turn + k) % 3 {
		case 0:
			if mu, ok := c.nextPrice(c.moves[i]); ok {
				return c.price(mu)
			}
		case 1:
			if mu, ok := c.toJoin(i); ok {
				return c.join(mu)
			}
		case 2:
			if plan, ok := c.toPolish(i); ok {
				return c.polish(plan)
			}
		}
	}
	return nil
}

// tried reports whether the whole problem was searched at a price, this sweep or with nothing left to gain.
func (c *curve) tried(mu int64) bool { return c.asked[mu] }

// forget lets searches that left a gap be repeated. What they proved stays.
func (c *curve) forget() {
	clear(c.asked)
	for _, x := range c.cuts {
		if x.closed && !x.pinned {
			c.asked[x.mu] = true
		}
	}
	clear(c.served)
	clear(c.polished)
	clear(c.joined)
}
