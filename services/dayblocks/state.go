package dayblocks

// placed is where an item is: start is -1 if it is nowhere.
type placed struct {
	start, trainer, second, place int32
}

var nowhere = placed{start: -1, trainer: -1, second: -1, place: -1}

// state is a plan under work: what is where, and what is free.
type state struct {
	m    *model
	at   []placed
	free []steps   // by trainer
	load [][]int32 // by area and step: dogs, a dog alone counting for all that the area holds
	room []steps   // by area: room for one more
	bare []steps   // by area: nobody there

	ofDog   []known[int]     // what each dog's day costs
	idle    []known[int]     // by trainer: what its waiting costs
	odd     []known[float64] // by trainer: how its free time lies, see spare
	missing int              // breaks that are nowhere

	freeFor, roomFor, bareFor [][]cached // by trainer or area, and length: where a session may begin
	base, own, other, area    steps      // scratch of candidates
	order                     []int32
}

// cached is a set that is worked out again when it is asked for after a change.
type cached struct {
	set  steps
	good bool
}

// known is a number that is worked out again when it is asked for after a change.
type known[T any] struct {
	value T
	good  bool
}

// of is where n steps in a row of a set begin.
func (c *cached) of(set steps, n int) steps {
	if !c.good {
		set.runs(n, c.set)
		c.good = true
	}
	return c.set
}

func stale(list []cached) {
	for i := range list {
		list[i].good = false
	}
}

func newState(m *model) *state {
	s := &state{m: m, at: make([]placed, len(m.items)), ofDog: make([]known[int], len(m.ofDog)), idle: make([]known[int], len(m.hours)), odd: make([]known[float64], len(m.hours)), missing: len(m.items) - m.sessions()}
	for i := range s.at {
		s.at[i] = nowhere
	}
	for _, h := range m.hours {
		s.free = append(s.free, append(steps(nil), h...))
	}
	for a, open := range m.open {
		s.load = append(s.load, make([]int32, m.steps))
		room := append(steps(nil), open...)
		if m.d.Areas[a].Dogs == 0 {
			clear(room)
		}
		s.room = append(s.room, room)
		s.bare = append(s.bare, append(steps(nil), room...))
	}
	caches := func(n int) (all [][]cached) {
		for range n {
			list := make([]cached, len(m.lengths))
			for c := range list {
				list[c].set = newSteps(m.steps)
			}
			all = append(all, list)
		}
		return all
	}
	s.freeFor, s.roomFor, s.bareFor = caches(len(m.hours)), caches(len(m.open)), caches(len(m.open))
	for _, p := range []*steps{&s.base, &s.own, &s.other, &s.area} {
		*p = newSteps(m.steps)
	}
	return s
}

// put places an item or, with in false, takes it away from where it is.
func (s *state) put(i int32, p placed, in bool) {
	it := &s.m.items[i]
	from := int(p.start)
	for _, t := range [2]int32{p.trainer, p.second} {
		if t >= 0 {
			s.free[t].put(from, from+it.busy, !in)
			stale(s.freeFor[t])
			s.idle[t].good, s.odd[t].good = false, false
		}
	}
	switch {
	case it.dog < 0 && in:
		s.missing--
	case it.dog < 0:
		s.missing++
	default:
		s.ofDog[it.dog].good = false
		a := it.places[p.place].area
		most, n := int32(s.m.d.Areas[a].Dogs), int32(1)
		if it.alone {
			n = most
		}
		if !in {
			n = -n
		}
		stale(s.roomFor[a])
		stale(s.bareFor[a])
		load := s.load[a]
		for k := from; k < from+it.length; k++ {
			before, after := load[k], load[k]+n
			load[k] = after
			if (before < most) != (after < most) {
				s.room[a].put(k, k+1, after < most)
			}
			if (before == 0) != (after == 0) {
				s.bare[a].put(k, k+1, after == 0)
			}
		}
	}
	if in {
		s.at[i] = p
	} else {
		s.at[i] = nowhere
	}
}

