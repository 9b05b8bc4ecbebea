package dayblocks

import (
	"math/bits"
	"math/rand/v2"
	"slices"
)

// order looks for a plan that holds every session, of a day whose plan leaves a few out. Who holds each session, and where, is as it is in that
// plan; only when is sought. Of every two items that share a trainer, a dog or an area for one dog at a time, one comes first: that is decided
// pair by pair, those first that have led into most dead ends for the room they have, and the search begins anew from time to time, as Grimes,
// Hebrard and Malapert 2009 do for open shops (from memory).
type order struct {
	m      *model
	at     []placed // trainer and place of each item
	starts []steps  // where each may begin
	lo, hi []int
	pairs  []pair
	ofItem [][]int32
	first  []int8 // by pair: 0 undecided, 1 a comes first, 2 b
	weight []float64
	rnd    *rand.Rand

	trail []undo
	queue []int32
	asked []bool // by item: in the queue
	fails int
	limit int // of fails
	stop  func() bool
}

// pair is two items that cannot be at the same time: b begins ab after a at the earliest, or a begins ba after b.
type pair struct{ a, b, ab, ba int32 }

// undo is an earlier value: of lo, of hi, or of what a pair was decided to be.
type undo struct {
	what   int8
	at     int32
	before int
}

const (
	undoLo int8 = iota
	undoHi
	undoPair
)

// Effort. A day whose plan leaves out more than ordersDropped sessions is taken to be too full.
const (
	ordersDropped = 4
	restartAfter  = 256
	restartLonger = 1.3
)

// reorder replaces the best plan by one that holds every session, where there is one and it costs less.
func (x *search) reorder(fails int, stop func() bool) {
	o, ok := x.newOrder()
	if !ok {
		return
	}
	o.limit, o.stop = fails, stop
	if !o.solve() {
		return
	}
	s := newState(x.m)
	if o.place(s) && s.cost() < x.best {
		x.s, x.now, x.best = s, s.cost(), s.cost()
		copy(x.bestAt, s.at)
	}
}

// newOrder is not ok for a day that it is of no use for: one that holds all already, is too full, or has rules that no pair tells.
func (x *search) newOrder() (*order, bool) {
	m := x.m
	n := len(m.items)
	o := &order{m: m, at: slices.Clone(x.bestAt), starts: make([]steps, n), lo: make([]int, n), hi: make([]int, n), ofItem: make([][]int32, n), asked: make([]bool, n), rnd: x.rnd}
	left := make([]int, len(m.hours))
	for t, h := range m.hours {
		left[t] = h.countIn(0, m.steps)
	}
	dropped := 0
	for i := range m.items {
		it := &m.items[i]
		switch {
		case it.two || it.dog >= 0 && len(m.apart[it.dog]) > 0:
			return nil, false
		case o.at[i].start >= 0:
			left[o.at[i].trainer] -= it.busy
		case it.dog < 0 || len(it.places) == 0 || len(it.handlers) == 0:
			return nil, false
		default:
			dropped++
		}
	}
	if dropped == 0 || dropped > ordersDropped {
		return nil, false
	}
	for i := range m.items {
		if it := &m.items[i]; o.at[i].start < 0 {
			h := slices.MaxFunc(it.handlers, func(a, b Choice) int { return left[a.Trainer] - left[b.Trainer] })
			o.at[i] = placed{0, int32(h.Trainer), -1, 0}
			if left[h.Trainer] -= it.busy; left[h.Trainer] < 0 {
				return nil, false
			}
		}
		if !o.window(i) {
			return nil, false
		}
	}
	o.addPairs()
	return o, true
}

// window sets where an item may begin by itself.
func (o *order) window(i int) bool {
	it, p := &o.m.items[i], o.at[i]
	o.starts[i] = newSteps(o.m.steps)
	o.m.hours[p.trainer].runs(it.busy, o.starts[i])
	if it.dog >= 0 {
		o.starts[i].keep(it.places[p.place].starts)
	} else {
		o.starts[i].keep(it.within)
	}
	o.lo[i], o.hi[i] = o.starts[i].from(0), o.starts[i].upTo(o.m.steps-1)
	return o.lo[i] >= 0
}

