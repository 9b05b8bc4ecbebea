package allocation

import "math/bits"

// need is what an option lacks in the plan as it is, less the dogs that are to go.
type need struct {
	intake, handover bool
	run, crew, site  []uint64 // days
	minutes          int32    // most that the trainer's minutes lack on any of those days
	lack             []int32  // by day: what the site's minutes lack
}

func (n *need) met() bool {
	if n.intake || n.handover {
		return false
	}
	var any uint64
	for w := range n.run {
		any |= n.run[w] | n.crew[w] | n.site[w]
	}
	return any == 0
}

// lacking works out what the option lacks once the dogs with the choices gone are away.
func (x *searcher) lacking(c choice, gone []choice) {
	m, s, n := x.m, x.s, &x.need
	g := &m.groups[c.group]
	run, tr := &m.groupRuns(g)[c.run], &m.groupTrainers(g)[c.trainer]
	intake, handover := s.left[m.cell(m.intakeLine[g.site], int(g.arrive))], s.left[m.cell(m.handLine[g.site], int(g.leave))]
	for w := range n.run {
		n.run[w] = s.full[int(run.line)*m.words+w] & span(w, int(g.arrive), int(g.vacate))
		n.crew[w], n.site[w] = 0, 0
	}
	for _, o := range gone {
		h := &m.groups[o.group]
		if h.site != g.site {
			continue
		}
		if h.arrive == g.arrive {
			intake++
		}
		if h.leave == g.leave {
			handover++
		}
		if m.groupRuns(h)[o.run].line == run.line {
			for w := range n.run {
				n.run[w] &^= span(w, int(h.arrive), int(h.vacate))
			}
		}
	}
	n.intake, n.handover = intake < 1, handover < 1
	n.minutes = 0
	l := &m.lanes
	first := int(tr.trainer) * l.words
	minutes, dogs := s.minutes[first:first+l.words], s.dogs[first:first+l.words]
	for w := l.first(int(g.arrive)); w <= l.last(int(g.leave)); w++ {
		for lacks := s.lacks(first+w, uint64(tr.minutes)*l.ones) & l.span(w, int(g.arrive), int(g.leave)); lacks != 0; lacks &= lacks - 1 {
			k := l.day(w, bits.TrailingZeros64(lacks))
			left, hands := l.at(minutes, k), l.at(dogs, k)
			for _, o := range gone {
				h := &m.groups[o.group]
				if t := &m.groupTrainers(h)[o.trainer]; t.trainer == tr.trainer && int(h.arrive) <= k && k < int(h.leave) {
					left += t.minutes
					hands++
				}
			}
			if left < tr.minutes || hands < 1 {
				n.crew[k>>6] |= 1 << (k & 63)
				n.minutes = max(n.minutes, tr.minutes-left)
			}
		}
	}
	if m.minuteLine[g.site] < 0 {
		return
	}
	siteLeft := s.left[m.cell(m.minuteLine[g.site], 0):]
	for k := int(g.arrive); k < int(g.leave); k++ {
		lack := m.minutesOn(tr, k) - siteLeft[k]
		for _, o := range gone {
			if h := &m.groups[o.group]; h.site == g.site && int(h.arrive) <= k && k < int(h.leave) {
				lack -= m.minutesOn(&m.groupTrainers(h)[o.trainer], k)
			}
		}
		if lack > 0 {
			n.site[k>>6] |= 1 << (k & 63)
			n.lack[k] = lack
		}
	}
}

// minutesOn is what a dog present with a trainer takes of the site's minutes on a day.
func (m *model) minutesOn(t *trainerChoice, k int) int32 {
	if m.works[int(t.trainer)*m.stride+k] {
		return t.minutes
	}
	return t.cover
}

