package allocation

import "math/bits"

// updateOver notes, for every cell of a soft level, what a unit over it costs beyond its price.
func (g *guide) updateOver(t *tariff) {
	m := g.m
	if !m.soft() {
		return
	}
	first := m.cell(int32(m.easy.from), 0)
	grow(&g.over, m.lines*m.stride-first)
	for i := range g.over {
		over := micro(m.easy.over[i/m.stride]) << m.shift
		g.over[i] = float32(float64(max(0, over-t.cell[first+i])) * g.unit())
	}
}

// extra is what some units cost beyond their price on a day of a soft level: nothing while the level holds them.
func (g *guide) extra(s *state, line int32, k int, units int32) float32 {
	at := g.m.cell(line, k)
	over := units - max(0, min(s.left[at], units))
	return float32(over) * g.over[at-g.m.cell(int32(g.m.easy.from), 0)]
}

// strainPlaces is what a group's intake and handover places would cost beyond their prices by running over soft levels now.
func (g *guide) strainPlaces(s *state, grp *group) (cost float32) {
	e := &g.m.easy
	if line := e.intake[grp.site]; line >= 0 {
		cost += g.extra(s, line, int(grp.arrive), 1)
	}
	if line := e.hand[grp.site]; line >= 0 {
		cost += g.extra(s, line, int(grp.leave), 1)
	}
	return cost
}

// strain is the same for the minutes of a trainer and of the site.
func (g *guide) strain(s *state, grp *group, c *trainerChoice) (cost float32) {
	m := g.m
	a, e := int(grp.arrive), int(grp.leave)
	if line := m.easy.minute[grp.site]; line >= 0 {
		works := m.works[int(c.trainer)*m.stride:]
		for k := a; k < e; k++ {
			if works[k] {
				cost += g.extra(s, line, k, c.minutes)
			} else {
				cost += g.extra(s, line, k, c.cover)
			}
		}
	}
	if c.load == 0 {
		return cost
	}
	line, row := m.easy.load[c.trainer], s.tight[int(c.trainer)*m.words:]
	for w := a >> 6; w <= (e-1)>>6; w++ {
		for days := row[w] & span(w, a, e); days != 0; days &= days - 1 {
			cost += g.extra(s, line, w<<6+bits.TrailingZeros64(days), c.load)
		}
	}
	return cost
}

// strain is what an option would cost, beyond the prices, by running over soft levels now.
func (x *exact) strain(c choice) (cost micro) {
	m := x.m
	if !m.soft() {
		return 0
	}
	g := &m.groups[c.group]
	t := &m.trainers[g.trainerFrom+int32(c.trainer)]
	add := func(line int32, k int, units int32) {
		if line < 0 {
			return
		}
		at := m.cell(line, k)
		over := units - max(0, min(x.s.left[at], units))
		cost += micro(over) * (micro(m.over(line))<<m.shift - x.t.cell[at])
	}
	add(m.easy.intake[g.site], int(g.arrive), 1)
	add(m.easy.hand[g.site], int(g.leave), 1)
	works := m.works[int(t.trainer)*m.stride:]
	for k := int(g.arrive); k < int(g.leave); k++ {
		if !works[k] {
			add(m.easy.minute[g.site], k, t.cover)
			continue
		}
		add(m.easy.minute[g.site], k, t.minutes)
		add(m.easy.load[t.trainer], k, t.load)
	}
	return cost
}