func (o *order) addPairs() {
	m := o.m
	for b := range m.items {
		for a := range b {
			ab, ba := o.apart(a, b), o.apart(b, a)
			if ab > 0 {
				n := int32(len(o.pairs))
				o.pairs = append(o.pairs, pair{int32(a), int32(b), int32(ab), int32(ba)})
				o.ofItem[a], o.ofItem[b] = append(o.ofItem[a], n), append(o.ofItem[b], n)
			}
		}
	}
	o.first, o.weight = make([]int8, len(o.pairs)), make([]float64, len(o.pairs))
	for n := range o.weight {
		o.weight[n] = 1
	}
}

// apart is how long after one item another can begin, where they share something; 0 where they do not.
func (o *order) apart(a, b int) (least int) {
	m := o.m
	x, y := &m.items[a], &m.items[b]
	if o.at[a].trainer == o.at[b].trainer {
		least = x.busy
	}
	if x.dog < 0 || y.dog < 0 {
		return least
	}
	if x.dog == y.dog {
		least = max(least, x.length+m.rest[x.dog])
	}
	if area := x.places[o.at[a].place].area; area == y.places[o.at[b].place].area && (x.alone || y.alone || m.d.Areas[area].Dogs == 1) {
		least = max(least, x.length)
	}
	return least
}

// solve decides all pairs, beginning anew when a try has failed too often.
func (o *order) solve() bool {
	for i := range o.lo {
		o.ask(int32(i))
	}
	if !o.propagate() {
		return false
	}
	o.trail = o.trail[:0]
	for try := float64(restartAfter); o.fails < o.limit && !o.stop(); try *= restartLonger {
		end := min(o.limit, o.fails+int(try))
		found, all := o.branch(end)
		if found || all {
			return found
		}
	}
	return false
}

// branch decides an undecided pair one way, then the other. all says that everything was tried.
func (o *order) branch(end int) (found, all bool) {
	n := o.pick()
	if n < 0 {
		return true, false
	}
	p := o.pairs[n]
	way := int8(1)
	if roomA, roomB := o.hi[p.b]-o.lo[p.a]-int(p.ab), o.hi[p.a]-o.lo[p.b]-int(p.ba); roomB > roomA || roomA == roomB && o.rnd.IntN(2) == 0 {
		way = 2
	}
	for _, w := range []int8{way, 3 - way} {
		mark := len(o.trail)
		if o.decide(int32(n), w) && o.propagate() {
			if found, all = o.branch(end); found || !all {
				if !found {
					o.back(mark)
				}
				return found, false
			}
		}
		o.back(mark)
		if o.fails >= end || o.fails%64 == 0 && o.stop() {
			return false, false
		}
	}
	return false, true
}

// pick is the undecided pair with least room for its weight; -1 if none is left.
func (o *order) pick() int {
	best, score := -1, 0.0
	for n, p := range o.pairs {
		if o.first[n] != 0 {
			continue
		}
		room := float64(o.hi[p.a]-o.lo[p.a]+o.hi[p.b]-o.lo[p.b]+2) / o.weight[n]
		if best < 0 || room < score {
			best, score = n, room
		}
	}
	return best
}

func (o *order) ask(i int32) {
	if !o.asked[i] {
		o.asked[i] = true
		o.queue = append(o.queue, i)
	}
}

// decide lets one item of a pair come first. It reports false when that leaves no room.
func (o *order) decide(n int32, way int8) bool {
	o.trail = append(o.trail, undo{undoPair, n, int(o.first[n])})
	o.first[n] = way
	return o.push(n)
}

