package allocation

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"
)

// Solve finds a valuable plan and a bound on what any plan can be worth. It returns an error, wrapping ErrInvalid, only for an
// invalid problem or a start that names things that do not exist; running out of time or being cancelled is a result, with the best plan so
// far. See Options for how to limit it and Solution for what it returns.
//
// Time is read only to keep Options.Limit and to report seconds, and never decides anything when Limit is 0.
func Solve(p *Problem, o Options) (Solution, error) {
	r := &run{p: p, o: o, start: time.Now(), threads: max(1, o.Threads), begun: make(chan struct{})}
	if err := p.Validate(); err != nil {
		return Solution{}, err
	}
	if err := checkWarm(p, o.Warm); err != nil {
		return Solution{}, err
	}
	defer r.watch()()
	r.prepare()
	defer r.reportProgress()()
	r.rounds()
	return r.solution()
}

func checkWarm(p *Problem, warm []Placement) error {
	for i, pl := range warm {
		if pl.Dog < 0 || pl.Dog >= len(p.Dogs) || pl.Site < 0 || pl.Site >= len(p.Sites) {
			return invalid("placement %d of the plan to start from names dog %d and site %d, which do not exist; leave it out", i, pl.Dog, pl.Site)
		}
	}
	return nil
}

// run is one call of Solve.
type run struct {
	p       *Problem
	o       Options
	start   time.Time
	threads int
	stopped atomic.Bool
	reason  StopReason
	parts   []*solver
	done    int           // iterations used
	outer   *run          // whose plan this run rebuilds a piece of; nil for a call of Solve
	begun   chan struct{} // closed when each part has a first plan; nil where outer is not

	mu   sync.Mutex // guards what follows
	seen Progress
}

// watch sets the stop flag at the limit or when cancelled; the function it returns ends the watching.
func (r *run) watch() (end func()) {
	if r.o.Limit <= 0 && r.o.Cancel == nil && r.o.Enough == nil {
		return func() {}
	}
	quit, ended := make(chan struct{}), make(chan struct{})
	var timer <-chan time.Time
	if r.o.Limit > 0 {
		timer = time.After(r.o.Limit)
	}
	go func() {
		defer close(ended)
		reason, begun := StopCancelled, (chan struct{})(nil)
		for enough := r.o.Enough; ; {
			select {
			case <-quit:
				return
			case <-timer:
				reason = StopLimit
			case <-r.o.Cancel:
			case <-enough:
				enough, begun = nil, r.begun
				continue
			case <-begun:
			}
			break
		}
		r.mu.Lock()
		r.reason = reason
		r.mu.Unlock()
		r.stopped.Store(true)
	}()
	return func() { close(quit); <-ended }
}

func (r *run) stop() bool { return r.stopped.Load() || r.outer != nil && r.outer.stop() }

// left is the time until the limit; ok is false without one.
func (r *run) left() (time.Duration, bool) {
	return r.o.Limit - time.Since(r.start), r.o.Limit > 0
}

// prepare makes a solver for each component.
func (r *run) prepare() {
	parts := components(r.p)
	home := make([]int32, len(r.p.Dogs))
	for i, c := range parts {
		for _, u := range c.units {
			for _, d := range u {
				home[d] = int32(i)
			}
		}
	}
	warm := make([][]Placement, len(parts))
	for _, pl := range r.o.Warm {
		if len(parts) > 0 && len(r.p.Dogs[pl.Dog].Placements) > 0 {
			warm[home[pl.Dog]] = append(warm[home[pl.Dog]], pl)
		}
	}
	r.parts = make([]*solver, len(parts))
	inner := r.threads
	if len(parts) > r.threads {
		inner = 1
	}
	parallel(r.threads/inner, len(parts), 1, func(_, from, to int) {
		for i := from; i < to; i++ {
			r.parts[i] = newSolver(r, newModel(r.p, parts[i], inner), uint64(i), inner, warm[i])
		}
	})
}

