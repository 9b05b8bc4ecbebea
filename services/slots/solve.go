package slots

import (
	"sync/atomic"
	"time"
)

// Options limits Solve. The zero value searches as far as is usual for the problem and depends on nothing but the problem.
type Options struct {
	Nodes  int             // of the search, for each part of the problem; 0: the usual number or, with a limit of time, as many as there is time for
	Limit  time.Duration   // 0: none
	Cancel <-chan struct{} // closed when the answer is no longer wanted; the best plan so far is returned
}

// nodesUsual is how far a part is searched when nothing is said, and nodesMost when there is a limit of time. Parts are searched in turns, each
// twice as long as the last, so that one that is hard does not use up the time of all.
const (
	nodesFirst = 100
	nodesUsual = 6_000
	nodesMost  = 1 << 40
)

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
	if o.Nodes == 0 && o.Limit > 0 {
		o.Nodes = nodesMost
	} else if o.Nodes == 0 {
		o.Nodes = nodesUsual
	}
	plan := &Plan{Slots: make([]Slot, len(p.Visits)), Value: p.Worth(), Bound: p.Worth()}
	var trees []*tree
	for _, x := range m.split() {
		trees = append(trees, x.begin(stopped.Load))
	}
	for turn := min(nodesFirst, o.Nodes); turn > 0 && !stopped.Load(); {
		over := true
		for _, t := range trees {
			if t.bound < t.cost && !t.full() {
				t.search(turn)
				t.reopen(max(1, turn/reopenPer))
				over = over && (t.bound == t.cost || t.full())
			}
		}
		if o.Nodes -= turn; over {
			break
		}
		turn = min(2*turn, o.Nodes)
	}
	for _, t := range trees {
		plan.Value -= t.cost
		plan.Bound -= t.bound
		for v, pick := range t.best {
			plan.Slots[t.x.visits[v]] = t.x.all[pick].slot
		}
	}
	m.explain(plan)
	return plan, nil
}

// begin solves a part that is easy, and makes a tree that is ready to be searched of any other.
func (x *part) begin(stop func() bool) *tree {
	if len(x.visits) == 1 {
		return &tree{x: x, best: []int32{0}, cost: x.all[0].cost, bound: x.all[0].cost, stop: stop}
	}
	if limits, leaf, ok := x.nested(); ok {
		picks, cost := x.assign(limits, leaf)
		return &tree{x: x, best: picks, cost: cost, bound: cost, stop: stop}
	}
	return newTree(x, x.greedy(), stop)
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