// meets reports whether an option would be free if a dog with the choice o went too.
func (x *searcher) meets(c, o choice) bool {
	m, n := x.m, &x.need
	g, h := &m.groups[c.group], &m.groups[o.group]
	if n.intake && h.arrive != g.arrive || n.handover && h.leave != g.leave {
		return false
	}
	run, tr := m.groupRuns(g)[c.run].line, m.groupTrainers(g)[c.trainer].trainer
	sameRun, t := m.groupRuns(h)[o.run].line == run, &m.groupTrainers(h)[o.trainer]
	sameCrew := t.trainer == tr && t.minutes >= n.minutes
	for w := range n.run {
		if n.run[w] != 0 && (!sameRun || n.run[w]&^span(w, int(h.arrive), int(h.vacate)) != 0) {
			return false
		}
		if n.crew[w] != 0 && (!sameCrew || n.crew[w]&^span(w, int(h.arrive), int(h.leave)) != 0) {
			return false
		}
		for days := n.site[w]; days != 0; days &= days - 1 {
			if k := w<<6 + bits.TrailingZeros64(days); k < int(h.arrive) || k >= int(h.leave) || m.minutesOn(t, k) < n.lack[k] {
				return false
			}
		}
	}
	return true
}

// touches reports whether a dog with the choice o uses something that the option lacks.
func (x *searcher) touches(c, o choice) bool {
	m, n := x.m, &x.need
	g, h := &m.groups[c.group], &m.groups[o.group]
	if n.intake && h.arrive == g.arrive || n.handover && h.leave == g.leave {
		return true
	}
	sameRun := m.groupRuns(h)[o.run].line == m.groupRuns(g)[c.run].line
	sameCrew := m.groupTrainers(h)[o.trainer].trainer == m.groupTrainers(g)[c.trainer].trainer
	for w := range n.run {
		days := n.site[w]
		if sameCrew {
			days |= n.crew[w]
		}
		if sameRun && n.run[w]&span(w, int(h.arrive), int(h.vacate)) != 0 || days&span(w, int(h.arrive), int(h.leave)) != 0 {
			return true
		}
	}
	return false
}

// clear finds dogs, mostEjected at most, without whom dog d could have the option next, and puts them into ejected.
func (x *searcher) clear(d int32, next choice) bool {
	m, s := x.m, x.s
	x.ejected = x.ejected[:0]
	gone := x.gone[:0]
	if old := s.at[d]; old.group >= 0 {
		gone = append(gone, old)
	}
	x.lacking(next, gone)
	if x.need.met() {
		return true
	}
	if b := x.pick(d, -1, next, x.meets); b >= 0 {
		x.ejected = append(x.ejected, b)
		return true
	}
	_ = m
	for range pairTries {
		x.lacking(next, gone)
		first := x.pick(d, -1, next, x.touches)
		if first < 0 {
			return false
		}
		x.lacking(next, append(gone, s.at[first]))
		if b := x.pick(d, first, next, x.meets); b >= 0 {
			x.ejected = append(x.ejected, first, b)
			return true
		}
	}
	return false
}

const pairTries = 2

// pick chooses at random one of the dogs that are fit to go.
func (x *searcher) pick(d, first int32, next choice, fit func(c, o choice) bool) int32 {
	m, s := x.m, x.s
	g := &m.groups[next.group]
	tr := m.groupTrainers(g)[next.trainer].trainer
	from, to := x.firstTrainer[g.site], x.firstTrainer[g.site+1]
	crewOnly := false
	for _, days := range x.need.crew {
		crewOnly = crewOnly || days != 0
	}
	n, pick := 0, int32(-1)
	look := func(t int32) {
		for _, b := range s.crew[t] {
			u := m.unitOf[b]
			if b != d && b != first && fit(next, s.at[b]) && x.mine(u) && len(m.members(int(u))) == 1 {
				if n++; x.rnd.below(n) == 0 {
					pick = b
				}
			}
		}
	}
	if crewOnly { // whoever is to meet all needs, is with this trainer
		look(tr)
		return pick
	}
	for i := from; i < to; i++ {
		look(x.trainersOf[i])
	}
	return pick
}
