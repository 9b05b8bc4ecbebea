package allocation

import "slices"

// branching proves plans of small parts optimal: branch and bound with the schedule bound at every node (branch and price, Barnhart
// and others 1998); the linear programme over schedules moves a node's prices and says what to branch on. A node forbids some choices; its children
// split what is left by who trains a dog, by site and day, by run class, or by whether it comes at all. The node with the highest bound
// is split first, so that the bound of the whole falls steadily.
type branching struct {
	s     *schedules
	w     *master
	root  *node // as it was at the start
	open  boundQueue[*node]
	plan  *state
	found func(*state) // is told of plans met on the way
	nodes int
	away  []bool // by unit
}

type node struct {
	parent *node
	rule   rule
	bound  micro
	price  []float64
	depth  int
}

func (n *node) upTo() micro { return n.bound }

func newBranching(w *master, found func(*state)) *branching {
	s := w.s
	b := &branching{s: s, w: w, plan: newState(s.m), found: found, away: make([]bool, s.m.units())}
	for _, c := range s.cal {
		c.lift()
	}
	b.root = &node{bound: w.bound, price: slices.Clone(w.best)}
	root := *b.root
	b.open.add(&root)
	return b
}

// bound is proven for the whole part: nothing better hides in the nodes not yet done.
func (b *branching) bound() micro {
	return b.open.bound()
}

// Effort at a node: rounds of pricing at most, and see master.mix and master.enough. Prices of the parent are near already, and it is better
// to branch than to know a node's bound exactly.
const (
	nodeRounds = 60
	nodeMix    = 0.4
	nodeEnough = 0.1
)

// next works on one node: value is the best plan's. It returns the evaluations done; on stop the node stays open.
func (b *branching) next(value micro, stop func() bool) (evaluations int) {
	s, w := b.s, b.w
	n := b.open.next()
	if s.m.roundDown(n.bound)<<s.m.shift <= value {
		return 0
	}
	b.nodes++
	b.apply(n)
	before := w.rounds
	w.begin(n.bound, s.price)
	w.mix, w.enough = nodeMix, nodeEnough
	if !w.generate(nodeRounds, value, stop) {
		n.bound = min(n.bound, w.bound)
		b.open.add(n)
		return w.rounds - before
	}
	n.bound, n.price = min(n.bound, w.bound), slices.Clone(w.best)
	if s.m.roundDown(n.bound)<<s.m.shift <= value {
		return w.rounds - before
	}
	w.weigh()
	r, ok := b.choose(n.bound-value, stop)
	if !ok {
		b.settle()
		return w.rounds - before
	}
	opposite := r
	opposite.not = true
	for _, r := range []rule{opposite, r} {
		b.open.add(&node{parent: n, rule: r, bound: n.bound, price: n.price, depth: n.depth + 1})
	}
	return w.rounds - before
}

// dive dives from the root once more.
func (b *branching) dive(value micro, found func(), stop func() bool) {
	b.w.free()
	b.w.begin(b.root.bound, b.root.price)
	if b.w.generate(diveRounds, value, stop) {
		b.w.diveFromRoot(diveRounds, value, found, stop)
	}
}

// apply puts a node's rules and prices in force.
func (b *branching) apply(n *node) {
	s := b.s
	for _, c := range s.cal {
		c.lift()
	}
	clear(s.noRun)
	clear(s.must)
	clear(b.away)
	for at := n; at != nil; at = at.parent {
		b.enforce(at.rule)
	}
	copy(s.price, n.price)
	for i := range s.must {
		s.price[i] = max(s.price[i], s.floor(i))
	}
	clear(s.dir)
}

func (b *branching) enforce(r rule) {
	s := b.s
	m := s.m
	switch r.kind {
	case byTrainer, byRow:
		b.ban(r)
	case byRun:
		if r.not {
			s.noRun[r.dog] |= 1 << r.key
		} else {
			s.noRun[r.dog] |= ^(uint64(1) << r.key)
		}
	case byComing:
		if r.not {
			b.away[r.unit] = true
			b.ban(r)
			return
		}
		for _, d := range m.members(int(r.unit)) {
			s.must[d] = true
		}
	}
}

// ban forbids the stays that a rule forbids whatever their run.
func (b *branching) ban(r rule) {
	for t, c := range b.s.cal {
		for i := range c.stays {
			if r.forbids(b.s.m, int32(t), &c.stays[i], -1) {
				c.banned[i] = true
			}
		}
	}
}

// settle handles a node that leaves no choice: every dog that comes has one option. If they fit together they are a plan.
func (b *branching) settle() {
	s := b.s
	m := s.m
	b.plan.reset()
	for _, c := range s.cal {
		for i := range c.stays {
			if c.banned[i] {
				continue
			}
			st := &c.stays[i]
			d := m.groups[st.group].dog
			option := choice{st.group, s.bestRun[st.group], st.entry}
			if b.plan.at[d].group >= 0 || !b.plan.fits(option) {
				return
			}
			b.plan.place(d, option)
		}
	}
	for u := range m.units() {
		dogs := m.members(u)
		for _, d := range dogs {
			if (b.plan.at[d].group < 0) != (b.plan.at[dogs[0]].group < 0) {
				return
			}
			if c := b.plan.at[d].group; c >= 0 && c-m.dogFirst[d] != b.plan.at[dogs[0]].group-m.dogFirst[dogs[0]] {
				return
			}
		}
	}
	b.found(b.plan)
}
