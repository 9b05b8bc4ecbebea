package allocation

import "slices"

// knapsackTree proves parts of one day, in which every trainer's best schedule is a knapsack that is solved in no time: branch and bound with steps along
// the subgradient at every node (as Fisher, Jaikumar and Van Wassenhove 1986), after which stays that no better plan of the node can have are
// forbidden below it, each exactly (forcedInKnapsack; Posta, Ferland and Michelon 2012 show how far that goes). A node splits on one stay of
// one dog: it has it, or it has another. The search goes down along the first of these until nothing is left, and then on where the bound is highest.
type knapsackTree struct {
	s     *schedules
	open  boundQueue[*knapsackNode]
	next  *knapsackNode // child to go on with
	nodes int
	root  *knapsackNode
	value micro // of the plan when stays were last dropped for good
	few   bool  // whether so few stays were left then that there is hope for a proof

	polisher *polisher
	plan     *state
	found    func(*state) // is told of plans met on the way
	stuck    micro        // highest bound of nodes that were ended without a plan worth it
}

type knapsackNode struct {
	parent *knapsackNode
	bans   []stayRef
	bound  micro
	price  []float64
}

func (n *knapsackNode) upTo() micro { return n.bound }

type stayRef struct{ trainer, stay int32 }

// Effort at a node.
const (
	knapsackSteps  = 60
	knapsackPlunge = 30  // on the way down
	fewStays       = 3   // a dog
	knapsackLevel  = 0.1 // how far below the bound steps aim, as a share of the gap
)

func newKnapsackTree(s *schedules, found func(*state)) *knapsackTree {
	for _, c := range s.cal {
		c.lift()
	}
	b := &knapsackTree{s: s, polisher: newPolisher(s), plan: newState(s.m), found: found, root: &knapsackNode{bound: s.bound, price: slices.Clone(s.top)}}
	b.open.add(&knapsackNode{bound: b.root.bound, price: b.root.price})
	return b
}

// bound is proven for the whole part.
func (b *knapsackTree) bound() (bound micro) {
	bound = max(b.stuck, b.open.bound())
	if b.next != nil {
		bound = max(bound, b.next.bound)
	}
	return bound
}

func (b *knapsackTree) done() bool { return b.open.len() == 0 && b.next == nil }

// step works on one node; value is the best plan's. On stop the node stays open.
func (b *knapsackTree) step(value micro, stop func() bool) {
	s := b.s
	if value > b.value {
		if !b.drop(value, stop) {
			return
		}
	}
	n, steps := b.next, knapsackPlunge
	if b.next = nil; n == nil {
		n, steps = b.open.next(), knapsackSteps
	}
	if s.m.roundDown(n.bound)<<s.m.shift <= value {
		return
	}
	b.nodes++
	b.apply(n)
	if !b.lower(n, steps, value, stop) {
		b.open.add(n)
		return
	}
	if s.m.roundDown(n.bound)<<s.m.shift <= value {
		return
	}
	bans, ok := b.forbid(value, stop)
	if !ok {
		b.open.add(n)
		return
	}
	at, ok := b.choose()
	if !ok {
		b.leaf(n, value, stop)
		return
	}
	other := &knapsackNode{parent: n, bans: append(slices.Clone(bans), at), bound: n.bound, price: n.price}
	b.open.add(other)
	b.next = &knapsackNode{parent: n, bans: append(bans, b.others(at)...), bound: n.bound, price: n.price}
}

// apply forbids what a node forbids.
func (b *knapsackTree) apply(n *knapsackNode) {
	s := b.s
	for _, c := range s.cal {
		c.lift()
	}
	for at := n; at != nil; at = at.parent {
		for _, r := range at.bans {
			s.cal[r.trainer].banned[r.stay] = true
		}
	}
}

