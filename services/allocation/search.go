package allocation

import "slices"

// searcher improves a plan by large-neighbourhood search (Shaw 1998): take a few related stays out, put them and some waiting
// dogs back by regret insertion, and accept the outcome with the rule of simulated annealing (Ropke and Pisinger 2006). It
// works on some sites of a state; several searchers may share a state if no site or unit belongs to two of them. It allocates
// nothing once made.
type searcher struct {
	m     *model
	s     *state
	g     *guide
	rnd   *random
	sites []int32 // where it may work
	allow []bool  // the same by site; nil for everywhere
	units []bool  // units it may touch; nil for all
	own   []int32 // dogs of those units; nil for all
	// Dogs of the i-th site are own[siteOwn[i]:siteOwn[i+1]]; near and around are the dogs and sites worked on at the moment.
	siteOwn, near, around []int32
	at                    *siteUnits

	temperature float64
	charge      float64 // share of prices that quick moves count
	scale       float32 // size of difference that matters, in points
	blur        float32
	regret      float32 // how much it counts that a unit's next best option is worse

	taken   []int32 // units taken out by the move, with their old choices in old
	old     []choice
	pending []int32 // units to put back: taken ones first
	offers  []offer
	turn    int32    // units put in by the move so far: with soft levels, an offer of an earlier turn is looked up again
	picks   []choice // widest choices per pending unit
	widest  int
	mark    []int32 // by unit: number of the last move that touched it
	move    int32
	few     []int32 // scratch

	quickMove quickMove
	// Of makeWay: what the option lacks, who is gone at any rate, and who has to go.
	need    need
	gone    []choice
	ejected []int32
	// Trainers by site.
	firstTrainer, trainersOf []int32

	best      []choice // by dog; only those of own units are kept up to date
	bestValue int64
	changed   []int32 // dogs whose place may differ from the best plan; if it is full, any dog's may
}

// siteUnits lists, for every site, the units that have an option there.
type siteUnits struct {
	first []int32
	units []int32
}

func newSiteUnits(m *model) *siteUnits {
	x := &siteUnits{first: make([]int32, len(m.siteOf)+1)}
	each := func(f func(site, unit int32)) {
		for u := range m.units() {
			d := m.members(u)[0]
			last := int32(-1)
			for g := m.dogFirst[d]; g < m.dogFirst[d+1]; g++ { // groups are sorted by site
				if s := m.groups[g].site; s != last {
					f(s, int32(u))
					last = s
				}
			}
		}
	}
	each(func(site, _ int32) { x.first[site+1]++ })
	for i := range m.siteOf {
		x.first[i+1] += x.first[i]
	}
	x.units = make([]int32, x.first[len(m.siteOf)])
	fill := slices.Clone(x.first)
	each(func(site, unit int32) {
		x.units[fill[site]] = unit
		fill[site]++
	})
	return x
}

func (x *siteUnits) of(site int32) []int32 { return x.units[x.first[site]:x.first[site+1]] }

// trainersBySite lists trainers by site: those of site s are list[first[s]:first[s+1]].
func (m *model) trainersBySite() (first, list []int32) {
	first, list = make([]int32, len(m.siteOf)+1), make([]int32, len(m.trainerOf))
	for _, s := range m.trainerSite {
		first[s+1]++
	}
	for s := range m.siteOf {
		first[s+1] += first[s]
	}
	at := slices.Clone(first)
	for t, s := range m.trainerSite {
		list[at[s]] = int32(t)
		at[s]++
	}
	return first, list
}

// blurs are how much chance mixes into the choice of an option, as shares of an average stay's worth. Without any, the best
// option at the going prices would come back every time.
var blurs = [...]float32{0, 0.01, 0.03, 0.1}

const (
	maxTaken   = 14
	maxWaiting = 12
)

func newSearcher(s *state, g *guide, at *siteUnits, scale float64, rnd *random) *searcher {
	m := s.m
	x := &searcher{m: m, s: s, scale: float32(scale), g: g, rnd: rnd, at: at, mark: make([]int32, m.units())}
	for u := range m.units() {
		x.widest = max(x.widest, len(m.members(u)))
	}
	n := maxTaken + maxWaiting + 2
	x.taken, x.pending = make([]int32, 0, n), make([]int32, 0, n)
	x.old, x.picks = make([]choice, 0, n*x.widest), make([]choice, n*x.widest)
	x.offers = make([]offer, n)
	x.few = make([]int32, 0, 256)
	x.gone = make([]choice, 0, mostEjected+1)
	x.need = newNeed(m)
	x.ejected = make([]int32, 0, mostEjected)
	x.quickMove.touched, x.quickMove.before = make([]int32, 0, mostTouched), make([]choice, 0, mostTouched)
	x.firstTrainer, x.trainersOf = m.trainersBySite()
	x.best = make([]choice, len(m.dogOf))
	x.changed = make([]int32, 0, 2*len(m.dogOf)+64)
	x.sites = make([]int32, len(m.siteOf))
	for i := range x.sites {
		x.sites[i] = int32(i)
	}
	x.around = x.sites
	x.noteBest()
	return x
}

// typicalGain is the size of difference between plans that matters: an average stay's worth, but no more than several times the
// spread of values among one dog's options, for problems in which every placement is worth a fortune.
func (m *model) typicalGain() float64 {
	var worth, spread, dogs float64
	for d := range m.dogOf {
		var sum, n, top float64
		for g := m.dogFirst[d]; g < m.dogFirst[d+1]; g++ {
			grp := &m.groups[g]
			for r := range int16(grp.nRuns) {
				for t := range int16(grp.nTrainers) {
					v := float64(m.worth(choice{g, r, t}))
					sum, n, top = sum+v, n+1, max(top, v)
				}
			}
		}
		if n > 0 {
			worth, spread, dogs = worth+top, spread+top-sum/n, dogs+1
		}
	}
	if dogs == 0 {
		return 1
	}
	if spread == 0 {
		return max(1, worth/dogs)
	}
	return max(1, min(worth, 16*spread)/dogs)
}