func (s *state) remove(i int32) placed {
	p := s.at[i]
	s.put(i, p, false)
	return p
}

// inOrder lists a dog's items that are placed, by start. The list is good until the next call.
func (s *state) inOrder(dog int32) []int32 {
	s.order = s.order[:0]
	for _, i := range s.m.ofDog[dog] {
		if s.at[i].start < 0 {
			continue
		}
		s.order = append(s.order, i)
		for n := len(s.order) - 1; n > 0 && s.at[s.order[n]].start < s.at[s.order[n-1]].start; n-- {
			s.order[n], s.order[n-1] = s.order[n-1], s.order[n]
		}
	}
	return s.order
}

// cost counts all that the plan costs.
func (s *state) cost() (sum int) {
	for d := range s.m.ofDog {
		sum += s.dogCost(int32(d))
	}
	for t := range s.m.hours {
		sum += s.idleCost(t)
	}
	return sum
}

// dogCost is what one dog's day costs.
func (s *state) dogCost(dog int32) int {
	if k := &s.ofDog[dog]; !k.good {
		k.value, k.good = s.countDog(dog), true
	}
	return s.ofDog[dog].value
}

func (s *state) countDog(dog int32) (sum int) {
	m := s.m
	d := m.d
	x := &d.Dogs[dog]
	order := s.inOrder(dog)
	sum = d.dropCost(x, len(m.ofDog[dog])-len(order))
	for j, i := range m.ofDog[dog] {
		if s.at[i].start < 0 {
			sum += x.Sessions[j].Extra
		}
	}
	areas := uint64(0)
	many := 0
	for n, i := range order {
		it, p := &m.items[i], s.at[i]
		sum += m.itemCost(it, p)
		if a := it.places[p.place].area; areas>>(a&63)&1 == 0 { // a day has at most 64 areas
			areas |= 1 << (a & 63)
			many++
		}
		if n > 0 {
			before := order[n-1]
			if int(p.start-s.at[before].start)-m.items[before].length < m.spread {
				sum += d.Policy.Near
			}
		}
	}
	return sum + d.Policy.Change*max(0, many-1)
}

// itemCost is what one session costs by where it is.
func (m *model) itemCost(it *item, p placed) int {
	cost := it.places[p.place].points
	for _, h := range it.handlers {
		if h.Trainer == int(p.trainer) {
			cost += h.Points
			break
		}
	}
	for _, h := range it.seconds {
		if h.Trainer == int(p.second) {
			cost += h.Points
			break
		}
	}
	if int(p.start) != it.kept {
		cost += it.moved
	}
	if int(p.start)+it.busy > m.finish[p.trainer] {
		cost += m.d.Policy.Late
	}
	return cost
}

// idleCost is what a trainer's waiting costs.
func (s *state) idleCost(t int) int {
	if s.m.d.Policy.Idle == 0 {
		return 0
	}
	if k := &s.idle[t]; !k.good {
		k.value, k.good = s.countIdle(t), true
	}
	return s.idle[t].value
}

func (s *state) countIdle(t int) int {
	first, last := s.m.steps, 0
	for i := range s.at {
		p := &s.at[i]
		if it := &s.m.items[i]; it.dog >= 0 && p.start >= 0 && (int(p.trainer) == t || int(p.second) == t) {
			first, last = min(first, int(p.start)), max(last, int(p.start)+it.busy)
		}
	}
	if first >= last {
		return 0
	}
	return s.m.d.Policy.Idle * s.free[t].countIn(first, last)
}

// mayBegin writes into s.base the steps at which a session that is nowhere could begin as far as its dog goes: rested, and not for a third time in a row on one skill.
func (s *state) mayBegin(i int32) {
	m := s.m
	it := &m.items[i]
	for k := range s.base {
		s.base[k] = ^uint64(0)
	}
	rest := m.rest[it.dog]
	order := s.inOrder(it.dog)
	for _, j := range order {
		s.base.put(max(0, int(s.at[j].start)-rest-it.length+1), min(m.steps, int(s.at[j].start)+m.items[j].length+rest), false)
	}
	if len(order) < 2 {
		return
	}
	for n, from := 0, 0; n <= len(order); n++ { // between the sessions n-1 and n
		to := m.steps
		if n < len(order) {
			to = int(s.at[order[n]].start) + 1
		}
		if s.inRow(order, n, it.skill) > 2 {
			s.base.put(from, to, false)
		}
		from = to
	}
}

