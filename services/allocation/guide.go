package allocation

import (
	"cmp"
	"slices"
)

// guide ranks options by what they leave over at given prices. It is computed once for a set of prices and shared, read
// only, by all searchers. Scores are in points.
type guide struct {
	m       *model
	base    []float32 // by group: value less intake and handover price
	top     []float32 // by group: score of its best option
	run     []float32 // by group and run, from runAt
	trainer []float32 // by group and trainer, from trainerAt
	runAt   []int32
	trAt    []int32
	rows    []int32 // for households: rows of the unit, best first, from rowAt
	rowAt   []int32
	rowTop  []float32 // by position in rows
	surplus []float32 // by unit, at least 0
	most    []float32 // by dog: what its best option is worth, whatever the prices
	worth   []float32 // by group: the same
	over    []float32 // by cell of the soft levels: what a unit over it costs beyond its price
}

func newGuide(m *model) *guide {
	n := len(m.groups)
	g := &guide{m: m, base: make([]float32, n), top: make([]float32, n), runAt: make([]int32, n+1), trAt: make([]int32, n+1),
		rowAt: make([]int32, m.units()+1), surplus: make([]float32, m.units())}
	for i := range m.groups {
		g.runAt[i+1] = g.runAt[i] + int32(m.groups[i].nRuns)
		g.trAt[i+1] = g.trAt[i] + int32(m.groups[i].nTrainers)
	}
	for u := range m.units() {
		g.rowAt[u+1] = g.rowAt[u] + int32(m.dogGroups(int(m.members(u)[0])))
	}
	g.most, g.worth = make([]float32, len(m.dogOf)), make([]float32, n)
	for d := range g.most {
		for i := m.dogFirst[d]; i < m.dogFirst[d+1]; i++ {
			g.worth[i] = float32(m.bestValue(&m.groups[i]))
			g.most[d] = max(g.most[d], g.worth[i])
		}
	}
	g.run, g.trainer = make([]float32, g.runAt[n]), make([]float32, g.trAt[n])
	g.rows, g.rowTop = make([]int32, g.rowAt[m.units()]), make([]float32, g.rowAt[m.units()])
	return g
}

// update computes the scores at new prices of all resources.
func (g *guide) update(t *tariff, threads int) {
	unit := g.unit()
	g.updateSites(t, threads)
	parallel(threads, len(g.m.groups), 1024, func(_, from, to int) {
		for i := from; i < to; i++ {
			grp := &g.m.groups[i]
			for j, list := 0, g.m.groupTrainers(grp); j < len(list); j++ {
				g.trainer[int(g.trAt[i])+j] = float32(float64(t.trainer(grp, &list[j])) * unit)
			}
		}
	})
	g.finish(threads)
}

func (g *guide) unit() float64 { return 1 / float64(int64(1)<<g.m.shift) }

// updateSites computes what the sites' resources cost.
func (g *guide) updateSites(t *tariff, threads int) {
	unit := g.unit()
	g.updateOver(t)
	parallel(threads, len(g.m.groups), 1024, func(_, from, to int) {
		for i := from; i < to; i++ {
			grp := &g.m.groups[i]
			g.base[i] = float32(float64(t.base(grp)) * unit)
			for j, list := 0, g.m.groupRuns(grp); j < len(list); j++ {
				g.run[int(g.runAt[i])+j] = float32(float64(t.run(grp, &list[j])) * unit)
			}
		}
	})
}

// updateCalendars computes the scores from the prices of the schedule bound, in which a trainer's days have a price for each size
// of stay.
func (g *guide) updateCalendars(s *schedules) {
	unit := g.unit()
	g.updateSites(s.t, s.threads)
	parallel(s.threads, len(s.cal), 4, func(_, from, to int) {
		var sums []micro
		for i := from; i < to; i++ {
			c := s.cal[i]
			days, sizes := len(c.minutes), len(c.sizes)
			grow(&sums, sizes*(days+1))
			c.prefixes(sums)
			for j := range c.stays {
				st := &c.stays[j]
				at := int(st.class) * (days + 1)
				cost := micro(st.penalty)<<g.m.shift + sums[at+int(st.to)] - sums[at+int(st.from)]
				if s.m.dayPriced(i) {
					cost += s.t.siteMinutes(c, st)
				}
				g.trainer[g.trAt[st.group]+int32(st.entry)] = float32(float64(cost) * unit)
			}
		}
	})
	g.finish(s.threads)
}

// finish ranks everything after the scores changed.
func (g *guide) finish(threads int) {
	parallel(threads, len(g.m.groups), 1024, func(_, from, to int) {
		for i := from; i < to; i++ {
			g.top[i] = g.base[i] - slices.Min(g.run[g.runAt[i]:g.runAt[i+1]]) - slices.Min(g.trainer[g.trAt[i]:g.trAt[i+1]])
		}
	})
	parallel(threads, g.m.units(), 64, func(_, from, to int) {
		for u := from; u < to; u++ {
			g.rank(u)
		}
	})
}

