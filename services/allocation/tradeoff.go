package allocation

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// Trade-offs between a better plan and promises that were made before: how much more is a plan worth that may move none of
// them, one, two, …?
//
// A promise is kept when its dog comes to the promised site, on the promised day, to the promised trainer. The run is not part of
// it: nobody is promised a run, and runs that suit the dog differ in points only. Everything else is a move, and so is a promise
// that is given up. Each dog counts for itself: a household of two that comes on another day is two moves, as two owners' files change.
//
// Why the bounds hold. Let K dogs have promises, and make each promised placement worth mu points more. A plan with m moves is then
// worth its value and mu (K-m), so for every plan with at most n moves: value <= bound(mu) - mu (K-n), whatever mu >= 0. The least over
// all mu tried is kept (Lagrange; Geoffrion 1974, from memory). It can be no lower than the concave hull of the true curve. With no move
// allowed the promised dogs have no other choice left, which is a smaller problem with a closer bound; mu then only keeps them in the plan.

// TradeOffOptions steer TradeOff. Seed, Threads, Limit, Iterations and Cancel are those of Options, for the whole curve: every search
// gets its share. A share is counted as used even where a search ended early, except that a limit of time counts seconds.
type TradeOffOptions struct {
	Seed       uint64
	Threads    int
	Iterations int
	Limit      time.Duration
	Cancel     <-chan struct{}
	// Warm is a plan to start from, such as all promises; placements that break a rule are left out.
	Warm []Placement
	// Progress, when set, is called from one goroutine at a time. No point's value falls and no bound rises between calls.
	Progress func(TradeOffProgress)
}

// TradeOffProgress is a glance at a curve in the making; its placements are not to be changed. Searches counts those that have ended,
// Expected how many there will be, about.
type TradeOffProgress struct {
	Points             []TradeOffPoint
	Searches, Expected int
	Seconds            float64
	Phase              string
}

// TradeOffPoint is the best plan found that moves at most Moves promises, and an integer Bound that no such plan's value can exceed.
// Moved is how many it does move. Found is false while no such plan is known; Impossible when it is proven that there is
// none, because the promises do not fit together any more. Value, Moved and Placements count only if Found, Bound only if not Impossible.
type TradeOffPoint struct {
	Moves, Moved      int
	Found, Impossible bool
	Value, Bound      int64
	Placements        []Placement
}

// Gap is how far Bound lies above Value, in percent of Value, as Solution.Gap; 100 when no plan was found.
func (t TradeOffPoint) Gap() float64 {
	if !t.Found {
		return 100
	}
	return GapPercent(t.Value, t.Bound)
}

// TradeOffCurve holds one point for each number of moves asked for, in ascending order. From point to point neither values nor bounds fall.
type TradeOffCurve struct {
	Promises int
	Points   []TradeOffPoint
	Searches int
	Seconds  float64
	Stopped  StopReason
}

// TradeOff computes the points for the given numbers of moves. promised holds one placement for each dog with a promise, each of which
// must be an option of its dog but for the run, which is only where the promise stands now. Errors wrap ErrInvalid and are about
// p, promised or moves; a limit or Cancel is no error: the points are then those known so far. The same input, seed, threads and
// iterations give the same curve where Limit and Cancel do not end it.
func TradeOff(p *Problem, promised []Placement, moves []int, o TradeOffOptions) (TradeOffCurve, error) {
	if err := p.Validate(); err != nil {
		return TradeOffCurve{}, err
	}
	if err := checkWarm(p, o.Warm); err != nil {
		return TradeOffCurve{}, err
	}
	for _, n := range moves {
		if n < 0 {
			return TradeOffCurve{}, invalid("%d moves are asked for; give 0 or more", n)
		}
	}
	c, err := newCurve(p, promised, moves, o)
	if err != nil {
		return TradeOffCurve{}, err
	}
	if err := c.run(); err != nil {
		return TradeOffCurve{}, err
	}
	return c.result()
}