// inRow is how many sessions in a row would be on a skill if one more came before the nth of a dog's.
func (s *state) inRow(order []int32, n, skill int) int {
	row := 1
	for k := n - 1; k >= 0 && s.m.items[order[k]].skill == skill; k-- {
		row++
	}
	for k := n; k < len(order) && s.m.items[order[k]].skill == skill; k++ {
		row++
	}
	return row
}

// inArea writes into s.area where the item could begin in a place as far as other dogs let it.
func (s *state) inArea(it *item, p *place) {
	if it.alone {
		copy(s.area, s.bareFor[p.area][it.class].of(s.bare[p.area], it.length))
	} else {
		copy(s.area, s.roomFor[p.area][it.class].of(s.room[p.area], it.length))
	}
	s.area.keep(p.starts)
	for _, e := range s.m.apart[it.dog] {
		for _, j := range s.m.ofDog[e] {
			if q := s.at[j]; q.start >= 0 && s.m.items[j].places[q.place].area == p.area {
				s.area.put(max(0, int(q.start)-it.length+1), min(s.m.steps, int(q.start)+s.m.items[j].length), false)
			}
		}
	}
}

// secondFree writes into s.other where some trainer but one, who may be the second, is free for an item.
func (s *state) secondFree(it *item, but int) {
	clear(s.other)
	for _, h := range it.seconds {
		if t := h.Trainer; t != but {
			s.other.join(s.freeFor[t][it.class].of(s.free[t], it.busy))
		}
	}
}

// second finds the trainer for fewest points, other than one, who may be the second of an item and is free at a step, looking from one on.
func (s *state) second(it *item, but, start, from int) int32 {
	best, low := int32(-1), 0
	for n := range it.seconds {
		h := it.seconds[(from+n)%len(it.seconds)]
		if h.Trainer != but && (best < 0 || h.Points < low) && s.free[h.Trainer].countIn(start, start+it.busy) == it.busy {
			best, low = int32(h.Trainer), h.Points
		}
	}
	return best
}

// each calls f with all places where an item could go now.
func (s *state) each(i int32, f func(p placed)) {
	it := &s.m.items[i]
	if it.dog < 0 {
		s.free[it.trainer].runs(it.busy, s.own)
		s.own.keep(it.within)
		s.own.each(func(k int) { f(placed{int32(k), it.trainer, -1, -1}) })
		return
	}
	s.eachPlace(i, func(trainer, place int) {
		s.area.each(func(k int) { f(placed{int32(k), int32(trainer), -1, int32(place)}) })
	})
}

// choices counts the places where a session could go now.
func (s *state) choices(i int32) (n int) {
	s.eachPlace(i, func(int, int) { n += s.area.count() })
	return n
}

// freeWith writes into s.own the steps of s.base at which a session could begin with a trainer, and with a second one where it needs two.
func (s *state) freeWith(it *item, trainer int) bool {
	copy(s.own, s.freeFor[trainer][it.class].of(s.free[trainer], it.busy))
	s.own.keep(s.base)
	if it.two && !s.own.empty() {
		s.secondFree(it, trainer)
		s.own.keep(s.other)
	}
	return !s.own.empty()
}

// eachPlace calls f with each trainer and place that a session could have; s.area has the steps at which it could begin there.
func (s *state) eachPlace(i int32, f func(trainer, place int)) {
	m := s.m
	it := &m.items[i]
	s.mayBegin(i)
	for _, h := range it.handlers {
		if !s.freeWith(it, h.Trainer) {
			continue
		}
		for n := range it.places {
			s.inArea(it, &it.places[n])
			s.area.keep(s.own)
			f(h.Trainer, n)
		}
	}
}
