package allocation

// A quick move is a small one: one dog goes to another option, and dogs that are in its way, one or two, go wherever they fit best or
// back to waiting. It costs a fraction of a large move, so many can be tried, and most are refused before anything is touched.

const (
	quickMoves  = 24 // moves in a batch, which counts as one move of the search
	mostEjected = 2
)

// quickBatch makes some quick moves.
func (x *searcher) quickBatch() {
	n := len(x.near)
	if x.own == nil {
		n = len(x.m.dogOf)
	}
	if n == 0 {
		return
	}
	for range quickMoves {
		d := int32(x.rnd.below(n))
		if x.own != nil {
			d = x.near[d]
		}
		x.quick(d)
	}
}

// quick tries one option for one dog.
func (x *searcher) quick(d int32) {
	m, s := x.m, x.s
	u := m.unitOf[d]
	rows := x.g.rows[x.g.rowAt[u]:x.g.rowAt[u+1]]
	if len(rows) == 0 || len(m.members(int(u))) > 1 {
		return
	}
	r := x.rnd.unit()
	at := m.dogFirst[d] + rows[min(int(float64(len(rows))*r*r*r), len(rows)-1)]
	g := &m.groups[at]
	if x.allow != nil && !x.allow[g.site] {
		return
	}
	next := choice{at, int16(x.rnd.below(int(g.nRuns))), int16(x.rnd.below(int(g.nTrainers)))}
	old := s.at[d]
	if next == old {
		return
	}
	least := -x.temperature * x.rnd.exponential()
	gain := float64(m.worth(next)) + x.pull(next)
	if old.group >= 0 {
		gain -= float64(m.worth(old)) + x.pull(old)
	}
	if gain < least-float64(x.scale) || !x.clear(d, next) {
		return
	}
	// What the move can gain at most: dogs in the way may yet have their best option.
	for _, b := range x.ejected {
		gain += x.mostOf(b) - float64(m.worth(s.at[b])) - x.pull(s.at[b])
	}
	hopeless := func() bool { return gain < least && !m.soft() } // levels may be relieved
	if hopeless() {
		return
	}
	before, pull := s.value, x.pull(next)-x.pull(old)
	if old.group >= 0 {
		s.remove(d)
	}
	x.ejectedAt = x.ejectedAt[:0]
	for _, b := range x.ejected {
		x.ejectedAt = append(x.ejectedAt, s.at[b])
		pull -= x.pull(s.at[b])
		s.remove(b)
	}
	s.place(d, next)
	for _, b := range x.ejected {
		gain -= x.mostOf(b)
		if o := x.g.find(s, int(m.unitOf[b]), x.picks[:1], x.allow, x.rnd, 0, false); o.row >= 0 {
			s.place(b, x.picks[0])
			pull += x.pull(x.picks[0])
			gain += float64(m.worth(x.picks[0])) + x.pull(x.picks[0])
		}
		if hopeless() {
			break
		}
	}
	if !hopeless() && float64(s.value-before)+pull >= least {
		x.note(d)
		for _, b := range x.ejected {
			x.note(b)
		}
		x.compare()
		return
	}
	for _, b := range x.ejected {
		if s.at[b].group >= 0 {
			s.remove(b)
		}
	}
	s.remove(d)
	for i, b := range x.ejected {
		s.place(b, x.ejectedAt[i])
	}
	if old.group >= 0 {
		s.place(d, old)
	}
}

// mostOf is the most a dog's stay can be worth.
func (x *searcher) mostOf(d int32) float64 { return float64(x.g.most[d]) }

// pull is what an option counts for beside its worth: a share of the price of what it uses counts against it.
func (x *searcher) pull(c choice) float64 {
	if x.charge == 0 || c.group < 0 {
		return 0
	}
	g := x.g
	left := float64(g.base[c.group] - g.run[int(g.runAt[c.group])+int(c.run)] - g.trainer[int(g.trAt[c.group])+int(c.trainer)])
	return x.charge * (left - float64(x.m.worth(c)))
}
