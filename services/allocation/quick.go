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

	// How often a dog in the way may send others away in turn, and how many options are tried for that.
	chainDepth = 1
	chainTries = 3

	mostTouched = 1 + mostEjected + mostEjected*mostEjected // dogs of a move, with chains of depth 1
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

// quickMove is the quick move under way.
type quickMove struct {
	least       float64 // what it must gain
	gain        float64 // so far, soft levels aside: what a move may relieve of them does not count before it is made
	pulled      float64 // of it, what pull counts for
	touched     []int32 // dogs taken out of their place, with what they had in before
	before      []choice
	valueBefore int64
}

// quick tries one option for one dog.
func (x *searcher) quick(d int32) {
	next, found := x.propose(d)
	old := x.s.at[d]
	if !found || next == old {
		return
	}
	x.move++
	q := &x.quickMove
	q.least = -x.temperature * x.rnd.exponential()
	q.gain, q.pulled = x.points(next)-x.points(old), x.pull(next)-x.pull(old)
	if q.gain < q.least-float64(x.scale) || !x.makeWay(d, next) || q.gain+x.hope() < q.least {
		return
	}
	q.touched, q.before, q.valueBefore = q.touched[:0], q.before[:0], x.s.value
	x.touch(d)
	x.force(d, next, chainDepth)
	if x.lost(0) {
		x.takeBack()
		return
	}
	for _, b := range q.touched {
		x.note(b)
	}
	x.compare()
}

// soFar is what the move has gained.
func (x *searcher) soFar() float64 {
	if x.m.soft() {
		return float64(x.s.value-x.quickMove.valueBefore) + x.quickMove.pulled
	}
	return x.quickMove.gain
}

// lost reports whether a move under way cannot gain enough even with what the dogs still to be placed may have at best.
func (x *searcher) lost(rest float64) bool { return x.soFar()+rest < x.quickMove.least }

// lacks is what the next dog's option must count for, so that the move may still gain enough when the others left have the best they may.
func (x *searcher) lacks(others float64) least {
	return least{float32(x.quickMove.least - x.soFar() - others), float32(x.charge)}
}

// hope is the most that the dogs in the way may gain.
func (x *searcher) hope() (sum float64) {
	for _, b := range x.ejected {
		sum += float64(x.g.most[b]) - x.points(x.s.at[b])
	}
	return sum
}

// touch takes a dog out of its place. It is not sent away again in the same move.
func (x *searcher) touch(d int32) {
	q := &x.quickMove
	x.mark[x.m.unitOf[d]] = x.move
	q.touched, q.before = append(q.touched, d), append(q.before, x.s.at[d])
	if x.s.at[d].group >= 0 {
		x.s.remove(d)
	}
}

// takeBack undoes the move.
func (x *searcher) takeBack() {
	q := &x.quickMove
	for _, b := range q.touched {
		if x.s.at[b].group >= 0 {
			x.s.remove(b)
		}
	}
	for i, b := range q.touched {
		if q.before[i].group >= 0 {
			x.s.place(b, q.before[i])
		}
	}
}

// force gives a dog that is out of its place the option next, once the dogs of ejected are out of its way, and places those wherever they fit best. One
// that fits nowhere makes its own way, if depth is above 0: an ejection chain (Yagiura, Ibaraki and Glover 2004).
func (x *searcher) force(d int32, next choice, depth int) {
	q := &x.quickMove
	var out [mostEjected]int32
	n := copy(out[:], x.ejected)
	rest := 0.0 // what the dogs still to be placed may have at best
	for _, b := range out[:n] {
		q.gain -= x.points(x.s.at[b])
		q.pulled -= x.pull(x.s.at[b])
		rest += float64(x.g.most[b])
		x.touch(b)
	}
	x.s.place(d, next)
	for _, b := range out[:n] {
		others := rest - float64(x.g.most[b])
		if o := x.g.find(x.s, int(x.m.unitOf[b]), x.picks[:1], x.allow, x.rnd, 0, false, x.lacks(others)); o.row >= 0 {
			x.s.place(b, x.picks[0])
			x.credit(x.picks[0])
		} else if depth > 0 && !o.poor && !x.lost(rest) {
			x.forceWay(b, others, depth-1)
		}
		if rest = others; x.lost(rest) {
			return
		}
	}
}

// forceWay forces some option upon a dog, if one is found with which enough may be gained; rest is what others may have at best.
func (x *searcher) forceWay(b int32, rest float64, depth int) {
	for range chainTries {
		c, found := x.propose(b)
		if found && x.makeWay(b, c) && !x.lost(rest+x.points(c)+x.hope()) {
			x.credit(c)
			x.force(b, c, depth)
			return
		}
	}
}

// credit counts an option that a dog got.
func (x *searcher) credit(c choice) {
	x.quickMove.gain += x.points(c)
	x.quickMove.pulled += x.pull(c)
}

// points is what an option counts for.
func (x *searcher) points(c choice) float64 {
	if c.group < 0 {
		return 0
	}
	return float64(x.m.worth(c)) + x.pull(c)
}

// pull is what an option counts for beside its worth: a share of the price of what it uses counts against it.
func (x *searcher) pull(c choice) float64 {
	if x.charge == 0 || c.group < 0 {
		return 0
	}
	return x.charge * (float64(x.g.score(c)) - float64(x.m.worth(c)))
}
