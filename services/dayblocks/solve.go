package dayblocks

import (
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Options limits Solve. The zero value is a search of a fixed length that depends on nothing but the day and the seed.
type Options struct {
	Seed       uint64
	Moves      int             // of the search; 0: as many as are usual for a day of its size
	Limit      time.Duration   // 0: none
	Cancel     <-chan struct{} // closed when the answer is no longer wanted; the best plan so far is returned
	Start      []Block         // a plan to start from, as far as it still fits
	StartRests [][]int         // its breaks
}

// Solve plans a day. It returns an error, wrapping ErrInvalid, for a day that is invalid or in which a trainer has no room for a break; being
// stopped is no error. The same day, seed and moves give the same plan when there is no limit of time.
func Solve(d *Day, o Options) (*Plan, error) {
	if err := d.Validate(); err != nil {
		return nil, err
	}
	var stopped atomic.Bool
	defer watch(o, &stopped)()
	m := newModel(d)
	for t, x := range d.Trainers {
		if _, ok := m.fitBreaks(t); !ok {
			return nil, invalid("trainer %d has no room for its breaks (%v) within its hours and beside what is fixed; move one of them or what is in its way", t, x.Breaks)
		}
	}
	x, bound := improve(m, o, stopped.Load)
	best := newState(m)
	for i, p := range x.bestAt {
		if p.start >= 0 {
			best.put(int32(i), p, true)
		}
	}
	p := best.plan()
	p.Value, p.Bound = d.Worth()-x.best, d.Worth()-min(bound, x.best)
	return p, nil
}

// watch sets the flag at the limit or when cancelled; the function it returns ends the watching.
func watch(o Options, stopped *atomic.Bool) (end func()) {
	if o.Limit <= 0 && o.Cancel == nil {
		return func() {}
	}
	quit := make(chan struct{})
	var timer <-chan time.Time
	if o.Limit > 0 {
		timer = time.After(o.Limit)
	}
	go func() {
		select {
		case <-quit:
			return
		case <-timer:
		case <-o.Cancel:
		}
		stopped.Store(true)
	}()
	return func() { close(quit) }
}

// Effort, in price steps and moves. The work goes in rounds of two threads: first one searches and the other finds the bound, then both search.
// They learn of each other's best only between rounds, so that without a limit of time a plan depends on the day and the seed, not on how fast a
// thread was.
const (
	rounds      = 20
	ordersEvery = 6 // rounds, an order is looked for
	pricesRound = 140
	pricesFirst = 140 // before the timelines
	pricesAll   = 840
	movesPair   = 30 // for each two sessions, usually: the more there are the more ways there are for each
	movesLeast  = 20000
	failsPer    = 4 // moves for each dead end of a search for an order
	failsMost   = 5000
	exactItems  = 14 // sessions and breaks of days that are proven
	coolFrom    = 0.06
	coolTo      = 0.005
)

// improve finds a plan and a bound on its cost.
func improve(m *model, o Options, stop func() bool) (x *search, bound int) {
	x = firstPlan(m, o)
	d := newDual(m)
	if !stop() {
		d.step(x.best)
	}
	p := pace{began: time.Now(), limit: o.Limit, moves: o.Moves}
	if p.moves == 0 {
		p.moves = max(movesLeast, movesPair*m.sessions()*m.sessions())
	}
	var second *search
	for round := range rounds {
		target, met := x.best, d.bound()
		if target <= met || stop() {
			break
		}
		if d.lines == nil && d.steps >= pricesFirst {
			d.startTimelines()
		}
		if second == nil && d.steps >= pricesAll {
			second = x.twin(o.Seed)
		}
		if round%ordersEvery == ordersEvery-1 {
			x.reorder(min(p.moves/failsPer, failsMost), stop)
			if target = x.best; target <= met {
				break
			}
		}
		x.by.prices = d.workPrices(x.by.prices)
		upto := float64(round+1) / rounds
		var both sync.WaitGroup
		both.Go(func() {
			if second != nil {
				second.by.prices = x.by.prices
				second.anneal(&p, upto, met, stop)
				return
			}
			for n := 0; n < pricesRound && d.bound() < target && p.part(0) < upto && !stop(); n++ {
				d.step(target)
			}
		})
		x.anneal(&p, upto, met, stop)
		both.Wait()
		if second != nil {
			x.exchange(second)
		}
	}
	if len(m.items) <= exactItems && d.bound() < x.best && !stop() {
		if d.lines == nil {
			d.startTimelines()
		}
		cost, at, done := solveExact(d, x.best, x.bestAt, stop)
		x.best = cost
		copy(x.bestAt, at)
		if done {
			return x, cost
		}
	}
	return x, d.bound()
}

// firstPlan goes on from the plan that is given, or from none, and puts in what it can.
func firstPlan(m *model, o Options) *search {
	s := newState(m)
	s.begin(o)
	x := newSearch(m, s, o.Seed)
	var all []int32
	for i := range m.items {
		if s.at[i].start < 0 {
			all = append(all, int32(i))
		}
	}
	x.fill(all)
	x.now = s.cost()
	x.best = x.now
	copy(x.bestAt, s.at)
	return x
}

// begin takes over what fits of a plan to start from.
func (s *state) begin(o Options) {
	m := s.m
	put := func(i int32, want func(p placed) bool, second int) {
		best, ok := nowhere, false
		s.each(i, func(p placed) {
			if !ok && want(p) {
				best, ok = p, true
			}
		})
		if it := &m.items[i]; ok && it.two {
			from := int(best.start)
			best.second = s.second(it, int(best.trainer), from, 0)
			if may := slices.ContainsFunc(it.seconds, func(h Choice) bool { return h.Trainer == second }); may && second != int(best.trainer) &&
				s.free[second].countIn(from, from+it.busy) == it.busy {
				best.second = int32(second)
			}
		}
		if ok {
			s.put(i, best, true)
		}
	}
	for i := m.sessions(); i < len(m.items); i++ {
		it := &m.items[i]
		if t := int(it.trainer); t < len(o.StartRests) && int(it.session) < len(o.StartRests[t]) {
			put(int32(i), func(p placed) bool { return m.minute(p.start) == o.StartRests[t][it.session] }, -1)
		}
	}
	s.placeBreaks()
	for more := true; more; { // a session may have to wait for one that comes between two others
		more = false
		for _, b := range o.Start {
			if b.Dog < 0 || b.Dog >= len(m.ofDog) || b.Session < 0 || b.Session >= len(m.ofDog[b.Dog]) {
				continue
			}
			if i := m.ofDog[b.Dog][b.Session]; s.at[i].start < 0 {
				put(i, func(p placed) bool {
					return m.minute(p.start) == b.Start && int(p.trainer) == b.Trainer && m.items[i].places[p.place].area == b.Area
				}, b.Second)
				more = more || s.at[i].start >= 0
			}
		}
	}
}

// plan reads the plan off a state.
func (s *state) plan() *Plan {
	m := s.m
	p := &Plan{Breaks: make([][]int, len(m.hours))}
	for t := range p.Breaks {
		p.Breaks[t] = make([]int, len(m.d.Trainers[t].Breaks))
	}
	for i := range m.items {
		it, at := &m.items[i], s.at[i]
		switch {
		case it.dog < 0:
			p.Breaks[it.trainer][it.session] = m.minute(at.start)
		case at.start < 0:
			p.Dropped = append(p.Dropped, Dropped{int(it.dog), int(it.session), s.reason(int32(i))})
		default:
			p.Blocks = append(p.Blocks, Block{Dog: int(it.dog), Session: int(it.session), Trainer: int(at.trainer), Second: int(at.second),
				Area: it.places[at.place].area, Start: m.minute(at.start)})
		}
	}
	slices.SortFunc(p.Blocks, func(a, b Block) int {
		if a.Start != b.Start {
			return a.Start - b.Start
		}
		return a.Trainer - b.Trainer
	})
	return p
}

// reason says why a session is not in the plan.
func (s *state) reason(i int32) Reason {
	m := s.m
	if newState(m).choices(i) == 0 {
		return NeverPossible
	}
	if s.choices(i) > 0 {
		return NotWorthIt
	}
	it := &m.items[i]
	alone := newState(m) // with the dog's own day only
	for _, j := range m.ofDog[it.dog] {
		if p := s.at[j]; p.start >= 0 {
			alone.put(j, p, true)
		}
	}
	if alone.choices(i) == 0 {
		return DogFull
	}
	s.mayBegin(i)
	trainer, second := false, false
	for _, h := range it.handlers {
		s.free[h.Trainer].runs(it.busy, s.own)
		s.own.keep(s.base)
		open := newSteps(m.steps)
		for n := range it.places {
			open.join(it.places[n].starts)
		}
		s.own.keep(open)
		trainer = trainer || !s.own.empty()
		if it.two {
			s.secondFree(it, h.Trainer)
			s.own.keep(s.other)
		}
		second = second || !s.own.empty()
	}
	switch {
	case !trainer:
		return NoTrainer
	case !second:
		return NoSecond
	}
	return NoArea
}
