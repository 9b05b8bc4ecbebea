package allocation

import "slices"

// Once a plan is known, stays that no better plan can have are dropped for good: those for which the schedule bound, with the stay forced into
// its trainer's schedule, is not above the plan's value (fixing by Lagrangian bounds, as Geoffrion 1974 and Beasley 1990). What is left is a
// smaller problem with a closer bound, for all plans that are better.

// prune drops stays at the best prices, which must be those of the whole problem without restrictions. value is the plan's, in micro. It
// reports how many stays it dropped.
func (w *master) prune(value micro, stop func() bool) (dropped int) {
	s := w.s
	w.free()
	copy(s.price, w.best)
	if !s.evaluate(stop) {
		return 0
	}
	if s.last < w.bound {
		w.bound = s.last
	}
	hopeless := make([][]int32, len(s.cal))
	parallel(s.threads, len(s.cal), 1, func(worker, from, to int) {
		for t := from; t < to; t++ {
			hopeless[t] = s.hopeless(s.pricers[worker], t, value)
		}
	})
	stays := 0
	for t, list := range hopeless {
		dropped, stays = dropped+len(list), stays+len(s.cal[t].stays)
	}
	if dropped*pruneLeast < stays {
		return 0
	}
	for t, list := range hopeless {
		s.cal[t].drop(list)
	}
	w.free()
	for i := range len(w.pool) {
		if !w.allowed(&w.pool[i]) {
			w.shorten(&w.pool[i])
		}
	}
	w.forget(func(c *column) bool { return !w.allowed(c) })
	mix, tolerance, limit := w.mix, w.tolerance, w.limit
	w.begin(w.bound, slices.Clone(w.best))
	w.mix, w.tolerance, w.limit = mix, tolerance, limit
	return dropped
}

// pruneLeast: fewer stays than one in so many are not worth the trouble.
const pruneLeast = 20

// drop bans stays for good.
func (c *calendar) drop(stays []int32) {
	if c.gone == nil {
		c.gone = make([]bool, len(c.stays))
	}
	for _, i := range stays {
		c.gone[i] = true
	}
}

// hopeless lists a trainer's stays that no plan worth more than value can have, after an evaluation.
func (s *schedules) hopeless(x *pricer, t int, value micro) (list []int32) {
	c := s.cal[t]
	var site *tariff
	if s.m.dayPriced(t) {
		site = s.t
	}
	others := s.last - s.result[t].bound
	for i, most := range x.forced(c, s.net, site) {
		if (c.gone == nil || !c.gone[i]) && s.m.roundDown(others+most)<<s.m.shift <= value {
			list = append(list, int32(i))
		}
	}
	return list
}

// forced is, for each of a trainer's stays, a bound on what a schedule with that stay can leave over, at the trainer's own prices as the last
// call of price left them. It is nil for a trainer with a soft level or without working days, for whom it is not known.
func (x *pricer) forced(c *calendar, net []micro, site *tariff) []micro {
	x.c = c
	if x.soft.begin(c, x.m, site); x.soft.on || len(c.minutes) == 0 {
		return nil
	}
	x.collect(net, site)
	if x.oneDay() {
		return x.forcedInKnapsack(c, net, site)
	}
	bound := x.evaluateInner()
	x.reach = slices.Grow(x.reach[:0], len(c.stays))[:len(c.stays)]
	days, sizes, window := len(c.minutes), len(c.sizes), int(c.ends[0])
	for i := range c.stays {
		st := &c.stays[i]
		from, to := int(st.from), int(st.to)
		if from < to && from < window && !x.has[from*sizes+int(st.class)] {
			from = min(window, to) // the best mix of the first window knows of no such stay, so it earns nothing by it there
		}
		left := net[st.group] - micro(st.penalty)<<x.m.shift
		if site != nil {
			left -= site.siteMinutes(c, st)
		}
		at := int(st.class) * (days + 1)
		left -= x.sum[at+to] - x.sum[at+from]
		x.reach[i] = bound - x.surplus[st.dog] + left
	}
	return x.reach
}

// forcedInKnapsack is forced for a trainer whose best schedule is a knapsack: exactly, by the best of the items before one and of those after it.
func (x *pricer) forcedInKnapsack(c *calendar, net []micro, site *tariff) []micro {
	w := int(c.minutes[0]) + 1
	n := len(x.items)
	before := make([]micro, (n+1)*w) // by item: best of those before it, by minutes
	for i := range x.items {
		it := &x.items[i]
		from, to := before[i*w:(i+1)*w], before[(i+1)*w:(i+2)*w]
		copy(to, from)
		for u := it.minutes(); u < w; u++ {
			to[u] = max(to[u], from[u-it.minutes()]+it.value)
		}
	}
	x.reach = slices.Grow(x.reach[:0], len(c.stays))[:len(c.stays)]
	all := before[n*w:]
	for i := range c.stays { // those that leave nothing over are no items
		st := &c.stays[i]
		left := net[st.group] - micro(st.penalty)<<x.m.shift
		if site != nil {
			left -= site.siteMinutes(c, st)
		}
		need := 0
		if st.from < st.to {
			need = int(st.size)
		}
		x.reach[i] = never
		if need < w {
			x.reach[i] = left + all[w-1-need]
		}
	}
	after := make([]micro, w)
	for i := n - 1; i >= 0; i-- {
		it := &x.items[i]
		best := never
		for u := 0; u+it.minutes() < w; u++ {
			best = max(best, before[i*w+u]+after[w-1-it.minutes()-u])
		}
		x.reach[it.stay] = best + it.value
		for u := w - 1; u >= it.minutes(); u-- {
			after[u] = max(after[u], after[u-it.minutes()]+it.value)
		}
	}
	return x.reach
}