// rounds lets every part work, round after round, until all are proven or a limit is met.
func (r *run) rounds() {
	for first := true; ; first = false {
		open := slices.DeleteFunc(slices.Clone(r.parts), (*solver).finished)
		if len(open) == 0 || r.stop() {
			return
		}
		if r.o.Iterations > 0 {
			left := r.o.Iterations - r.done
			if left <= 0 {
				r.halt(StopIterations)
				return
			}
			for _, s := range open {
				s.allowance = max(1, left/len(open))
			}
		}
		used := make([]int, len(open))
		parallel(max(1, r.threads/open[0].threads), len(open), 1, func(_, from, to int) {
			for i := from; i < to; i++ {
				used[i] = open[i].round()
				r.note()
			}
		})
		for _, n := range used {
			r.done += n
		}
		if first && r.begun != nil {
			close(r.begun)
		}
	}
}

func (r *run) halt(reason StopReason) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.stopped.Load() {
		r.reason = reason
	}
}

// note adds up the parts' published values and bounds.
func (r *run) note() {
	r.mu.Lock()
	defer r.mu.Unlock()
	var value, bound int64
	placed := 0
	phase := ""
	for _, s := range r.parts {
		v, b, n, ph := s.published()
		value, bound, placed = value+v, bound+b, placed+n
		if !s.finished() || phase == "" {
			phase = ph
		}
	}
	if value > r.seen.Value || r.seen.Phase == "" {
		r.seen.Value, r.seen.Placed = value, placed
	}
	if bound < r.seen.Bound || r.seen.Phase == "" {
		r.seen.Bound = bound
	}
	r.seen.Phase = phase
}

// reportProgress calls Options.Progress a few times a second, and a last time when the returned function is called.
func (r *run) reportProgress() (end func()) {
	if r.o.Progress == nil {
		return func() {}
	}
	report := func() {
		r.note()
		r.mu.Lock()
		p := r.seen
		r.mu.Unlock()
		p.Seconds = time.Since(r.start).Seconds()
		p.Gap = GapPercent(p.Value, p.Bound)
		r.o.Progress(p)
	}
	quit, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(200 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-quit:
				return
			case <-tick.C:
				report()
			}
		}
	}()
	return func() {
		close(quit)
		<-ended
		report()
	}
}

// solution gathers the parts' plans and has Check count them.
func (r *run) solution() (Solution, error) {
	out := Solution{Status: Feasible, Seed: r.o.Seed, Prices: r.prices()}
	for _, s := range r.parts {
		out.Placements = append(out.Placements, s.m.placements(s.best)...)
		out.Bound += s.bound
	}
	slices.SortFunc(out.Placements, func(a, b Placement) int { return a.Dog - b.Dog })
	value, err := Check(r.p, out.Placements)
	if err != nil {
		return Solution{}, fmt.Errorf("the solver made an invalid plan, which is a fault in it: %w", err)
	}
	if out.Value = value; out.Bound < value {
		return Solution{}, fmt.Errorf("the solver's bound %d is below its plan's value %d, which is a fault in it", out.Bound, value)
	}
	r.mu.Lock()
	out.Stopped = r.reason
	r.mu.Unlock()
	if out.Bound == value {
		out.Status, out.Stopped = Optimal, StopProven
	} else if out.Stopped == "" {
		out.Stopped = StopIterations
	}
	out.Seconds = time.Since(r.start).Seconds()
	return out, nil
}

// prices lays the parts' prices out by the problem's indices.
func (r *run) prices() Prices {
	out := blankPrices(r.p)
	for _, s := range r.parts {
		s.writePrices(&out)
	}
	return out
}

// blankPrices are prices of zero for every resource of p.
func blankPrices(p *Problem) Prices {
	out := Prices{Sites: make([]SitePrices, len(p.Sites)), Trainers: make([]TrainerPrices, len(p.Trainers))}
	for i := range p.Sites {
		s := SitePrices{Runs: make([][]float64, len(p.Sites[i].Runs)), Intake: make([]float64, p.Days), Handover: make([]float64, p.Days)}
		for c := range s.Runs {
			s.Runs[c] = make([]float64, p.Days)
		}
		if p.Sites[i].Minutes != nil {
			s.Minutes = make([]float64, p.Days)
		}
		out.Sites[i] = s
	}
	for i := range p.Trainers {
		out.Trainers[i] = TrainerPrices{Minutes: make([]float64, p.Days), Dogs: make([]float64, p.Days)}
	}
	return out
}