// curve is one call of TradeOff.
type curve struct {
	p     *Problem
	o     TradeOffOptions
	moves []int
	// promised by dog, nil without a promise; count is how many there are.
	promised []*Placement
	count    int
	// least is no more than what any plan is worth; most no less.
	least, most int64
	// base is a price at which a promise outweighs any household; top is the highest price that the numbers have room for.
	base, top int64

	// plans holds the best plan known for each number of moves that it makes.
	plans map[int]knownPlan
	cuts  []cut
	asked map[int64]bool
	// served counts the searches made for each point; polished are the plans that were searched around, joined the prices at which
	// plans were joined, with the number of plans that had been learned by then.
	served   []int
	polished map[polishKey]bool
	joined   map[joinKey]bool
	learned  int

	searches int
	used     int
	begun    time.Time
	stopped  StopReason
}

// knownPlan is a plan that Check has counted.
type knownPlan struct {
	value      int64
	placements []Placement
}

// cut is what one search proved: no plan with at most n moves is worth more than bound - mu (K-n). Where pinned is set, this was
// proven only for plans without any move. closed says that the search itself left no gap.
type cut struct {
	mu, bound      int64
	pinned, closed bool
}

func newCurve(p *Problem, promised []Placement, moves []int, o TradeOffOptions) (*curve, error) {
	c := &curve{p: p, o: o, moves: slices.Compact(slices.Sorted(slices.Values(moves))), promised: make([]*Placement, len(p.Dogs)),
		count: len(promised), plans: map[int]knownPlan{}, asked: map[int64]bool{}, begun: time.Now()}
	c.served, c.polished, c.joined = make([]int, len(c.moves)), map[polishKey]bool{}, map[joinKey]bool{}
	c.top = MaxNumber
	for i := range promised {
		pl := &promised[i]
		if pl.Dog < 0 || pl.Dog >= len(p.Dogs) {
			return nil, invalid("promise %d is for dog %d; there are %d dogs", i, pl.Dog, len(p.Dogs))
		}
		if c.promised[pl.Dog] != nil {
			return nil, invalid("dog %d has two promises; keep one", pl.Dog)
		}
		g, t := promisedOption(&p.Dogs[pl.Dog], pl)
		if g < 0 {
			return nil, invalid("dog %d was promised site %d on day %d with trainer %d, which is none of its options; leave the promise out", pl.Dog, pl.Site, pl.Arrival, pl.Trainer)
		}
		c.promised[pl.Dog] = pl
		c.top = min(c.top, int64(MaxNumber+p.Dogs[pl.Dog].Placements[g].Trainers[t].Penalty))
	}
	c.measure()
	for _, plan := range [][]Placement{promised, o.Warm} {
		if _, err := Check(p, plan); err == nil {
			if err := c.learn(plan); err != nil {
				return nil, err
			}
		}
	}
	return c, nil
}

// promisedOption finds the group and the trainer's entry of a promise, -1 where there is none.
func promisedOption(d *Dog, pl *Placement) (group, trainer int) {
	for g := range d.Placements {
		if d.Placements[g].Site != pl.Site || d.Placements[g].Arrival != pl.Arrival || len(d.Placements[g].Runs) == 0 {
			continue
		}
		for t := range d.Placements[g].Trainers {
			if d.Placements[g].Trainers[t].Trainer == pl.Trainer {
				return g, t
			}
		}
	}
	return -1, -1
}

// measure finds what plans can be worth at the least (with all that is used lying over soft levels) and at the most, and from it the
// prices to begin with.
func (c *curve) measure() {
	best := make([]int64, len(c.p.Dogs))
	for d := range c.p.Dogs {
		low, high := int64(0), int64(0)
		for _, g := range c.p.Dogs[d].Placements {
			for _, t := range g.Trainers {
				over := c.p.mostOver(&c.p.Dogs[d], &g, t)
				for _, r := range g.Runs {
					v := int64(g.Value) - int64(r.Penalty) - int64(t.Penalty)
					low, high = min(low, v-over), max(high, v)
				}
			}
		}
		best[d] = high - low
		c.least += low
		c.most += high
	}
	household := int64(1)
	for _, unit := range unitsOf(c.p) {
		var sum int64
		for _, d := range unit {
			sum += best[d]
		}
		household = max(household, sum)
	}
	c.base = min(2*household+1, c.top)
}