// placed reports whether a unit is in the plan. Only own units may be asked about: others may be moving at this moment.
func (x *searcher) placed(u int32) bool { return x.s.at[x.m.unitDogs[x.m.unitFirst[u]]].group >= 0 }

func (x *searcher) mine(u int32) bool { return x.units == nil || x.units[u] }

// siteOfUnit is where a placed unit is.
func (x *searcher) siteOfUnit(u int32) int32 {
	return x.m.groups[x.s.at[x.m.unitDogs[x.m.unitFirst[u]]].group].site
}

// step makes one move and reports whether it was kept.
func (x *searcher) step() bool {
	x.move++
	x.taken, x.old, x.pending = x.taken[:0], x.old[:0], x.pending[:0]
	before := x.s.value
	site := x.around[x.rnd.below(len(x.around))]
	switch kind := x.rnd.below(10); {
	case kind < 4:
		x.takeTrainer(site)
	case kind < 6:
		x.takeRun(site)
	case kind < 8:
		x.takeDay(site)
	default:
		x.makeRoom(site)
	}
	if len(x.around) > 1 && x.rnd.below(4) == 0 {
		if other := x.around[x.rnd.below(len(x.around))]; other != site {
			x.takeDay(other)
			x.wait(other, maxWaiting/2)
		}
	}
	x.wait(site, maxWaiting)
	if len(x.pending) == 0 {
		return false
	}
	x.insert()
	gain := float64(x.s.value - before)
	if gain < 0 && -gain > x.temperature*x.rnd.exponential() {
		x.undo()
		return false
	}
	for _, u := range x.pending {
		for _, d := range x.m.members(int(u)) {
			x.note(d)
		}
	}
	x.compare()
	return true
}

// note says that a dog's place has changed since the best plan.
func (x *searcher) note(d int32) {
	if len(x.changed) < cap(x.changed) {
		x.changed = append(x.changed, d)
	}
}

// compare keeps the best plan up to date.
func (x *searcher) compare() {
	switch {
	case x.s.value <= x.bestValue:
	case len(x.changed) == cap(x.changed):
		x.noteBest()
	default:
		x.bestValue = x.s.value
		for _, d := range x.changed {
			x.best[d] = x.s.at[d]
		}
		x.changed = x.changed[:0]
	}
}

// noteBest copies the plan of the searcher's own dogs.
func (x *searcher) noteBest() {
	x.bestValue, x.changed = x.s.value, x.changed[:0]
	if x.own == nil {
		copy(x.best, x.s.at)
		return
	}
	for _, d := range x.own {
		x.best[d] = x.s.at[d]
	}
}

// wait adds waiting units with options at a site to those to be put in.
func (x *searcher) wait(site int32, most int) {
	list := x.at.of(site)
	if len(list) == 0 {
		return
	}
	from := x.rnd.below(len(list))
	for i := range list {
		u := list[(from+i)%len(list)]
		if most == 0 || len(x.pending) >= maxTaken+maxWaiting {
			return
		}
		if x.mark[u] != x.move && x.mine(u) && !x.placed(u) {
			x.mark[u] = x.move
			x.pending = append(x.pending, u)
			most--
		}
	}
}

// insert puts pending units in, the most pressing first, until none fits.
func (x *searcher) insert() {
	x.blur = x.scale * blurs[x.rnd.below(len(blurs))]
	noise := x.scale * 0.1 * float32(x.rnd.below(4))
	x.regret = 0.3 * float32(x.rnd.below(3))
	x.turn = 0
	for i := range x.pending {
		x.look(i)
	}
	for {
		best, key := -1, worst
		for i := range x.pending {
			o := &x.offers[i]
			if o.row < 0 {
				continue
			}
			k := o.score - x.regret*max(o.next, -x.scale) + noise*float32(x.rnd.unit())
			if k > key {
				best, key = i, k
			}
		}
		if best < 0 {
			return
		}
		if x.m.soft() && x.offers[best].turn != x.turn {
			x.look(best)
			continue
		}
		if x.offers[best].row = -1; !x.s.placeUnit(x.m.members(int(x.pending[best])), x.picks[best*x.widest:]) {
			continue
		}
		x.turn++
		for i := range x.pending {
			if x.offers[i].row >= 0 && !x.stillFits(i) {
				x.look(i)
			}
		}
	}
}

func (x *searcher) look(i int) {
	if x.placed(x.pending[i]) {
		x.offers[i].row = -1
		return
	}
	x.offers[i] = x.g.find(x.s, int(x.pending[i]), x.picks[i*x.widest:(i+1)*x.widest], x.allow, x.rnd, x.blur, x.regret > 0, anyWorth)
	x.offers[i].turn = x.turn
}

// stillFits reports whether a pending unit's choice is still free; a household is simply looked up again.
func (x *searcher) stillFits(i int) bool {
	return len(x.m.members(int(x.pending[i]))) == 1 && x.s.fits(x.picks[i*x.widest])
}

// undo takes the move back.
func (x *searcher) undo() {
	for _, u := range x.pending {
		if x.placed(u) {
			for _, d := range x.m.members(int(u)) {
				x.s.remove(d)
			}
		}
	}
	at := 0
	for _, u := range x.taken {
		for _, d := range x.m.members(int(u)) {
			x.s.place(d, x.old[at])
			at++
		}
	}
}