// lower moves a node's prices until its bound is no better than the plan, or does not fall any more.
func (b *knapsackTree) lower(n *knapsackNode, steps int, value micro, stop func() bool) bool {
	s := b.s
	s.bound = n.bound
	copy(s.price, n.price)
	copy(s.top, n.price)
	clear(s.dir)
	s.stall = 0
	if !s.evaluate(stop) {
		return false
	}
	for range steps {
		if s.m.roundDown(s.bound)<<s.m.shift <= value {
			break
		}
		gap := float64(s.bound - value)
		s.level = knapsackLevel * gap / s.size
		if !s.step(value, stop) {
			return false
		}
	}
	n.bound, n.price = s.bound, slices.Clone(s.top)
	return true
}

// forbid lists the stays that no plan of the node worth more than value can have, at its best prices, and forbids them. ok is false on stop.
func (b *knapsackTree) forbid(value micro, stop func() bool) (bans []stayRef, ok bool) {
	s := b.s
	copy(s.price, s.top)
	if !s.evaluate(stop) {
		return nil, false
	}
	for t, c := range s.cal {
		for _, i := range s.hopeless(s.pricers[0], t, value) {
			if !c.banned[i] {
				c.banned[i] = true
				bans = append(bans, stayRef{int32(t), i})
			}
		}
	}
	return bans, true
}

// drop forbids for good what no plan worth more than value can have at the root's prices. It reports false on stop.
func (b *knapsackTree) drop(value micro, stop func() bool) bool {
	s := b.s
	for _, c := range s.cal {
		c.lift()
	}
	s.bound = b.root.bound
	copy(s.top, b.root.price)
	bans, ok := b.forbid(value, stop)
	if !ok {
		return false
	}
	for _, r := range bans {
		s.cal[r.trainer].drop([]int32{r.stay})
	}
	b.value = value
	b.few = b.stays() <= fewStays*len(s.m.dogOf)
	return true
}

// stays counts those that have not been dropped.
func (b *knapsackTree) stays() (n int) {
	for _, c := range b.s.cal {
		n += len(c.stays)
		for _, gone := range c.gone {
			if gone {
				n--
			}
		}
	}
	return n
}

// leaf ends a node with one stay at most for every dog: nothing ties the trainers to one another any more, and their best schedules at no
// prices are its best plan.
func (b *knapsackTree) leaf(n *knapsackNode, value micro, stop func() bool) {
	s := b.s
	clear(s.price)
	if !s.evaluate(stop) {
		b.open.add(n)
		return
	}
	b.plan.reset()
	for _, c := range s.cal {
		for _, i := range c.last {
			st := &c.stays[i]
			if option := (choice{st.group, s.bestRun[st.group], st.entry}); b.plan.fits(option) {
				b.plan.place(s.m.groups[st.group].dog, option)
			}
		}
	}
	b.found(b.plan)
	if bound := s.m.roundDown(min(n.bound, s.last)) << s.m.shift; bound > max(value, micro(b.plan.value)<<s.m.shift) {
		b.stuck = max(b.stuck, bound)
	}
}

// choose finds the stay that the last schedules held most nearly half of the time, of a dog that has a choice.
func (b *knapsackTree) choose() (best stayRef, ok bool) {
	s := b.s
	left := make([]int32, len(s.m.dogOf))
	for _, c := range s.cal {
		for i := range c.stays {
			if !c.banned[i] {
				left[s.m.groups[c.stays[i].group].dog]++
			}
		}
	}
	score := float32(-1)
	for t, c := range s.cal {
		for i := range c.stays {
			if c.banned[i] || left[s.m.groups[c.stays[i].group].dog] < 2 {
				continue
			}
			w := s.weight[t][i]
			if x := min(w, 1-w) + w/100; x > score {
				score, best, ok = x, stayRef{int32(t), int32(i)}, true
			}
		}
	}
	return best, ok
}

// others lists the other stays of a stay's dog that are left.
func (b *knapsackTree) others(at stayRef) (bans []stayRef) {
	s := b.s
	dog := s.m.groups[s.cal[at.trainer].stays[at.stay].group].dog
	for t, c := range s.cal {
		for i := range c.stays {
			if r := (stayRef{int32(t), int32(i)}); r != at && !c.banned[i] && s.m.groups[c.stays[i].group].dog == dog {
				bans = append(bans, r)
			}
		}
	}
	return bans
}
