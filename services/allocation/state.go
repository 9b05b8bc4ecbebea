package allocation

// state is a plan under construction: what is left of every resource on every day, so laid out that most questions about an option take
// a few steps.
type state struct {
	m             *model
	left          []int32  // by cell; trainers' own lines stay as they are here
	full          []uint64 // by line, as far as it is in left: bit k is set if nothing is left on day k
	minutes, dogs []uint64 // what is left of trainers' minutes and dogs in hand, see lanes
	tight         []uint64 // by trainer with a soft level: bit k is set if its largest stay would run over the level on day k
	at            []choice // by dog
	value         int64
	count         int // dogs placed

	crew   [][]int32 // by trainer: dogs in the plan, in no order
	crewAt []int32   // by dog: place in its trainer's list
}

func newState(m *model) *state {
	s := &state{m: m, left: make([]int32, len(m.capacity)), full: make([]uint64, m.lines*m.words),
		minutes: make([]uint64, len(m.minuteLanes)), dogs: make([]uint64, len(m.dogLanes)),
		at: make([]choice, len(m.dogOf)), crew: make([][]int32, len(m.trainerOf)), crewAt: make([]int32, len(m.dogOf))}
	if m.soft() {
		s.tight = make([]uint64, len(m.trainerOf)*m.words)
	}
	s.reset()
	return s
}

// reset empties the plan.
func (s *state) reset() {
	m := s.m
	copy(s.left, m.capacity)
	clear(s.full)
	copy(s.minutes, m.minuteLanes)
	copy(s.dogs, m.dogLanes)
	for d := range s.at {
		s.at[d] = noChoice
	}
	s.value, s.count = 0, 0
	for t := range s.crew {
		s.crew[t] = s.crew[t][:0]
	}
	for l := range m.easy.from {
		for k := range m.stride {
			if s.left[l*m.stride+k] <= 0 {
				s.full[l*m.words+k>>6] |= 1 << (k & 63)
			}
		}
	}
	if m.soft() {
		for t := range m.trainerOf {
			s.updateTight(int32(t), 0, m.stride)
		}
	}
}

// span has the bits of the days [a, e) that fall into word w.
func span(w, a, e int) uint64 {
	a, e = max(a-w<<6, 0), min(e-w<<6, 64)
	if a >= e {
		return 0
	}
	return (^uint64(0) >> (64 - (e - a))) << a
}

// clash reports whether a row of bits has any of the days [a, e).
func clash(row []uint64, words, a, e int) bool {
	if words == 1 {
		return row[0]&span(0, a, e) != 0
	}
	for w := a >> 6; w <= (e-1)>>6; w++ {
		if row[w]&span(w, a, e) != 0 {
			return true
		}
	}
	return false
}

// open reports whether a group's intake and handover places are free.
func (s *state) open(g *group) bool {
	m := s.m
	return s.left[m.cell(m.intakeLine[g.site], int(g.arrive))] > 0 && s.left[m.cell(m.handLine[g.site], int(g.leave))] > 0
}

// runFree reports whether a run of the class is free for all of a group's nights.
func (s *state) runFree(g *group, r *runChoice) bool {
	return !clash(s.full[int(r.line)*s.m.words:], s.m.words, int(g.arrive), int(g.vacate))
}

// trainerFree reports whether a trainer, and the site's minutes, can take the stay.
func (s *state) trainerFree(g *group, c *trainerChoice) bool {
	m := s.m
	a, e := int(g.arrive), int(g.leave)
	l := &m.lanes
	need, first := uint64(c.minutes)*l.ones, int(c.trainer)*l.words
	for w := l.first(a); w <= l.last(e); w++ {
		if s.lacks(first+w, need)&l.span(w, a, e) != 0 {
			return false
		}
	}
	return m.minuteLine[g.site] < 0 || s.siteFree(g, c)
}

// lacks has the free bits of the lanes of a word in which one dog more, with these minutes on each day, would be too much.
func (s *state) lacks(at int, minutes uint64) uint64 {
	l := &s.m.lanes
	return ^(((s.minutes[at] | l.high) - minutes) & ((s.dogs[at] | l.high) - l.ones)) & l.high
}