// movesOf counts the promises that a plan does not keep.
func (c *curve) movesOf(plan []Placement) int {
	n := c.count
	for i := range plan {
		if c.keeps(&plan[i]) {
			n--
		}
	}
	return n
}

// keeps reports whether a placement is what its dog was promised.
func (c *curve) keeps(pl *Placement) bool {
	want := c.promised[pl.Dog]
	return want != nil && pl.Site == want.Site && pl.Arrival == want.Arrival && pl.Trainer == want.Trainer
}

// learn counts a plan and keeps it if it is the best of its number of moves.
func (c *curve) learn(plan []Placement) error {
	value, err := Check(c.p, plan)
	if err != nil {
		return fmt.Errorf("a search for the trade-off made an invalid plan, which is a fault in it: %w", err)
	}
	n := c.movesOf(plan)
	if old, known := c.plans[n]; !known || value > old.value {
		c.learned++
		c.plans[n] = knownPlan{value: value, placements: slices.Clone(plan)}
	}
	return nil
}

// best is the most valuable known plan with at most n moves; of equal ones that with the fewest.
func (c *curve) best(n int) (moves int, plan knownPlan, found bool) {
	for m := 0; m <= min(n, c.count); m++ {
		if x, known := c.plans[m]; known && (!found || x.value > plan.value) {
			moves, plan, found = m, x, true
		}
	}
	return moves, plan, found
}

// bound is the least that the cuts prove for plans with at most n moves. It rises with n, because every cut does and those
// that hold for no move alone come last in that order.
func (c *curve) bound(n int) int64 {
	bound := c.most
	for _, x := range c.cuts {
		if !x.pinned || n == 0 {
			bound = min(bound, x.at(c.count, n))
		}
	}
	return bound
}

// at is what a cut proves for n moves of count promises.
func (x cut) at(count, n int) int64 { return x.bound - x.mu*int64(max(0, count-n)) }

// point gathers what is known for a number of moves.
func (c *curve) point(n int) TradeOffPoint {
	moved, plan, found := c.best(n)
	out := TradeOffPoint{Moves: n, Moved: moved, Found: found, Value: plan.value, Bound: c.bound(n), Placements: plan.placements}
	if !found && out.Bound < c.least {
		out.Impossible, out.Bound = true, 0
	}
	return out
}

func (c *curve) points() []TradeOffPoint {
	out := make([]TradeOffPoint, len(c.moves))
	for i, n := range c.moves {
		out[i] = c.point(n)
	}
	return out
}

// gap is the points between value and bound of a point that a search might still close; 0 when there is nothing to do.
func (c *curve) gap(i int) int64 {
	x := c.point(c.moves[i])
	switch {
	case x.Impossible:
		return 0
	case !x.Found:
		return math.MaxInt64
	}
	return x.Bound - x.Value
}

func (c *curve) result() (TradeOffCurve, error) {
	out := TradeOffCurve{Promises: c.count, Points: c.points(), Searches: c.searches, Seconds: c.spent().Seconds(), Stopped: c.stopped}
	closed := true
	for i := range out.Points {
		x := &out.Points[i]
		x.Placements = slices.Clone(x.Placements)
		closed = closed && c.gap(i) == 0
		if x.Found && x.Bound < x.Value {
			return TradeOffCurve{}, fmt.Errorf("the bound %d for %d moves is below the value %d of a plan, which is a fault in the search", x.Bound, x.Moves, x.Value)
		}
	}
	if closed {
		out.Stopped = StopProven
	} else if out.Stopped == "" {
		out.Stopped = StopIterations
	}
	return out, nil
}
