package allocation

import "math/bits"

// Before a quick move touches the plan it finds out what its option lacks, and who could go so that it would fit.

// pairTries is how many dogs are tried as the first of two who go.
const pairTries = 2

// need is what an option lacks in the plan as it is, once some dogs are gone.
type need struct {
	intake, handover bool
	run, crew, site  []uint64 // days on which the run, the trainer and the site's minutes lack something
	minutes          int32    // the most that the trainer's minutes lack on one of those days
	lack             []int32  // by day: what the site's minutes lack, where they do
}

func newNeed(m *model) need {
	return need{run: make([]uint64, m.words), crew: make([]uint64, m.words), site: make([]uint64, m.words), lack: make([]int32, m.stride)}
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

// makeWay finds dogs, mostEjected at most, without whom dog d could have the option next, and puts them into ejected.
func (x *searcher) makeWay(d int32, next choice) bool {
	x.ejected = x.ejected[:0]
	gone := x.gone[:0]
	if old := x.s.at[d]; old.group >= 0 {
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
	for try := range pairTries {
		if try > 0 {
			x.lacking(next, gone)
		}
		first := x.pick(d, -1, next, x.touches)
		if first < 0 {
			return false
		}
		x.lacking(next, append(gone, x.s.at[first]))
		if b := x.pick(d, first, next, x.meets); b >= 0 {
			x.ejected = append(x.ejected, first, b)
			return true
		}
	}
	return false
}

// pick chooses at random one of the dogs at the option's site that are fit to go, leaving out dog d, the first to go, and those that the
// move has touched.
func (x *searcher) pick(d, first int32, next choice, fit func(c, o choice) bool) int32 {
	m, s := x.m, x.s
	g := &m.groups[next.group]
	n, pick := 0, int32(-1)
	look := func(t int32) {
		for _, b := range s.crew[t] {
			u := m.unitOf[b]
			if b != d && b != first && x.mark[u] != x.move && fit(next, s.at[b]) && x.mine(u) && len(m.members(int(u))) == 1 {
				if n++; x.rnd.below(n) == 0 {
					pick = b
				}
			}
		}
	}
	for _, days := range x.need.crew {
		if days != 0 { // some dog of this trainer has to go, and it may as well be the first
			look(m.groupTrainers(g)[next.trainer].trainer)
			return pick
		}
	}
	for _, t := range x.trainersOf[x.firstTrainer[g.site]:x.firstTrainer[g.site+1]] {
		look(t)
	}
	return pick
}

// lacking works out what the option lacks once the dogs with the choices gone are away.
func (x *searcher) lacking(c choice, gone []choice) {
	m, s, n := x.m, x.s, &x.need
	g := &m.groups[c.group]
	line := m.groupRuns(g)[c.run].line
	for w := range n.run {
		n.run[w] = s.full[int(line)*m.words+w] & span(w, int(g.arrive), int(g.vacate))
	}
	intake, handover := s.left[m.cell(m.intakeLine[g.site], int(g.arrive))], s.left[m.cell(m.handLine[g.site], int(g.leave))]
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
		if m.groupRuns(h)[o.run].line == line {
			for w := range n.run {
				n.run[w] &^= span(w, int(h.arrive), int(h.vacate))
			}
		}
	}
	n.intake, n.handover = intake < 1, handover < 1
	x.lackingCrew(g, &m.groupTrainers(g)[c.trainer], gone)
	clear(n.site)
	if m.minuteLine[g.site] >= 0 {
		x.lackingSite(g, &m.groupTrainers(g)[c.trainer], gone)
	}
}

// lackingCrew does the same for the trainer's minutes and dogs in hand.
func (x *searcher) lackingCrew(g *group, tr *trainerChoice, gone []choice) {
	m, s, n := x.m, x.s, &x.need
	l := &m.lanes
	a, e, first := int(g.arrive), int(g.leave), int(tr.trainer)*l.words
	minutes, dogs := s.minutes[first:first+l.words], s.dogs[first:first+l.words]
	clear(n.crew)
	n.minutes = 0
	for w := l.first(a); w <= l.last(e); w++ {
		for lacks := s.lacks(first+w, uint64(tr.minutes)*l.ones) & l.span(w, a, e); lacks != 0; lacks &= lacks - 1 {
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
}

// lackingSite does the same for the site's minutes.
func (x *searcher) lackingSite(g *group, tr *trainerChoice, gone []choice) {
	m, n := x.m, &x.need
	left := x.s.left[m.cell(m.minuteLine[g.site], 0):]
	for k := int(g.arrive); k < int(g.leave); k++ {
		lack := m.siteNeed(tr, k) - left[k]
		for _, o := range gone {
			if h := &m.groups[o.group]; h.site == g.site && int(h.arrive) <= k && k < int(h.leave) {
				lack -= m.siteNeed(&m.groupTrainers(h)[o.trainer], k)
			}
		}
		if lack > 0 {
			n.site[k>>6] |= 1 << (k & 63)
			n.lack[k] = lack
		}
	}
}

// meets reports whether the option c would fit if a dog with the option o went too.
func (x *searcher) meets(c, o choice) bool {
	m, n := x.m, &x.need
	g, h := &m.groups[c.group], &m.groups[o.group]
	if n.intake && h.arrive != g.arrive || n.handover && h.leave != g.leave {
		return false
	}
	t := &m.groupTrainers(h)[o.trainer]
	sameRun := m.groupRuns(h)[o.run].line == m.groupRuns(g)[c.run].line
	sameCrew := t.trainer == m.groupTrainers(g)[c.trainer].trainer && t.minutes >= n.minutes
	for w := range n.run {
		if n.run[w] != 0 && (!sameRun || n.run[w]&^span(w, int(h.arrive), int(h.vacate)) != 0) {
			return false
		}
		present := span(w, int(h.arrive), int(h.leave))
		if n.crew[w] != 0 && (!sameCrew || n.crew[w]&^present != 0) || n.site[w]&^present != 0 {
			return false
		}
		for days := n.site[w]; days != 0; days &= days - 1 {
			if k := w<<6 + bits.TrailingZeros64(days); m.siteNeed(t, k) < n.lack[k] {
				return false
			}
		}
	}
	return true
}

// touches reports whether a dog with the option o uses something that the option c lacks.
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
