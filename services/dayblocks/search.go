package dayblocks

import (
	"math/rand/v2"
	"slices"
)

// search improves a plan by taking related blocks out and putting them back otherwise (Shaw 1998), accepting worse plans less
// and less as it cools (Kirkpatrick, Gelatt and Vecchi 1983). Both from memory.
type search struct {
	m       *model
	s       *state
	rnd     *rand.Rand
	now     int // cost
	best    int
	bestAt  []placed
	out     []int32  // taken out in this move
	before  []placed // where they were
	pending []int32
	dogs    []int32 // whose days the move changes
	seen    []int   // by dog: the move that last changed its day
	moves   int
	full    bool   // the best plan leaves out a session that could be held by itself
	could   []bool // by item: whether it could be
	by      choice
}

func newSearch(m *model, s *state, seed uint64) *search {
	x := &search{m: m, s: s, rnd: rand.New(rand.NewPCG(seed, 1)), seen: make([]int, len(m.ofDog))}
	x.by.score, x.by.low, x.by.second = make([]int64, m.steps), make([]int64, m.steps), make([]int32, m.steps)
	alone := newState(m)
	for i := range m.sessions() {
		x.could = append(x.could, alone.choices(int32(i)) > 0)
	}
	x.now = s.cost()
	x.best, x.bestAt = x.now, slices.Clone(s.at)
	return x
}

// fill puts in what it can of the items given, breaks first, the others as chance has it: to put those first that leave least choice takes
// a quarter of the time to find out, and what more moves gain is worth more.
func (x *search) fill(items []int32) {
	x.rnd.Shuffle(len(items), func(a, b int) { items[a], items[b] = items[b], items[a] })
	for _, breaks := range []bool{true, false} {
		for _, i := range items {
			if breaks != (x.m.items[i].dog < 0) {
				continue
			}
			if p, ok := x.choose(i); ok {
				x.s.put(i, p, true)
			}
		}
	}
}

// move tries one change at a temperature, in points.
func (x *search) move(heat float64) {
	x.out, x.before = x.out[:0], x.before[:0]
	x.pick()
	x.newMove()
	x.pending = append(x.pending[:0], x.out...)
	x.addDropped()
	before, odd := x.part(), x.oddTime()
	for _, i := range x.out {
		x.before = append(x.before, x.s.at[i])
		if x.s.at[i].start >= 0 {
			x.s.remove(i)
		}
	}
	x.fill(x.pending)
	cost := x.now - before + x.partAgain()
	if worse := float64(cost-x.now) + x.oddTime() - odd; cost < x.best || worse <= 0 || worse < heat*x.rnd.ExpFloat64() {
		x.now = cost
		if cost < x.best {
			x.best = cost
			copy(x.bestAt, x.s.at)
		}
		return
	}
	for _, i := range x.pending {
		if x.s.at[i].start >= 0 {
			x.s.remove(i)
		}
	}
	for n, i := range x.out {
		if x.before[n].start >= 0 {
			x.s.put(i, x.before[n], true)
		}
	}
}

// part is what the cost of the plan owes to the days that the move is going to change, to breaks that are missing, and to waiting.
func (x *search) part() int {
	x.moves++
	x.dogs = x.dogs[:0]
	for _, i := range x.pending {
		if dog := x.m.items[i].dog; dog >= 0 && x.seen[dog] != x.moves {
			x.seen[dog] = x.moves
			x.dogs = append(x.dogs, dog)
		}
	}
	return x.partAgain()
}

// partAgain is the same once the move is made.
func (x *search) partAgain() (cost int) {
	for _, dog := range x.dogs {
		cost += x.s.dogCost(dog)
	}
	for t := range x.m.hours {
		cost += x.s.idleCost(t)
	}
	return cost + x.missingBreaks()
}

// missingBreaks makes plans without a break worse than any with all.
func (x *search) missingBreaks() int { return noBreak * x.s.missing }

const noBreak = 1 << 40

// take notes an item to be taken out, once.
func (x *search) take(i int32) {
	if !slices.Contains(x.out, i) {
		x.out = append(x.out, i)
	}
}

// pick chooses what to take out: all of a few dogs, part of one or two trainers' day, or some items at random.
func (x *search) pick() {
	m := x.m
	if len(m.items) == 0 {
		return
	}
	step := m.first + x.rnd.IntN(max(1, m.last-m.first))
	trainer := x.rnd.IntN(len(m.hours))
	switch x.rnd.IntN(4) {
	case 0:
		for range 1 + x.rnd.IntN(3) {
			for _, i := range m.ofDog[x.rnd.IntN(len(m.ofDog))] {
				x.take(i)
			}
		}
	case 1:
		for range 2 + x.rnd.IntN(6) {
			x.take(int32(x.rnd.IntN(len(m.items))))
		}
	case 2:
		x.window(step, max(2, (m.last-m.first)/2), func(p placed) bool { return int(p.trainer) == trainer || int(p.second) == trainer })
	default:
		x.window(step, max(2, (m.last-m.first)/8), func(placed) bool { return true })
	}
}

// How many items a window takes out, and how many that are left out are tried with what a move takes out.
const (
	outMost     = 8
	droppedMost = 3
)

// window takes out what lies around a step, of those that are wanted.
func (x *search) window(step, width int, want func(p placed) bool) {
	n := len(x.s.at)
	i := x.rnd.IntN(n)
	for range n {
		if i++; i == n {
			i = 0
		}
		p := &x.s.at[i]
		if p.start < 0 || int(p.start) >= step+width || int(p.start)+x.m.items[i].busy <= step || !want(*p) {
			continue
		}
		if x.take(int32(i)); len(x.out) >= outMost {
			return
		}
	}
}

// addDropped adds some of what is left out to what is put back.
func (x *search) addDropped() {
	n := 0
	i := x.rnd.IntN(len(x.s.at))
	for range x.s.at {
		if i++; i == len(x.s.at) {
			i = 0
		}
		if x.s.at[i].start < 0 && !slices.Contains(x.pending, int32(i)) {
			x.pending = append(x.pending, int32(i))
			if n++; n == droppedMost {
				return
			}
		}
	}
}