// rank sorts a unit's rows of groups, best first.
func (g *guide) rank(u int) {
	m := g.m
	rows := g.rows[g.rowAt[u]:g.rowAt[u+1]]
	score := func(j int32) (sum float32) {
		for _, d := range m.members(u) {
			sum += g.top[m.dogFirst[d]+j]
		}
		return sum
	}
	for j := range rows {
		rows[j] = int32(j)
	}
	slices.SortFunc(rows, func(a, b int32) int { return cmp.Or(cmp.Compare(score(b), score(a)), cmp.Compare(a, b)) })
	g.surplus[u] = 0
	for i, j := range rows {
		g.rowTop[int(g.rowAt[u])+i] = score(j)
	}
	if len(rows) > 0 {
		g.surplus[u] = max(0, g.rowTop[g.rowAt[u]])
	}
}

// score is what an option leaves over at the prices.
func (g *guide) score(c choice) float32 {
	return g.base[c.group] - g.run[int(g.runAt[c.group])+int(c.run)] - g.trainer[int(g.trAt[c.group])+int(c.trainer)]
}

// offer is the best way found to place a unit, and how much it beats the next best row by.
type offer struct {
	row         int32 // -1: there is no room
	score, next float32
	turn        int32 // see searcher.turn
	poor        bool  // rows were passed over that count for too little
}

// least is what an option must count for: its worth, of which a share charge is counted as its score instead.
type least struct{ points, charge float32 }

// anyWorth lets every option count for enough.
var anyWorth = least{points: worst}

// poor reports whether a group's best option counts for too little, top being its score.
func (l least) poor(worth, top float32) bool { return worth+l.charge*(top-worth) < l.points }

const worst = float32(-1e30)

// find looks for the best option of a unit that fits into the plan, by score with noise. picks gets one choice a dog. With a
// filter, only sites it admits are looked at. Unless second is asked for, the next best is not looked for to the end. Single dogs' rows
// that count for less than need be are passed over.
func (g *guide) find(s *state, u int, picks []choice, sites []bool, rnd *random, blur float32, second bool, need least) offer {
	out := offer{row: -1, score: worst, next: worst}
	m := g.m
	dogs := m.members(u)
	var trial [1]choice
	for i := g.rowAt[u]; i < g.rowAt[u+1]; i++ {
		if top := g.rowTop[i] + blur; top <= out.next || !second && top <= out.score {
			break
		}
		row := g.rows[i]
		if sites != nil && !sites[m.groups[m.dogFirst[dogs[0]]+row].site] {
			continue
		}
		if len(dogs) > 1 {
			out = g.findHousehold(s, u, row, picks, out)
			continue
		}
		at := m.dogFirst[dogs[0]] + row
		if need.poor(g.worth[at], g.rowTop[i]) {
			out.poor = true
			continue
		}
		score, ok := g.findIn(s, at, &trial[0])
		if blur > 0 {
			score += blur * float32(rnd.unit())
		}
		switch {
		case !ok:
		case score > out.score:
			out.next = out.score
			out.score, out.row = score, row
			picks[0] = trial[0]
		case score > out.next:
			out.next = score
		}
	}
	return out
}

// findIn looks for the best free run and trainer of one group.
func (g *guide) findIn(s *state, at int32, c *choice) (float32, bool) {
	m := g.m
	grp := &m.groups[at]
	if !s.open(grp) {
		return 0, false
	}
	run, tr := float32(1e30), float32(1e30)
	c.group, c.run, c.trainer = at, -1, -1
	scores := g.run[g.runAt[at]:g.runAt[at+1]]
	for j, list := 0, m.groupRuns(grp); j < len(list); j++ {
		if scores[j] < run && s.runFree(grp, &list[j]) {
			run, c.run = scores[j], int16(j)
		}
	}
	if c.run < 0 {
		return 0, false
	}
	scores = g.trainer[g.trAt[at]:g.trAt[at+1]]
	soft := m.soft()
	for j, list := 0, m.groupTrainers(grp); j < len(list); j++ {
		if scores[j] < tr && s.trainerFree(grp, &list[j]) {
			score := scores[j]
			if soft {
				if score += g.strain(s, grp, &list[j]); score >= tr {
					continue
				}
			}
			tr, c.trainer = score, int16(j)
		}
	}
	score := g.base[at] - run - tr
	if soft {
		score -= g.strainPlaces(s, grp)
	}
	return score, c.trainer >= 0
}

// findHousehold tries one row for a whole household, placing its dogs one after the other and taking them out again.
func (g *guide) findHousehold(s *state, u int, row int32, picks []choice, out offer) offer {
	m := g.m
	dogs := m.members(u)
	var sum float32
	done := 0
	for ; done < len(dogs); done++ {
		var c choice
		score, ok := g.findIn(s, m.dogFirst[dogs[done]]+row, &c)
		if !ok {
			break
		}
		sum += score
		s.place(dogs[done], c)
	}
	whole := done == len(dogs)
	better := whole && sum > out.score
	for i := range done {
		if better {
			picks[i] = s.at[dogs[i]]
		}
		s.remove(dogs[i])
	}
	switch {
	case better:
		return offer{row: row, score: sum, next: out.score}
	case whole && sum > out.next:
		out.next = sum
	}
	return out
}
