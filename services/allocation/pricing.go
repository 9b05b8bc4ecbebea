package allocation

import (
	"cmp"
	"slices"
)

// A schedule is one trainer's whole set of stays. pricing finds, for one trainer and given prices of everything else (dogs,
// runs, intake and handover places, site minutes), the schedule that leaves over most: a knapsack with a capacity of minutes and
// of dogs on each of many days. It is solved by depth-first search in order of arrival, with the bound of inner.go.

// pricer is the scratch memory of one worker.
type pricer struct {
	m       *model
	c       *calendar
	items   []item
	has     []bool    // by working day and size: an item of that size begins there
	table   []micro   // by working day, dogs left, minutes left: most that can be earned from the day at the going prices
	windows [][]micro // by window: the table in force, see windowTable
	tables  tableStore
	size    int // entries of a day

	sum      []micro // prefix sums of the prices: size*(days+1)+working day
	surplus  []micro // by dog: most that one of its items leaves over
	choiceOf []int32 // by dog: that item
	slope    []int32 // by working day and size: stays wanted, less stays in the tables' best mix
	keepBest []micro // prices to go back to

	entries []int32 // by class: how far the entry of a window's table moves when such an item is taken

	soft       softDays
	left, hand []int32 // by working day, during the search
	used       []bool  // by dog
	path, best []int32 // items chosen
	noting     bool    // the schedules passed on the way to the best are noted, as stays
	passed     [][]int32
	value, cut micro
	open       micro // highest bound of a branch left unexplored
	nodes      int
	limit      int
	stop       func() bool // asked now and then, if there is one, whether to end a search as if its limit were met
	stopped    bool
	graded     bool        // where the limit is met, prove as much as it allows
	search     []int32     // items in the search, by arrival
	list       []candidate // the same, laid out for it
	lastAt     []int32     // by dog: position of its last item in search
	seen       memory
	taken      []bool  // see knapsack
	reach      []micro // see forced
}

type item struct {
	stay     int32
	from, to int16
	dog      int32
	size     int32
	class    int32
	load     int32 // of a soft level, on the working days up to until
	until    int16
	value    micro // what it leaves over before the trainer's own prices
	left     micro // and after them
}

// priced is the outcome of pricing one trainer: no schedule leaves over more than bound, and the one found leaves over value.
type priced struct {
	bound, value micro
	nodes        int
}

// price solves one trainer's problem. net is, by group, what a stay leaves over before its trainer; site is the tariff for site
// minutes, or nil. The schedule found is left in c.last.
func (x *pricer) price(c *calendar, net []micro, site *tariff, steps, limit int, tolerance micro) priced {
	x.c, x.limit, x.nodes, x.passed = c, limit, 0, nil
	x.soft.begin(c, x.m, site)
	x.collect(net, site)
	x.path, x.best, x.value = x.path[:0], x.best[:0], -x.soft.slack
	var bound micro
	switch {
	case len(x.items) == 0:
		bound = x.value
	case len(c.minutes) == 0:
		bound = x.bestOfEach()
	case !x.soft.on && x.oneDay():
		bound = x.knapsack()
	default:
		x.again()
		bound = x.lowerInner(c.stepsFor(steps))
		if bound-x.value > tolerance {
			x.greedy()
		}
		if bound-x.value > tolerance {
			bound = x.deepen(bound, tolerance)
		}
		c.effort = x.nodes
	}
	c.last = x.stays(c.last[:0], x.best)
	c.passed = x.passed[max(0, len(x.passed)-passedMost):]
	return priced{bound: max(bound, x.value), value: x.value, nodes: x.nodes}
}

// passedMost is how many of the schedules passed are kept, the last ones.
const passedMost = 6

// stays appends the stays of some items to a list.
func (x *pricer) stays(list, items []int32) []int32 {
	for _, i := range items {
		list = append(list, x.items[i].stay)
	}
	return list
}

// stepsFor spends more on prices where the search was long last time.
func (c *calendar) stepsFor(steps int) int {
	switch {
	case c.effort > 1500:
		return steps * 4
	case c.effort < 150:
		return steps / 3
	}
	return steps
}

