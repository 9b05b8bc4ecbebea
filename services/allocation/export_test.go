package allocation

import "slices"

// For tests of this package's parts from outside, with problems drawn by the tests of the whole.

// SolveByBranching solves a problem with the schedule bound and branching alone: no exact search, no local search. A plan of the value known
// is taken as given in each part, and stays that no better one can have are dropped first. Then plans come out of branching only, since those
// that are proposed may have any stay.
func SolveByBranching(p *Problem, known int64) (value, bound, root int64, dropped int) {
	never := func() bool { return false }
	for _, part := range components(p) {
		m := newModel(p, part, 1)
		d := newDual(m, m.typicalGain(), 1)
		for range 100 {
			d.step(0)
		}
		s := newSchedules(d)
		s.evaluate(never)
		for range 30 {
			s.step(0, never)
		}
		best := known
		w := newMaster(s, 1)
		w.begin(s.bound, s.top)
		w.generate(100, 0, never)
		root += m.roundDown(w.bound)
		dropped += w.prune(micro(known)<<m.shift, never)
		b := newBranching(w, func(plan *state) { best = max(best, plan.value) })
		guide := newGuide(m)
		guide.updateCalendars(s)
		plan := newState(m)
		for b.open.len() > 0 && b.nodes < 20_000 {
			b.next(micro(best)<<m.shift, never)
			if known == 0 {
				s.propose(plan, guide, never)
				best = max(best, plan.value)
			}
		}
		value += best
		bound += max(best, m.roundDown(b.bound()))
	}
	return value, bound, root, dropped
}

// PriceSchedule solves one trainer's pricing problem at given values of its stays, by search and by trying every schedule. level is
// the price of the trainer's soft level by day, in 1/1000 of the highest; it must not matter.
func PriceSchedule(p *Problem, trainer int, worth func(stay int) int64, level func(day int) int64) (found, proven, brute int64) {
	m := newModel(p, components(p)[0], 1)
	c := newCalendars(m)[trainer]
	net := make([]micro, len(m.groups))
	for i := range net {
		net[i] = worth(i) << m.shift
	}
	x := &pricer{m: m}
	t := newTariff(m)
	var paid micro
	if line := m.easy.load[trainer]; line >= 0 {
		for k := range m.nights {
			t.cell[m.cell(line, k)] = m.over(line) << m.shift / 1000 * level(k)
			paid += t.cell[m.cell(line, k)] * micro(m.capacity[m.cell(line, k)])
		}
	}
	t.sum(1)
	out := x.price(c, net, t, 5, 1<<30, 0)
	return out.value + paid, out.bound + paid, x.everySchedule(c, net, 0)
}

// ForcedBounds returns, for each stay of a trainer, the bound on what a schedule with it can leave over and, by trying every schedule, the most that one
// does leave over; both are nil where no bound is known. before are the values of stays at which the trainer's own prices were found, worth those that count.
func ForcedBounds(p *Problem, trainer int, before, worth func(stay int) int64) (bounds, brute []int64) {
	m := newModel(p, components(p)[0], 1)
	calendars := newCalendars(m)
	if trainer >= len(calendars) {
		return nil, nil
	}
	c := calendars[trainer]
	net := make([]micro, len(m.groups))
	x := &pricer{m: m}
	set := func(worth func(int) int64) {
		for i := range net {
			net[i] = worth(i) << m.shift
		}
	}
	set(before)
	x.price(c, net, nil, 30, 1<<30, 0)
	set(worth)
	bounds = slices.Clone(x.forced(c, net, nil))
	const bonus = micro(1) << 50
	for i := range bounds {
		net[c.stays[i].group] += bonus // the best schedule is one with the stay, if there is any
		brute = append(brute, x.everySchedule(c, net, 0)-bonus)
		net[c.stays[i].group] -= bonus
	}
	return bounds, brute
}

// everySchedule tries every schedule, looking only at the problem's days.
func (x *pricer) everySchedule(c *calendar, net []micro, from int) micro {
	m := x.m
	t := &m.p.Trainers[m.trainerOf[c.trainer]]
	minutes, dogs, units := make([]int, m.p.Days), make([]int, m.p.Days), make([]int, m.p.Days)
	used := map[int32]bool{}
	var try func(i int) micro
	try = func(i int) micro {
		if i == len(c.stays) {
			return -t.Easy.cost(units) << m.shift
		}
		best := try(i + 1)
		st := &c.stays[i]
		g := &m.groups[st.group]
		need := int(m.groupTrainers(g)[st.entry].minutes)
		if used[g.dog] {
			return best
		}
		change := func(times int) (ok bool) {
			ok = true
			for k := int(g.arrive); k < int(g.leave); k++ {
				if t.Works[k] {
					minutes[k] += times * need
					dogs[k] += times
					if t.Easy != nil {
						units[k] += times * t.Easy.units(need)
					}
					ok = ok && minutes[k] <= t.Minutes[k] && dogs[k] <= t.Dogs[k]
				}
			}
			return ok
		}
		if change(1) {
			used[g.dog] = true
			best = max(best, net[st.group]-micro(st.penalty)<<m.shift+try(i+1))
			used[g.dog] = false
		}
		change(-1)
		return best
	}
	return try(from)
}

// cost is what some use by day costs.
func (e *Easy) cost(units []int) (points int64) {
	for k, n := range units {
		if e != nil && k < len(e.Upto) {
			points += int64(max(0, n-e.Upto[k])) * int64(e.Over)
		}
	}
	return points
}

// RebuildSome makes a plan greedily, rebuilds some groups of trainers in it, and gives its value before and after, and the plan.
func RebuildSome(p *Problem, rounds int) (before, after int64, plan []Placement) {
	r := &run{p: p, o: Options{Seed: 3}, threads: 2}
	r.prepare()
	for _, s := range r.parts {
		for s.stage < 2 {
			s.round()
		}
		before += s.value
		b := newRebuilder(s)
		b.effort = 4000
		for range rounds {
			b.round()
		}
		after += s.value
		plan = append(plan, s.m.placements(s.best)...)
	}
	return before, after, plan
}

// Parts counts the parts that a problem falls into.
func Parts(p *Problem) int { return len(components(p)) }