func (s *state) siteFree(g *group, c *trainerChoice) bool {
	left := s.left[s.m.cell(s.m.minuteLine[g.site], 0):]
	for k := int(g.arrive); k < int(g.leave); k++ {
		if left[k] < s.m.siteNeed(c, k) {
			return false
		}
	}
	return true
}

// siteNeed is what a dog present takes of the site's minutes on a day.
func (m *model) siteNeed(t *trainerChoice, k int) int32 {
	if m.works[int(t.trainer)*m.stride+k] {
		return t.minutes
	}
	return t.cover
}

// fits reports whether a whole option is free.
func (s *state) fits(c choice) bool {
	g := &s.m.groups[c.group]
	return s.open(g) && s.runFree(g, &s.m.groupRuns(g)[c.run]) && s.trainerFree(g, &s.m.groupTrainers(g)[c.trainer])
}

// place adds dog d's option, which must fit, to the plan; remove takes it out.
func (s *state) place(d int32, c choice) {
	s.at[d] = c
	s.value += s.m.worth(c)
	s.count++
	s.use(c, 1)
	crew := &s.crew[s.m.trainers[s.m.groups[c.group].trainerFrom+int32(c.trainer)].trainer]
	s.crewAt[d] = int32(len(*crew))
	*crew = append(*crew, d)
}

func (s *state) remove(d int32) {
	c := s.at[d]
	s.at[d] = noChoice
	s.value -= s.m.worth(c)
	s.count--
	s.use(c, -1)
	crew := &s.crew[s.m.trainers[s.m.groups[c.group].trainerFrom+int32(c.trainer)].trainer]
	last := len(*crew) - 1
	s.crewAt[(*crew)[last]] = s.crewAt[d]
	(*crew)[s.crewAt[d]] = (*crew)[last]
	*crew = (*crew)[:last]
}

// use takes (or with times -1 gives back) what an option needs.
func (s *state) use(c choice, times int32) {
	m := s.m
	g := &m.groups[c.group]
	a, e := int(g.arrive), int(g.leave)
	s.left[m.cell(m.intakeLine[g.site], a)] -= times
	s.left[m.cell(m.handLine[g.site], e)] -= times
	s.useRun(m.runs[g.runFrom+int32(c.run)].line, a, int(g.vacate), times)
	t := &m.trainers[g.trainerFrom+int32(c.trainer)]
	s.useTrainer(t, a, e, times)
	if m.soft() {
		s.useEasy(g, t, times)
	}
	if line := m.minuteLine[g.site]; line >= 0 {
		left := s.left[m.cell(line, 0):]
		for k := a; k < e; k++ {
			left[k] -= times * m.siteNeed(t, k)
		}
	}
}

func (s *state) useRun(line int32, a, e int, times int32) {
	left := s.left[s.m.cell(line, 0) : s.m.cell(line, 0)+e]
	full := s.full[int(line)*s.m.words:]
	for k := a; k < e; k++ {
		left[k] -= times
		if bit := uint64(1) << (k & 63); left[k] <= 0 {
			full[k>>6] |= bit
		} else {
			full[k>>6] &^= bit
		}
	}
}

// useTrainer takes (or with times -1 gives back) minutes and dogs in hand on the days the trainer works.
func (s *state) useTrainer(t *trainerChoice, a, e int, times int32) {
	l := &s.m.lanes
	minutes, dogs := uint64(t.minutes)*l.ones, l.ones
	for w := l.first(a); w <= l.last(e); w++ {
		at := int(t.trainer)*l.words + w
		days := s.m.workLanes[at] & l.span(w, a, e)
		if times > 0 {
			s.minutes[at] -= minutes & days
			s.dogs[at] -= dogs & days
		} else {
			s.minutes[at] += minutes & days
			s.dogs[at] += dogs & days
		}
	}
}

// restore replaces the plan.
func (s *state) restore(at []choice) {
	s.reset()
	for d, c := range at {
		if c.group >= 0 {
			s.place(int32(d), c)
		}
	}
}

// placements lists the plan in the problem's indices.
func (m *model) placements(at []choice) []Placement {
	var out []Placement
	for d, c := range at {
		if c.group >= 0 {
			out = append(out, m.placement(d, c))
		}
	}
	return out
}
