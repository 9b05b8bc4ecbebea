package slots

import (
	"sync/atomic"
	"time"
)

// Options limits Solve. The zero value searches as far as is usual for the problem and depends on nothing but the problem.
type Options struct {
	Nodes  int             // of the search, for each part of the problem; 0: the usual number
	Limit  time.Duration   // 0: none
	Cancel <-chan struct{} // closed when the answer is no longer wanted; the best plan so far is returned
}

// nodesUsual is how far a part is searched when nothing is said.
const nodesUsual = 3000

// Solve appoints the visits. It returns an error, wrapping ErrInvalid, for a problem that is invalid or too large; being stopped is no error:
// then the bound is higher than the value. Without a limit of time the same problem gives the same plan.
func Solve(p *Problem, o Options) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	var stopped atomic.Bool
	defer watch(o, &stopped)()
	m, err := newModel(p)
	if err != nil {
		return nil, err
	}
	if o.Nodes == 0 {
		o.Nodes = nodesUsual
	}
	plan := &Plan{Slots: make([]Slot, len(p.Visits)), Value: p.Worth(), Bound: p.Worth()}
	for _, x := range m.split() {
		picks, cost, bound := x.solve(o.Nodes, stopped.Load)
		plan.Value -= cost
		plan.Bound -= bound
		for v, pick := range picks {
			plan.Slots[x.visits[v]] = x.all[pick].slot
		}
	}
	m.explain(plan)
	return plan, nil
}

// solve finds options for the visits of a part, what they cost, and what any would cost at least.
func (x *part) solve(nodes int, stop func() bool) (picks []int32, cost, bound int) {
	if len(x.visits) == 1 {
		return []int32{0}, x.all[0].cost, x.all[0].cost
	}
	if limits, leaf, ok := x.nested(); ok {
		picks, cost = x.assign(limits, leaf)
		return picks, cost, cost
	}
	t := newTree(x, x.greedy(), stop)
	t.search(nodes)
	return t.best, t.cost, t.bound
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