// collect lists the stays that leave anything over.
func (x *pricer) collect(net []micro, site *tariff) {
	c, m := x.c, x.m
	days, sizes := len(c.minutes), len(c.sizes)
	grow(&x.has, days*sizes)
	clear(x.has)
	x.items = x.items[:0]
	for i := range c.stays {
		s := &c.stays[i]
		if c.banned != nil && c.banned[i] {
			continue
		}
		v := net[s.group] - micro(s.penalty)<<m.shift
		if site != nil {
			v -= site.siteMinutes(c, s)
		}
		if v <= 0 && (s.load == 0 || v+x.soft.paid(s) <= 0) {
			continue
		}
		x.items = append(x.items, item{stay: int32(i), from: s.from, to: s.to, dog: s.dog, size: s.size, class: s.class, load: s.load, until: s.until, value: v})
		if s.from < s.to {
			x.has[int(s.from)*sizes+int(s.class)] = true
		}
	}
	grow(&x.sum, sizes*(days+1))
	grow(&x.slope, days*sizes)
	grow(&x.left, days)
	grow(&x.hand, days)
	grow(&x.surplus, c.dogs)
	grow(&x.choiceOf, c.dogs)
	grow(&x.lastAt, c.dogs)
	grow(&x.used, c.dogs)
	clear(x.used)
	x.size = int(c.rows * c.width)
	x.entries = x.entries[:0]
	for _, size := range c.sizes {
		if c.rows > 1 {
			size += c.width
		}
		x.entries = append(x.entries, size)
	}
	grow(&x.table, days*x.size)
	x.tables.begin(x)
	for len(x.windows) < len(c.ends) {
		x.windows = append(x.windows, nil)
	}
}

func grow[T any](v *[]T, n int) {
	if cap(*v) < n {
		*v = make([]T, n+n/2)
	}
	*v = (*v)[:n]
}

// siteMinutes is the price of the site minutes of a stay, and of what it takes of its trainer's soft level.
func (t *tariff) siteMinutes(c *calendar, s *calendarStay) micro {
	m := t.m
	g := &m.groups[s.group]
	at := int(c.trainer) * m.stride
	cost := micro(s.size)*micro(c.grain)*(t.minute[at+int(g.leave)]-t.minute[at+int(g.arrive)]) +
		micro(s.cover)*(t.cover[at+int(g.leave)]-t.cover[at+int(g.arrive)])
	if s.load != 0 {
		cost += micro(s.load) * (t.load[at+int(g.leave)] - t.load[at+int(g.arrive)])
	}
	return cost
}

// bestOfEach is for a trainer whose days bind nobody: each dog takes its best item.
func (x *pricer) bestOfEach() micro {
	for d := range x.surplus {
		x.surplus[d], x.choiceOf[d] = 0, -1
	}
	for i := range x.items {
		if it := &x.items[i]; it.value > x.surplus[it.dog] {
			x.surplus[it.dog], x.choiceOf[it.dog] = it.value, int32(i)
		}
	}
	for d, i := range x.choiceOf {
		if i >= 0 {
			x.best = append(x.best, i)
			x.value += x.surplus[d]
		}
	}
	return x.value // no working day in any of them, so no soft level either
}

// again values the schedule of the last call at the new prices: often it is still good.
func (x *pricer) again() {
	var sum micro
	for _, stay := range x.c.last {
		i, in := slices.BinarySearchFunc(x.items, stay, func(it item, s int32) int { return cmp.Compare(it.stay, s) })
		if in {
			sum += x.items[i].value
			x.path = append(x.path, int32(i))
		}
	}
	x.keep(sum - x.soft.lost(x.items, x.path))
}

// keep notes the path if it is better than the best schedule.
func (x *pricer) keep(value micro) {
	if value > x.value {
		if x.noting && len(x.best) > 0 {
			x.passed = append(x.passed, x.stays(nil, x.best))
		}
		x.value = value
		x.best = append(x.best[:0], x.path...)
	}
}

// greedy packs items in order of what they leave over.
func (x *pricer) greedy() {
	c := x.c
	copy(x.left, c.minutes)
	copy(x.hand, c.inHand)
	x.search = x.search[:0]
	for i := range x.items {
		x.search = append(x.search, int32(i))
	}
	slices.SortFunc(x.search, func(a, b int32) int {
		return cmp.Or(cmp.Compare(x.items[b].left, x.items[a].left), cmp.Compare(a, b))
	})
	x.path = x.path[:0]
	var sum micro
	for _, i := range x.search {
		it := &x.items[i]
		if !x.used[it.dog] && x.fits(it) {
			x.take(it, 1)
			x.used[it.dog] = true
			x.path = append(x.path, i)
			sum += it.value
		}
	}
	clear(x.used)
	x.keep(sum - x.soft.lost(x.items, x.path))
}

func (x *pricer) fits(it *item) bool {
	for k := it.from; k < it.to; k++ {
		if x.left[k] < it.size || x.hand[k] < 1 {
			return false
		}
	}
	return true
}

func (x *pricer) take(it *item, times int32) {
	for k := it.from; k < it.to; k++ {
		x.left[k] -= times * it.size
		x.hand[k] -= times
	}
	if it.load != 0 {
		x.soft.use(it, times)
	}
}
