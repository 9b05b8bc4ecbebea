package allocation

// A quick move is a small one: one dog goes to another option, and dogs that are in its way, one or two, go wherever they fit best or
// back to waiting. It costs a fraction of a large move, so many can be tried, and most are refused before anything is touched: makeway.go
// works out who has to go.

const (
	quickMoves  = 24 // moves in a batch, which counts as one move of the search
	mostEjected = 2

	// Options drawn until one loses little, and how much little is, as a share of the typical gain.
	proposals  = 24
	littleLoss = 0.03
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

// propose draws an option for a dog: the more likely the higher it ranks, and the more it leaves over at the prices. Plans near the
// bound lose little beside the prices, a few points a dog, so options that lose many are hardly worth a try.
func (x *searcher) propose(d int32) (choice, bool) {
	m, g := x.m, x.g
	u := m.unitOf[d]
	from, n := g.rowAt[u], int(g.rowAt[u+1]-g.rowAt[u])
	if n == 0 || len(m.members(int(u))) > 1 {
		return noChoice, false
	}
	rows, top := g.rows[from:], g.rowTop[from]
	for range proposals {
		r := x.rnd.unit()
		at := m.dogFirst[d] + rows[min(int(float64(n)*r*r*r), n-1)]
		grp := &m.groups[at]
		if x.allow != nil && !x.allow[grp.site] {
			continue
		}
		c := choice{at, int16(x.rnd.below(int(grp.nRuns))), int16(x.rnd.below(int(grp.nTrainers)))}
		if float64(top-g.score(c)) <= littleLoss*float64(x.scale)*x.rnd.exponential() {
			return c, true
		}
	}
	return noChoice, false
}

// quick tries one option for one dog.
func (x *searcher) quick(d int32) {
	m := x.m
	next, found := x.propose(d)
	old := x.s.at[d]
	if !found || next == old {
		return
	}
	least := -x.temperature * x.rnd.exponential()
	gain := float64(m.worth(next)) + x.pull(next)
	if old.group >= 0 {
		gain -= float64(m.worth(old)) + x.pull(old)
	}
	if gain < least-float64(x.scale) || !x.makeWay(d, next) {
		return
	}
	for _, b := range x.ejected {
		gain += x.most(b) - float64(m.worth(x.s.at[b])) - x.pull(x.s.at[b])
	}
	if gain >= least || m.soft() {
		x.tryOut(d, next, gain, least)
	}
}

// tryOut makes a move, and takes it back if it gains less than least. most is what it can gain if the dogs in the way get their best option; it
// says early that a move is lost, but not with soft levels, which a move may relieve.
func (x *searcher) tryOut(d int32, next choice, most, least float64) {
	m, s := x.m, x.s
	old, before := s.at[d], s.value
	pull := x.pull(next) - x.pull(old)
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
	lost := false
	for _, b := range x.ejected {
		most -= x.most(b)
		if o := x.g.find(s, int(m.unitOf[b]), x.picks[:1], x.allow, x.rnd, 0, false); o.row >= 0 {
			s.place(b, x.picks[0])
			pull += x.pull(x.picks[0])
			most += float64(m.worth(x.picks[0])) + x.pull(x.picks[0])
		}
		if lost = most < least && !m.soft(); lost {
			break
		}
	}
	if !lost && float64(s.value-before)+pull >= least {
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

// most is the most a dog's stay can be worth.
func (x *searcher) most(d int32) float64 { return float64(x.g.most[d]) }

// pull is what an option counts for beside its worth: a share of the price of what it uses counts against it.
func (x *searcher) pull(c choice) float64 {
	if x.charge == 0 || c.group < 0 {
		return 0
	}
	return x.charge * (float64(x.g.score(c)) - float64(x.m.worth(c)))
}
