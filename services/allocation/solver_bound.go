package allocation

// lowerSchedules takes some steps down the schedule bound, and now and then draws a plan and prices for the search from them.
func (s *solver) lowerSchedules() (used int) {
	first := s.sched == nil
	if first {
		s.sched = newSchedules(s.dual)
		if s.m.deep {
			s.master = newMaster(s.sched, s.seed)
		}
	}
	d := s.sched
	switch {
	case s.knapsacks != nil:
		return s.branchKnapsacks()
	case s.oneDay && (d.round >= oneDayRounds || d.converged()):
		s.knapsacks = newKnapsackTree(d, func(plan *state) { s.offer(plan.at, plan.value) })
		return 1
	case s.tree != nil || s.master != nil && s.master.settled:
		return s.branch()
	case s.master != nil && d.round >= subgradientRounds:
		return s.generate()
	case d.converged():
		return 1
	}
	if first && s.vast() || d.inPieces(s.r.o.Limit*pieceShare/100) {
		s.lowerVast(first)
		return pricingCost * len(d.cal)
	}
	rounds := max(1, pricingsRound/len(d.cal))
	if s.oneDay {
		rounds = oneDayRounds
	}
	for range rounds {
		d.tighten(micro(s.value)<<s.m.shift, s.typical)
		if !s.stepSchedules(first) {
			break
		}
		first = false
		used += pricingCost * len(d.cal)
		s.setBound(s.m.roundDown(d.bound))
		if s.master != nil {
			s.master.gather()
		}
		if d.converged() || s.value >= s.bound {
			break
		}
	}
	if s.bundle == nil || s.bundle.moved() {
		s.guide.updateCalendars(d)
	}
	if s.master != nil || s.oneDay {
		s.proposePlan()
	}
	return used
}

// stepSchedules moves the prices of the schedule bound and evaluates it: at first where they are, then by the bundle method, or along the
// subgradient in parts of one day and in small ones, whose programme soon takes over. It reports false if that was stopped.
func (s *solver) stepSchedules(first bool) bool {
	d := s.sched
	switch {
	case first:
		return d.evaluate(s.r.stop)
	case s.master != nil || s.oneDay:
		return d.step(micro(s.value)<<s.m.shift, s.r.stop)
	case s.bundle == nil:
		s.bundle = newBundle(d)
	}
	return s.bundle.step(s.r.stop)
}

// branchKnapsacks goes on proving a part of one day.
func (s *solver) branchKnapsacks() (used int) {
	b := s.knapsacks
	for used < pricingsRound*pricingCost && !b.done() && s.value < s.bound && !s.r.stop() {
		used += len(s.sched.cal) * knapsackSteps
		b.step(micro(s.value)<<s.m.shift, s.r.stop)
		s.sched.propose(s.scratch(), s.guide, s.r.stop)
		b.polisher.polish(s.spare, s.r.stop)
		s.offer(s.spare.at, s.spare.value)
		s.setBound(max(s.value, s.m.roundDown(b.bound())))
	}
	s.guide.updateCalendars(s.sched)
	return max(1, used)
}

// vast reports whether an evaluation may take too large a share of the time to be done in one piece.
func (s *solver) vast() bool { return s.r.o.Limit > 0 && s.m.units() > vastUnits }

// pieceShare is how long a piece takes, in hundredths of the time limit.
const pieceShare = 3

// lowerVast does as much of an evaluation of the schedule bound as fits into a few hundredths of the time limit. It prices all trainers roughly,
// and then, in as many rounds as it takes, one after the other again with many nodes.
func (s *solver) lowerVast(first bool) {
	d := s.sched
	d.tighten(micro(s.value)<<s.m.shift, s.typical)
	switch {
	case first:
		d.beginVast(s.r.stop)
	case !d.closerFor(s.r.o.Limit*pieceShare/100, s.r.stop):
		d.stepVast(micro(s.value)<<s.m.shift, s.r.stop)
	}
	if bound := s.m.roundDown(d.bound); first || bound < s.bound {
		s.setBound(bound)
		s.guide.updateCalendars(d)
	}
}

// generate goes on with the linear programme over schedules.
func (s *solver) generate() (used int) {
	d, w := s.sched, s.master
	if w.prog == nil {
		w.begin(d.bound, d.top)
	}
	before := w.rounds
	w.generate(max(2, pricingsRound/len(d.cal)/2), micro(s.value)<<s.m.shift, s.r.stop)
	s.setBound(max(s.value, s.m.roundDown(w.bound)))
	s.prune(w.bound, w.best)
	w.weigh()
	s.guide.updateCalendars(d)
	s.proposePlan()
	if s.sinceDive += w.rounds - before; s.m.deep && (s.sinceDive >= s.nextDive || w.settled || s.diveNow()) {
		s.sinceDive, s.nextDive = 0, min(s.nextDive*2, diveEvery)
		w.diveFromRoot(diveRounds, micro(s.value)<<s.m.shift, s.proposePlan, s.r.stop)
	}
	return pricingCost * len(d.cal) * max(1, w.rounds-before)
}

// diveNow reports whether it is time for the first dive because little time is left.
func (s *solver) diveNow() bool {
	left, limited := s.r.left()
	return limited && s.nextDive == diveFirst && left < s.r.o.Limit*6/10
}

// prune drops stays of a small part whenever the gap between plan and root bound has halved.
func (s *solver) prune(bound micro, price []float64) {
	w := s.master
	gap := s.m.roundDown(bound) - s.value
	if !s.m.deep || gap <= 0 || s.prunedAt > 0 && gap*2 > s.prunedAt || s.r.stop() {
		return
	}
	s.prunedAt = gap
	w.bound, w.best = bound, append(w.best[:0], price...)
	w.prune(micro(s.value)<<s.m.shift, s.r.stop)
	s.setBound(max(s.value, s.m.roundDown(w.bound)))
}

// proposePlan draws a plan from the schedules' weights.
func (s *solver) proposePlan() {
	s.sched.propose(s.scratch(), s.guide, s.r.stop)
	s.offer(s.spare.at, s.spare.value)
}

// branch proves small parts optimal once the schedule bound has settled.
func (s *solver) branch() (used int) {
	d := s.sched
	if !s.m.deep {
		return 1
	}
	if s.tree == nil {
		s.tree = newBranching(s.master, func(plan *state) { s.offer(plan.at, plan.value) })
	}
	if s.tree.open.len() > 0 {
		s.prune(s.tree.root.bound, s.tree.root.price)
	}
	if s.tree.open.len() > 0 && s.tree.nodes-s.divedAt >= nodesPerDive {
		s.divedAt = s.tree.nodes
		s.tree.dive(micro(s.value)<<s.m.shift, s.proposePlan, s.r.stop)
	}
	for used < pricingsRound*pricingCost && s.tree.open.len() > 0 && s.value < s.bound && !s.r.stop() {
		used += pricingCost * len(d.cal) * max(1, s.tree.next(micro(s.value)<<s.m.shift, s.r.stop))
		s.proposePlan()
		s.setBound(max(s.value, s.m.roundDown(s.tree.bound())))
	}
	return used
}
