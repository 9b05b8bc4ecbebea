package allocation

// take removes a placed unit, to be put back.
func (x *searcher) take(u int32) {
	if len(x.taken) >= maxTaken || x.mark[u] == x.move || !x.mine(u) {
		return
	}
	x.mark[u] = x.move
	x.taken = append(x.taken, u)
	x.pending = append(x.pending, u)
	for _, d := range x.m.members(int(u)) {
		x.old = append(x.old, x.s.at[d])
		x.s.remove(d)
	}
}

// takeSome takes up to n of the candidates in few, at random.
func (x *searcher) takeSome(n int) {
	for n > 0 && len(x.few) > 0 {
		i := x.rnd.below(len(x.few))
		x.take(x.few[i])
		x.few[i] = x.few[len(x.few)-1]
		x.few = x.few[:len(x.few)-1]
		n--
	}
}

// collect fills few with the placed units of a site for which keep holds for one of their dogs.
func (x *searcher) collect(site int32, keep func(*group, choice) bool) {
	x.few = x.few[:0]
	m := x.m
	for _, u := range x.at.of(site) {
		if !x.mine(u) || !x.placed(u) || x.siteOfUnit(u) != site || len(x.few) == cap(x.few) {
			continue
		}
		for _, d := range m.members(int(u)) {
			c := x.s.at[d]
			if keep(&m.groups[c.group], c) {
				x.few = append(x.few, u)
				break
			}
		}
	}
}

// takeTrainer takes stays of one trainer, now and then of two.
func (x *searcher) takeTrainer(site int32) {
	m := x.m
	u := x.randomPlaced(site)
	if u < 0 {
		return
	}
	c := x.s.at[m.unitDogs[m.unitFirst[u]]]
	g := &m.groups[c.group]
	trainer := m.trainers[g.trainerFrom+int32(c.trainer)].trainer
	x.collect(site, func(g *group, c choice) bool {
		return m.trainers[g.trainerFrom+int32(c.trainer)].trainer == trainer
	})
	x.takeSome(2 + x.rnd.below(7))
	if x.rnd.below(3) == 0 {
		x.takeDay(site)
	}
}

// takeRun takes stays that share a run class on one night.
func (x *searcher) takeRun(site int32) {
	m := x.m
	u := x.randomPlaced(site)
	if u < 0 {
		return
	}
	c := x.s.at[m.unitDogs[m.unitFirst[u]]]
	g := &m.groups[c.group]
	line := m.runs[g.runFrom+int32(c.run)].line
	night := g.arrive + int16(x.rnd.below(int(g.vacate-g.arrive)))
	x.collect(site, func(g *group, c choice) bool {
		return m.runs[g.runFrom+int32(c.run)].line == line && g.arrive <= night && night < g.vacate
	})
	x.takeSome(2 + x.rnd.below(6))
}

// takeDay takes stays that arrive within a few days of each other.
func (x *searcher) takeDay(site int32) {
	u := x.randomPlaced(site)
	if u < 0 {
		return
	}
	m := x.m
	day := m.groups[x.s.at[m.unitDogs[m.unitFirst[u]]].group].arrive
	width := int16(1 + x.rnd.below(5))
	x.collect(site, func(g *group, c choice) bool { return g.arrive >= day-width && g.arrive <= day+width })
	x.takeSome(2 + x.rnd.below(5))
}

// randomPlaced picks a placed unit of a site, or -1.
func (x *searcher) randomPlaced(site int32) int32 {
	list := x.at.of(site)
	if len(list) == 0 {
		return -1
	}
	from := x.rnd.below(len(list))
	for i := range list {
		u := list[(from+i)%len(list)]
		if x.mine(u) && x.placed(u) && x.siteOfUnit(u) == site {
			return u
		}
	}
	return -1
}

// makeRoom picks a waiting unit and one of its better options, and takes out what is in its way until it fits.
func (x *searcher) makeRoom(site int32) {
	m := x.m
	list := x.at.of(site)
	if len(list) == 0 {
		return
	}
	from := x.rnd.below(len(list))
	u := int32(-1)
	for i := range list {
		if v := list[(from+i)%len(list)]; x.mine(v) && !x.placed(v) {
			u = v
			break
		}
	}
	if u < 0 {
		x.takeTrainer(site)
		return
	}
	rows := x.g.rows[x.g.rowAt[u]:x.g.rowAt[u+1]]
	d := m.unitDogs[m.unitFirst[u]]
	pick := min(int(float64(len(rows))*x.rnd.unit()*x.rnd.unit()), len(rows)-1)
	g := &m.groups[m.dogFirst[d]+rows[pick]]
	if x.allow != nil && !x.allow[g.site] {
		return
	}
	tr := m.groupTrainers(g)[x.rnd.below(int(g.nTrainers))]
	run := m.groupRuns(g)[x.rnd.below(int(g.nRuns))]
	x.mark[u] = x.move
	x.pending = append(x.pending, u)
	x.collect(g.site, func(h *group, c choice) bool {
		return h.arrive < g.vacate && g.arrive < h.vacate &&
			(m.trainers[h.trainerFrom+int32(c.trainer)].trainer == tr.trainer || m.runs[h.runFrom+int32(c.run)].line == run.line) ||
			h.arrive == g.arrive || h.leave == g.leave
	})
	for len(x.few) > 0 && len(x.taken) < maxTaken/2 {
		if x.s.open(g) && x.s.runFree(g, &run) && x.s.trainerFree(g, &tr) {
			break
		}
		x.takeSome(1)
	}
}