// push moves the bounds of a decided pair.
func (o *order) push(n int32) bool {
	p := o.pairs[n]
	a, b, least := p.a, p.b, int(p.ab)
	if o.first[n] == 2 {
		a, b, least = p.b, p.a, int(p.ba)
	}
	if from := o.lo[a] + least; from > o.lo[b] {
		if from = o.starts[b].from(from); from < 0 || from > o.hi[b] {
			return o.fail(n)
		}
		o.trail = append(o.trail, undo{undoLo, b, o.lo[b]})
		o.lo[b] = from
		o.ask(b)
	}
	if to := o.hi[b] - least; to < o.hi[a] {
		if to = o.starts[a].upTo(to); to < o.lo[a] {
			return o.fail(n)
		}
		o.trail = append(o.trail, undo{undoHi, a, o.hi[a]})
		o.hi[a] = to
		o.ask(a)
	}
	return true
}

func (o *order) fail(n int32) bool {
	o.fails++
	o.weight[n]++
	for _, i := range o.queue {
		o.asked[i] = false
	}
	o.queue = o.queue[:0]
	return false
}

// propagate draws the conclusions from bounds that have moved.
func (o *order) propagate() bool {
	for len(o.queue) > 0 {
		i := o.queue[len(o.queue)-1]
		o.queue = o.queue[:len(o.queue)-1]
		o.asked[i] = false
		for _, n := range o.ofItem[i] {
			p := &o.pairs[n]
			if o.first[n] != 0 {
				if !o.push(n) {
					return false
				}
				continue
			}
			noA, noB := o.lo[p.a]+int(p.ab) > o.hi[p.b], o.lo[p.b]+int(p.ba) > o.hi[p.a]
			switch {
			case noA && noB:
				return o.fail(n)
			case noA && !o.decide(n, 2), noB && !o.decide(n, 1):
				return false
			}
		}
	}
	return true
}

func (o *order) back(mark int) {
	for len(o.trail) > mark {
		u := o.trail[len(o.trail)-1]
		o.trail = o.trail[:len(o.trail)-1]
		switch u.what {
		case undoLo:
			o.lo[u.at] = u.before
		case undoHi:
			o.hi[u.at] = u.before
		default:
			o.first[u.at] = int8(u.before)
		}
	}
}

// place puts every item where it can begin first, in a state that is empty. It reports false where a rule that no pair tells is broken: room in an
// area for several dogs, or three sessions in a row on one skill.
func (o *order) place(s *state) bool {
	byStart := make([]int, len(o.lo))
	for i := range byStart {
		byStart[i] = i
	}
	slices.SortStableFunc(byStart, func(a, b int) int { return o.lo[a] - o.lo[b] })
	for _, i := range byStart {
		it, p := &o.m.items[i], o.at[i]
		p.start = int32(o.lo[i])
		if it.dog >= 0 {
			s.mayBegin(int32(i))
			s.inArea(it, &it.places[p.place])
			if !s.base.has(o.lo[i]) || !s.area.has(o.lo[i]) {
				return false
			}
		}
		s.put(int32(i), p, true)
	}
	return true
}

// from is the first step at or after k; -1 for none.
func (s steps) from(k int) int {
	if k>>6 >= len(s) {
		return -1
	}
	w := s[k>>6] >> (k & 63) << (k & 63)
	for i := k >> 6; ; w = s[i] {
		if w != 0 {
			return i<<6 + bits.TrailingZeros64(w)
		}
		if i++; i == len(s) {
			return -1
		}
	}
}

// upTo is the last step at or before k; -1 for none.
func (s steps) upTo(k int) int {
	if k < 0 {
		return -1
	}
	w := s[k>>6] << (63 - k&63) >> (63 - k&63)
	for i := k >> 6; ; w = s[i] {
		if w != 0 {
			return i<<6 + 63 - bits.LeadingZeros64(w)
		}
		if i--; i < 0 {
			return -1
		}
	}
}
