package slots

import (
	"cmp"
	"container/heap"
	"slices"
)

// scale is how finely prices are counted: a point is so many.
const scale = 1 << 10

// node is a piece of a part: for each visit the options that are left. What is better than the best plan known lies in one of the open nodes.
type node struct {
	live   []int32 // options, by visit
	from   []int32 // by visit: where its options begin in live; one more at the end
	prices []int64 // by cell, to begin with
	bound  int64   // no plan of the node costs less; times scale
}

func (n *node) of(v int) []int32 { return n.live[n.from[v]:n.from[v+1]] }

// open is the nodes that wait, the one with the least bound first.
type open []*node

func (h open) Len() int           { return len(h) }
func (h open) Less(i, j int) bool { return h[i].bound < h[j].bound }
func (h open) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *open) Push(x any)        { *h = append(*h, x.(*node)) }
func (h *open) Pop() any {
	n := len(*h) - 1
	x := (*h)[n]
	(*h)[n] = nil
	*h = (*h)[:n]
	return x
}

// tree is a search through a part by branch and bound.
type tree struct {
	x     *part
	best  []int32 // by visit: the option in the best plan known
	cost  int     // of it
	bound int     // no plan costs less
	stop  func() bool
	open  open   // the nodes that wait
	steps int    // of prices at the root
	draws uint64 // numbers drawn so far
	tries int    // of reopening the plan
	fails int    // in a row
	relaxation
}

func newTree(x *part, start []int32, stop func() bool) *tree {
	t := &tree{x: x, stop: stop, relaxation: newRelaxation(x)}
	t.best = slices.Clone(start)
	t.cost, _ = x.fits(start)
	t.open, t.steps = open{t.root()}, stepsRoot
	return t
}

// root is the node that holds every plan.
func (t *tree) root() *node {
	n := &node{from: slices.Clone(t.x.first), prices: make([]int64, len(t.x.room)), live: make([]int32, len(t.x.all))}
	for o := range n.live {
		n.live[o] = int32(o)
	}
	return n
}

// Steps of prices at the root and at any other node.
const stepsRoot, stepsNode = 600, 40

// memory is what the nodes of a part that wait may take at most, in bytes.
const memory = 256 << 20

// search looks through at most so many nodes more; afterwards no plan costs less than t.bound.
func (t *tree) search(nodes int) {
	var now *node
	for ; nodes > 0 && !t.full() && !t.stop(); nodes-- {
		if now == nil {
			if t.open.Len() == 0 || !t.hopeful(t.open[0].bound) {
				t.open = nil
				break
			}
			now = heap.Pop(&t.open).(*node)
		}
		steps := stepsNode
		if len(now.live) == len(t.x.all) {
			steps = t.steps
		}
		first, second := t.expand(now, steps)
		if second != nil && t.hopeful(second.bound) {
			heap.Push(&t.open, second)
		}
		now = first
	}
	if now != nil {
		heap.Push(&t.open, now)
	}
	t.bound = t.cost
	if t.open.Len() > 0 {
		t.bound = min(t.cost, points(t.open[0].bound))
	}
}

// full reports whether the nodes that wait take all the memory that they may.
func (t *tree) full() bool { return t.open.Len() >= memory/(4*len(t.x.all)+8*len(t.x.room)+1) }

// points is a bound in whole points: costs are whole, so it is rounded up.
func points(bound int64) int { return int((max(0, bound) + scale - 1) / scale) }

// hopeful reports whether a node with this bound could hold a better plan than the best.
func (t *tree) hopeful(bound int64) bool { return points(bound) < t.cost }

// expand finds the bound of a node, takes out options that no better plan uses, and cuts what is left in two; nil for nothing left.
func (t *tree) expand(n *node, steps int) (first, second *node) {
	if !t.propagate(n) {
		return nil, nil
	}
	t.descend(n, steps)
	if !t.hopeful(n.bound) || !t.shrink(n) || !t.propagate(n) {
		return nil, nil
	}
	if len(n.live) == len(t.x.visits) {
		t.offer(n.live)
		return nil, nil
	}
	side, likely := t.cut(n)
	yes, no := t.half(n, side, true), t.half(n, side, false)
	if likely {
		return yes, no
	}
	return no, yes
}

// offer takes a plan as the best one if it is.
func (t *tree) offer(picks []int32) {
	if cost, ok := t.x.fits(picks); ok && cost < t.cost {
		t.cost = cost
		copy(t.best, picks)
	}
}

// half is the node with the options of one visit on one side of a cut.
func (t *tree) half(n *node, c cut, side bool) *node {
	h := &node{prices: n.prices, bound: n.bound, from: []int32{0}}
	for v := range t.x.visits {
		for _, o := range n.of(v) {
			if v != c.visit || c.holds(o, &t.x.all[o]) == side {
				h.live = append(h.live, o)
			}
		}
		h.from = append(h.from, int32(len(h.live)))
	}
	return h
}

