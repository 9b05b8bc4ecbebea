package dayblocks

import (
	"math"
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
	scores  []int64
	dogs    []int32 // whose days the move changes
	seen    []int   // by dog: the move that last changed its day
	moves   int
	run     freeRun
}

func newSearch(m *model, s *state, seed uint64) *search {
	x := &search{m: m, s: s, rnd: rand.New(rand.NewPCG(seed, 1)), seen: make([]int, len(m.ofDog))}
	x.now = s.cost()
	x.best, x.bestAt = x.now, slices.Clone(s.at)
	return x
}

// fill puts in what it can of the items given, breaks first, then those that leave least choice.
func (x *search) fill(items []int32) {
	x.scores = x.scores[:0]
	for _, i := range items {
		it := &x.m.items[i]
		score := int64(-1)
		if it.dog >= 0 {
			n := int64(x.s.choices(i))
			score = n*1000/int64(max(1, it.length)) + int64(x.rnd.IntN(int(n*500)+100))
		}
		x.scores = append(x.scores, score)
	}
	for a := range items {
		for b := a; b > 0 && x.scores[b] < x.scores[b-1]; b-- {
			x.scores[b], x.scores[b-1] = x.scores[b-1], x.scores[b]
			items[b], items[b-1] = items[b-1], items[b]
		}
	}
	for _, i := range items {
		if p, ok := x.choose(i); ok {
			x.s.put(i, p, true)
		}
	}
}

// choose picks a place for an item: what costs least, of such the one that wastes least time; with some chance in it.
func (x *search) choose(i int32) (best placed, ok bool) {
	m, s := x.m, x.s
	it := &m.items[i]
	blur := 1 << (4 + x.rnd.IntN(8))
	low := int64(math.MaxInt64)
	x.run.trainer = -1
	s.each(i, func(p placed) {
		score := int64(x.rnd.IntN(blur))
		if it.dog >= 0 {
			score += int64(x.extra(i, it, p)) * 1024
		}
		if from := int(p.start); from > 0 && s.free[p.trainer].has(from-1) {
			score += 256 // leaves a gap before
		}
		if to := int(p.start) + it.busy; to < m.steps && s.free[p.trainer].has(to) {
			score += 128
		}
		if it.dog >= 0 {
			score += wastedStep * int64(x.wasted(int(p.trainer), int(p.start), it.busy))
		}
		if score < low {
			low, best, ok = score, p, true
		}
	})
	if ok && it.two {
		best.second = s.second(it, int(best.trainer), int(best.start), x.rnd.IntN(len(it.seconds)))
	}
	return best, ok
}

// extra is what an item costs at a place, with its neighbours, waiting aside.
func (x *search) extra(i int32, it *item, p placed) int {
	m, s := x.m, x.s
	cost := m.itemCost(it, p)
	area := it.places[p.place].area
	known, other := false, false
	var before, after int32 = -1, -1
	for _, j := range m.ofDog[it.dog] {
		q := s.at[j]
		if q.start < 0 || j == i {
			continue
		}
		other = true
		known = known || m.items[j].places[q.place].area == area
		if q.start < p.start && (before < 0 || q.start > s.at[before].start) {
			before = j
		}
		if q.start > p.start && (after < 0 || q.start < s.at[after].start) {
			after = j
		}
	}
	if other && !known {
		cost += m.d.Policy.Change
	}
	near := func(from int32, length int, to int32) int {
		if int(to-from)-length < m.spread {
			return m.d.Policy.Near
		}
		return 0
	}
	if before >= 0 {
		cost += near(s.at[before].start, m.items[before].length, p.start)
	}
	if after >= 0 {
		cost += near(p.start, it.length, s.at[after].start)
	}
	if before >= 0 && after >= 0 {
		cost -= near(s.at[before].start, m.items[before].length, s.at[after].start)
	}
	return cost
}

// move tries one change at a temperature, in points.
func (x *search) move(heat float64) {
	x.out, x.before = x.out[:0], x.before[:0]
	x.pick()
	x.pending = append(x.pending[:0], x.out...)
	x.addDropped()
	before := x.part()
	for _, i := range x.out {
		x.before = append(x.before, x.s.at[i])
		if x.s.at[i].start >= 0 {
			x.s.remove(i)
		}
	}
	x.fill(x.pending)
	cost := x.now - before + x.partAgain()
	if cost <= x.now || float64(cost-x.now) < heat*x.rnd.ExpFloat64() {
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
func (x *search) missingBreaks() (cost int) {
	for i := x.m.sessions(); i < len(x.m.items); i++ {
		if x.s.at[i].start < 0 {
			cost += noBreak
		}
	}
	return cost
}

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
		x.window(x.rnd.IntN(len(m.hours)), -1)
	default:
		x.window(-1, x.rnd.IntN(m.steps))
	}
}

// window takes out what lies in a part of the day: of one trainer, or around a step.
func (x *search) window(trainer, step int) {
	m := x.m
	width := max(2, m.steps/4)
	if trainer < 0 {
		width = max(2, m.steps/16)
	}
	from := x.rnd.IntN(m.steps)
	if step >= 0 {
		from = step
	}
	for i := range x.s.at {
		p := &x.s.at[i]
		if p.start < 0 || int(p.start)+m.items[i].busy <= from || int(p.start) >= from+width || trainer >= 0 && int(p.trainer) != trainer {
			continue
		}
		if len(x.out) < 12 {
			x.take(int32(i))
		}
	}
}

// addDropped adds some of what is left out to what is put back.
func (x *search) addDropped() {
	n := 0
	offset := x.rnd.IntN(len(x.s.at))
	for k := range x.s.at {
		i := int32((k + offset) % len(x.s.at))
		if x.s.at[i].start < 0 && !slices.Contains(x.pending, i) {
			x.pending = append(x.pending, i)
			if n++; n == 6 {
				return
			}
		}
	}
}
