package allocation

import (
	"cmp"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// schedules lowers the schedule bound: the Lagrangian relaxation in which each trainer chooses a whole schedule of stays that its
// minutes and dogs in hand allow on every day, while runs, intake and handover places, site minutes and "a dog comes once" are
// only priced. It is never above the price bound at the same prices, and its best value is that of Dantzig and Wolfe's decomposition by
// trainer (as Savelsbergh 1997 for generalised assignment), since what is lost between a relaxation and whole dogs is lost
// inside the trainers' calendars.
type schedules struct {
	m       *model
	threads int
	cal     []*calendar
	pricers []*pricer
	t       *tariff // prices of the sites' cells; the trainers' own cells are zero
	cells   []int   // priced cells
	link    []micro // by group: what a household's dogs pass on to one another, see shareOut
	net     []micro // by group: what the best stay leaves over before the trainer
	bestRun []int16 // by group
	result  []priced
	turn    []int32 // trainers in the order in which they are priced

	// Restrictions of a branch: run classes that a dog must not have (bit by class), and dogs that must come, whose price may be negative.
	noRun []uint64
	must  []bool

	dogPrice []micro
	price    []float64 // dogs first, then cells
	top      []float64
	dir      []float64
	scale    []float64
	use      []int64 // by cell
	count    []int32 // by dog: schedules it is in

	bound micro // best
	last  micro
	value micro   // of the schedules chosen at the last prices: how tight pricing was
	level float64 // target gap as a share of size
	size  float64 // see typicalGain, for all dogs
	stall int
	cap   float64
	// highest is the most that each price may be: soft levels have prices no higher than what a unit over them costs.
	highest []float64
	round   int

	steps, limit int
	tolerance    micro
	loose        micro // looseness of pricing at the best bound

	// Of an evaluation in pieces, see vast.go: the trainer whose turn it is, and the best bound before.
	next   int
	before micro
	rough  time.Duration // of a rough one

	keep   float32     // share of the weights that stays when schedules are remembered
	weight [][]float32 // by trainer and stay: how much the schedules of late have held it, 0 to 1
}

// evaluate prices every trainer at the current prices. complete is false if stop ended it early; then nothing is known.
func (s *schedules) evaluate(stop func() bool) (complete bool) {
	m := s.m
	n := len(m.dogOf)
	for d := range n {
		s.dogPrice[d] = micro(s.price[d])
	}
	for j, i := range s.cells {
		s.t.cell[i] = micro(s.price[n+j])
	}
	s.t.sum(s.threads)
	parallel(s.threads, len(m.groups), 512, func(_, from, to int) {
		for g := from; g < to; g++ {
			s.netOf(int32(g))
		}
	})
	// The longest searches first, so that no thread has one to do when the others have nothing left.
	slices.SortStableFunc(s.turn, func(a, b int32) int { return cmp.Compare(s.cal[b].effort, s.cal[a].effort) })
	if !s.priceAll(stop, func(int) bool { return true }) {
		return false
	}
	s.conclude()
	s.countUse()
	return true
}

// conclude adds up the bound at the current prices and keeps it if it is the best.
func (s *schedules) conclude() {
	bound, ok := s.t.capacityValue(s.m.capacity, s.threads)
	for _, p := range s.dogPrice {
		bound += p
	}
	s.value = bound
	for _, r := range s.result {
		bound += r.bound
		s.value += r.value
	}
	s.last = bound
	if ok && bound < s.bound {
		s.bound = bound
		s.loose = bound - s.value
		copy(s.top, s.price)
	}
}

func (s *schedules) netOf(at int32) {
	m := s.m
	g := &m.groups[at]
	best := micro(1) << 61
	for j, list := 0, m.groupRuns(g); j < len(list); j++ {
		if s.noRun[g.dog]>>(list[j].line-m.runLine[g.site])&1 != 0 {
			continue
		}
		if x := s.t.run(g, &list[j]); x < best {
			best, s.bestRun[at] = x, int16(j)
		}
	}
	s.net[at] = s.t.base(g) - best - s.dogPrice[g.dog] + s.link[at]
}

// priceAll prices some trainers on all threads; each takes the next trainer when it is free. The outcome does not depend on who does it.
func (s *schedules) priceAll(stop func() bool, which func(t int) bool) bool {
	var next atomic.Int64
	var cut atomic.Bool
	work := func(x *pricer) {
		x.stop, x.stopped = stop, false
		defer func() { x.stop = nil }()
		for {
			n := int(next.Add(1)) - 1
			if n >= len(s.turn) {
				return
			}
			t := int(s.turn[n])
			if stop() {
				cut.Store(true)
				return
			}
			if !which(t) {
				continue
			}
			var site *tariff
			if s.m.dayPriced(t) {
				site = s.t
			}
			s.result[t] = x.price(s.cal[t], s.net, site, s.steps, s.limit, s.tolerance)
			if x.stopped {
				cut.Store(true)
				return
			}
		}
	}
	var wg sync.WaitGroup
	for _, x := range s.pricers[1:] {
		wg.Go(func() { work(x) })
	}
	work(s.pricers[0])
	wg.Wait()
	return !cut.Load()
}

// countUse adds up what the trainers' schedules use.
func (s *schedules) countUse() {
	m := s.m
	clear(s.count)
	for _, i := range s.cells {
		s.use[i] = 0
	}
	for t, c := range s.cal {
		s.remember(t)
		for _, i := range c.last {
			st := &c.stays[i]
			g := &m.groups[st.group]
			s.count[g.dog]++
			s.use[m.cell(m.intakeLine[g.site], int(g.arrive))]++
			s.use[m.cell(m.handLine[g.site], int(g.leave))]++
			run := m.cell(m.groupRuns(g)[s.bestRun[st.group]].line, 0)
			for k := int(g.arrive); k < int(g.vacate); k++ {
				s.use[run+k]++
			}
			if line := m.minuteLine[g.site]; line >= 0 {
				for k := int(g.arrive); k < int(g.leave); k++ {
					if m.works[t*m.stride+k] {
						s.use[m.cell(line, k)] += int64(st.size * c.grain)
					} else {
						s.use[m.cell(line, k)] += int64(st.cover)
					}
				}
			}
		}
	}
	m.copyEasy(s.use)
}

// remember mixes the schedule just found into the weights of the trainer's stays. The weights come near a solution of the relaxation,
// as in the volume algorithm (Barahona and Anbil 2000).
func (s *schedules) remember(t int) {
	w := s.weight[t]
	for i := range w {
		w[i] *= s.keep
	}
	for _, i := range s.cal[t].last {
		w[i] += 1 - s.keep
	}
}

// step moves the prices once and evaluates them.
func (s *schedules) step(value micro, stop func() bool) bool {
	target := max(float64(s.bound)-s.level*s.size, float64(value))
	if !s.move(target, 0.93) {
		s.level = 0
		return true
	}
	before := s.bound
	if !s.evaluate(stop) {
		return false
	}
	s.round++
	if float64(before-s.bound) > 0.02*s.level*s.size {
		s.stall = 0
	} else if s.stall++; s.stall >= 10 {
		s.stall = 0
		s.level *= 0.6
		copy(s.price, s.top)
		clear(s.dir)
		return s.evaluate(stop)
	}
	return true
}

// move changes the prices along the deflected subgradient, with a step towards a target. It reports false at a minimum.
func (s *schedules) move(target, deflect float64) bool {
	var norm float64
	for i := range s.price {
		floor, g := s.floor(i), s.slope(i)
		s.dir[i] = deflect*s.dir[i] + g
		if s.dir[i] < 0 && s.price[i] == floor {
			s.dir[i] = 0
		}
		norm += s.dir[i] * s.dir[i] / s.scale[i]
	}
	if norm == 0 {
		return false
	}
	size := (float64(s.last) - target) / norm
	for i := range s.price {
		s.price[i] = min(max(s.floor(i), s.price[i]+size/s.scale[i]*s.dir[i]), s.highest[i])
	}
	return true
}

// slope is how much more of a row the schedules chosen last use than there is: nothing where the price cannot fall.
func (s *schedules) slope(i int) float64 {
	g := 0.0
	if n := len(s.m.dogOf); i < n {
		g = float64(s.count[i] - 1)
	} else {
		c := s.cells[i-n]
		g = float64(s.use[c] - int64(s.m.capacity[c]))
	}
	if g < 0 && s.price[i] == s.floor(i) {
		return 0
	}
	return g
}

// floor is the least that a price may be.
func (s *schedules) floor(i int) float64 {
	if i < len(s.must) && s.must[i] {
		return -s.cap
	}
	return 0
}

// tighten sets how exactly trainers are priced: the looseness of all together should be small against the gap that is left.
func (s *schedules) tighten(value micro, typical float64) {
	gap := max(s.bound-value, 1)
	s.tolerance = min(micro(0.01*typical*float64(int64(1)<<s.m.shift)), gap/micro(8*len(s.cal)))
	if s.loose > gap/8 && s.stall == 0 && s.round > 50 {
		s.limit = min(s.limit*5/4, 100_000)
	}
}

// converged says that further steps would change the bound by next to nothing.
func (s *schedules) converged() bool { return s.level < 2e-5 }
