package allocation

import "slices"

// master is the linear programme over schedules (Dantzig and Wolfe 1960): each column is one trainer's schedule with its runs, each
// trainer takes one at most, each dog comes once at most, and cells of sites hold what they can. Columns that would gain are found by pricing
// all trainers, at prices between the programme's own and the best so far (in-out, Ben-Ameur and Neto 2007). It moves the prices of the
// schedule bound much further than steps along a subgradient do, and says which schedules go together.
type master struct {
	layout
	rnd  *random
	prog *program
	pool []column
	used []int32 // by column of the programme: index into pool, -1 for none
	last []int32 // columns of the pool that the programme took of when last solved
	// Dogs that must come are worth this much more, in points, so that the programme takes them; their prices are lowered by it.
	bonus   float64
	known   map[stateKey]bool
	best    []float64 // prices of the best bound, in micro
	bound   micro     // best, at the restrictions in force
	rounds  int       // of pricing so far
	chances int       // of pricing closely so far

	mix       float64 // share of the best prices in the prices looked at
	tolerance float64 // of pricing, in points
	limit     int     // of pricing, in nodes
	enough    float64 // share of the gap to the goal within which programme and bound need not come nearer
	diving    bool    // columns do not age while it lasts
	settled   bool    // nothing more can be found at these restrictions
}

func newMaster(s *schedules, seed uint64) *master {
	for _, x := range s.pricers { // only the programme has a use for more than the best schedule
		x.noting = true
	}
	return &master{layout: newLayout(s), rnd: newRandom(seed, 77), known: map[stateKey]bool{}, bonus: float64(s.m.priceCap())}
}

// gather adds the schedules of the last evaluation to the pool, and to the programme: each trainer's best and those that pricing passed on the way
// to it, which save rounds. It reports how many would gain there.
func (w *master) gather() (gaining int) {
	take := func(c column) {
		if at := w.add(c); at >= 0 && w.prog != nil && w.enter(int32(at)) > 1e-4 {
			gaining++
		}
	}
	for t, c := range w.s.cal {
		take(w.chosen(t))
		for _, stays := range c.passed {
			take(w.column(t, stays))
		}
	}
	return gaining
}

// begin makes a programme of the columns that the restrictions in force allow, to go on from a bound and its prices.
func (w *master) begin(bound micro, price []float64) {
	s := w.s
	w.bound = bound
	w.best = append(w.best[:0], price...)
	w.mix, w.tolerance, w.limit, w.enough, w.settled = 0.85, 0.5, 6000, 0, false
	m := s.m
	right := make([]float64, w.first)
	for i := range right {
		right[i] = 1
	}
	w.prog, w.used = newProgram(append(right, w.right()...), w.rnd), w.used[:0]
	for j, i := range s.cells {
		if line := i / m.stride; line >= m.easy.from { // a unit over a soft level
			row := int32(w.first + len(m.dogOf) + j)
			w.prog.add(-float64(m.over(int32(line))), []rowSpan{{row, row + 1, -1}})
			w.used = append(w.used, -1)
		}
	}
	w.trim()
	before := map[int32]bool{}
	for _, i := range w.last {
		before[i] = true
	}
	var prefer []int32
	for i := range len(w.pool) {
		at := int32(i)
		if !w.allowed(&w.pool[i]) {
			at = w.shorten(&w.pool[i])
		}
		if at >= 0 {
			w.enter(at)
			if before[int32(i)] {
				prefer = append(prefer, int32(len(w.used)-1))
			}
		}
	}
	w.prog.prefer(prefer)
}

// enter adds a column of the pool to the programme and returns what it would gain.
func (w *master) enter(i int32) float64 {
	c := &w.pool[i]
	w.used = append(w.used, i)
	return w.prog.gain(w.prog.add(w.cost(c), c.spans))
}

// cost is what a column is worth in the programme.
func (w *master) cost(c *column) float64 {
	cost := c.cost
	for _, at := range c.stays {
		if w.s.must[w.s.m.groups[w.s.cal[c.trainer].stays[at].group].dog] {
			cost += w.bonus
		}
	}
	return cost
}

// value is the programme's, in points, without bonuses.
func (w *master) value() float64 {
	sum := w.prog.value()
	for d, must := range w.s.must {
		if must {
			sum -= w.bonus * w.prog.covered(int32(w.first+d))
		}
	}
	return sum
}

// generate alternates the programme and pricing for some rounds, until the programme's value and the bound are within a point, or the
// bound is not above goal (in micro). Where a round finds no schedule that gains, the next looks nearer to the programme's prices, and
// then more exactly. It reports false if stop ended it.
func (w *master) generate(rounds int, goal micro, stop func() bool) bool {
	s := w.s
	unit := float64(int64(1) << s.m.shift)
	for range rounds {
		w.prog.solve(4000, stop)
		gap := float64(w.bound)/unit - w.value()
		if s.m.roundDown(w.bound)<<s.m.shift <= goal || gap < max(0.3, w.enough*float64(w.bound-goal)/unit) {
			w.settled = true
			break
		}
		if stop() {
			return false
		}
		for i := range s.price {
			p := max(w.prog.price[w.first+i], 0)
			if i < len(s.must) && s.must[i] {
				p -= w.bonus
			}
			s.price[i] = min(max(s.floor(i), w.mix*w.best[i]+(1-w.mix)*p*unit), s.highest[i])
		}
		w.tolerance = min(w.tolerance, max(leastTolerance, gap/float64(4*len(s.cal))))
		s.tolerance, s.limit = micro(w.tolerance*unit), w.limit
		if !s.evaluate(stop) {
			return false
		}
		w.rounds++
		if could := float64(w.bound-s.value) / unit; s.last-s.value > w.bound-s.value && could > gap/8 && !w.diving && !w.closer(stop) {
			return false
		}
		if s.last < w.bound {
			w.bound = s.last
			copy(w.best, s.price)
		}
		switch {
		case w.gather() > 0:
		case w.mix > 0.1:
			w.mix /= 3
		case w.mix > 0:
			w.mix = 0
		case w.tolerance > leastTolerance:
			w.tolerance /= 3
			w.limit = min(w.limit*3, 1_000_000)
		default:
			w.settled = true
		}
		if w.settled {
			break
		}
	}
	w.prog.solve(4000, stop)
	w.noteTaken()
	return !stop()
}

// closer prices closely at every third chance: most rounds only have to find schedules. It reports false if stop ended it.
func (w *master) closer(stop func() bool) (complete bool) {
	w.chances++
	return w.chances%closeEvery != 0 || w.s.closer(closeTimes, stop)
}

const (
	closeEvery = 3
	closeTimes = 10 // more nodes
)

// leastTolerance is how exactly trainers are priced at the end, in points.
const leastTolerance = 0.02

// noteTaken remembers which columns the programme takes of.
func (w *master) noteTaken() {
	w.last = w.last[:0]
	for i := range w.pool {
		if !w.diving {
			w.pool[i].idle++
		}
	}
	for _, col := range w.prog.cols {
		if i := w.used[col]; i >= 0 {
			w.last = append(w.last, i)
			w.pool[i].idle = 0
		}
	}
	slices.Sort(w.last)
}