// keep drops the options of a node for which keep is false, and reports whether each visit has one left.
func (t *tree) keep(n *node, keep func(v int, o int32) bool) bool {
	k := int32(0)
	for v := range t.x.visits {
		lo, hi := n.from[v], n.from[v+1]
		n.from[v] = k
		for _, o := range n.live[lo:hi] {
			if keep(v, o) {
				n.live[k] = o
				k++
			}
		}
		if n.from[v] == k {
			return false
		}
	}
	n.from[len(t.x.visits)] = k
	n.live = n.live[:k]
	return true
}

// shrink takes out what would cost too much at the node's prices.
func (t *tree) shrink(n *node) bool {
	value := t.price(n)
	return t.keep(n, func(v int, o int32) bool { return value-t.least[v]+t.reduced(o) <= int64(t.cost-1)*scale })
}

// propagate finds the cells that are taken whatever is chosen, and takes out options that need such a cell as well. It reports whether every
// visit has an option left.
func (t *tree) propagate(n *node) bool {
	for {
		before := len(n.live)
		cover := t.covers(n)
		taken := slices.Clone(t.x.room)
		for v := range t.x.visits {
			for _, c := range cover[v] {
				taken[c]--
			}
		}
		full := make([]int32, len(taken)+1) // by cell: the full ones before it
		for c, left := range taken {
			if left < 0 {
				return false
			}
			full[c+1] = full[c]
			if left == 0 {
				full[c+1]++
			}
		}
		ok := t.keep(n, func(v int, o int32) bool {
			for _, s := range t.x.all[o].cells() {
				if blocked := full[s.hi] - full[s.lo]; blocked > 0 {
					lo, _ := slices.BinarySearch(cover[v], s.lo)
					for _, c := range cover[v][lo:] {
						if c >= s.hi {
							break
						}
						blocked -= full[c+1] - full[c]
					}
					if blocked > 0 {
						return false
					}
				}
			}
			return true
		})
		if !ok || len(n.live) == before {
			return ok
		}
	}
}

// covers lists, by visit, the cells that all of its options take.
func (t *tree) covers(n *node) [][]int32 {
	out := make([][]int32, len(t.x.visits))
	change := make([]int32, len(t.x.room)+1)
	for v := range out {
		options := n.of(v)
		if t.x.all[options[len(options)-1]].n == 0 {
			continue // to have no slot, or none that matters, is left
		}
		lo, hi := int32(len(change)), int32(0)
		for _, o := range options {
			for _, s := range t.x.all[o].cells() {
				change[s.lo]++
				change[s.hi]--
				lo, hi = min(lo, s.lo), max(hi, s.hi)
			}
		}
		depth := int32(0)
		for c := lo; c <= hi; c++ {
			if depth += change[c]; int(depth) == len(options) {
				out[v] = append(out[v], c)
			}
			change[c] = 0
		}
	}
	return out
}

// cut is a question about one visit that has both answers among its options.
type cut struct {
	visit int
	by    int // what is asked
	value int32
}

// What a cut asks: does it begin at that minute or before, is it this trainer, area, gate, or option.
const (
	byBegin = iota
	byTrainer
	byArea
	byGate
	byOption
)

func (c cut) holds(o int32, x *option) bool {
	switch c.by {
	case byBegin:
		return x.slot.Begin <= int(c.value)
	case byTrainer:
		return x.slot.Trainer == int(c.value)
	case byArea:
		return x.slot.Area == int(c.value)
	case byGate:
		return x.slot.Gate == int(c.value)
	}
	return o == c.value
}

// cut finds the question on which the last steps of the prices were most divided, and which answer they gave more often.
func (t *tree) cut(n *node) (best cut, likely bool) {
	most := int32(0)
	for v := range t.x.visits {
		options := n.of(v)
		if len(options) == 1 {
			continue
		}
		for by := range byOption {
			value, yes, no := t.divide(options, by)
			if score := min(yes, no); score > most {
				most, best, likely = score, cut{v, by, value}, yes >= no
			}
		}
	}
	if most > 0 {
		return best, likely
	}
	// They always chose the same, which does not fit together: take one visit's choice or leave it.
	widest := -1
	for v := range t.x.visits {
		if size := len(n.of(v)); size > 1 && (widest < 0 || size < len(n.of(widest))) {
			widest = v
		}
	}
	options := n.of(widest)
	pick := slices.MaxFunc(options, func(a, b int32) int { return cmp.Compare(t.picked[a], t.picked[b]) })
	return cut{widest, byOption, pick}, true
}

// divide finds the value of an attribute that splits what was picked nearest to even.
func (t *tree) divide(options []int32, by int) (value, yes, no int32) {
	weight, total := map[int32]int32{}, int32(0)
	for _, o := range options {
		w := t.picked[o]
		if w == 0 {
			continue
		}
		s := &t.x.all[o].slot
		weight[int32([...]int{s.Begin, s.Trainer, s.Area, s.Gate}[by])] += w
		total += w
	}
	values := make([]int32, 0, len(weight))
	for x := range weight {
		values = append(values, x)
	}
	slices.Sort(values)
	most, below := int32(0), int32(0)
	for _, x := range values {
		below += weight[x]
		w := below
		if by != byBegin {
			w = weight[x]
		}
		if score := min(w, total-w); score > most {
			most, value, yes, no = score, x, w, total-w
		}
	}
	return value, yes, no
}
