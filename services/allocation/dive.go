package allocation

import "slices"

// dive looks for a plan near what the programme takes: it settles the stays that are taken most, solves the programme again with a few
// rounds of pricing, and goes on until nothing is open or no plan worth more than value can come of it (as Sadykov and others
// 2019). Chance leaves some stays out, so that no two dives are alike. found is called with the weights of every step in force. Restrictions are added to those in force and not taken back.
func (w *master) dive(rounds int, value micro, found func(), stop func() bool) {
	s := w.s
	settled := slices.Clone(s.must)
	open := 0
	for _, x := range settled {
		if !x {
			open++
		}
	}
	for !stop() {
		n, most := 0, max(1, open/diveSteps)
		for _, x := range w.shares() {
			d := s.m.groups[s.cal[x.trainer].stays[x.stay].group].dog
			if settled[d] || x.weight < 0.95 && (n >= most || w.rnd.below(5) == 0) {
				continue
			}
			settled[d] = true
			w.settle(d, x)
			n++
		}
		if n == 0 {
			n = w.settleOne(settled)
		}
		if n == 0 {
			return
		}
		w.restrict()
		w.limit, w.tolerance, w.mix, w.enough, w.settled = diveNodes, 1, 0.3, 0, false
		if !w.generate(rounds, value, stop) {
			return
		}
		w.weigh()
		found()
		if w.bound <= value {
			return
		}
	}
}

// settleOne settles the heaviest stay that is not settled yet, and reports how many it did.
func (w *master) settleOne(settled []bool) int {
	s := w.s
	for _, x := range w.shares() {
		if d := s.m.groups[s.cal[x.trainer].stays[x.stay].group].dog; !settled[d] {
			settled[d] = true
			w.settle(d, x)
			return 1
		}
	}
	return 0
}

// diveSteps is about how many steps a dive takes.
const diveSteps = 16

// diveNodes limits pricing in a dive: it need not be exact.
const diveNodes = 1000

// settle restricts a dog to one stay, which it should have.
func (w *master) settle(d int32, x share) {
	s := w.s
	s.must[d] = true
	for t, c := range s.cal {
		for i := range c.stays {
			if s.m.groups[c.stays[i].group].dog == d && (int32(t) != x.trainer || int32(i) != x.stay) {
				c.banned[i] = true
			}
		}
	}
}

// free lifts all restrictions.
func (w *master) free() {
	s := w.s
	for _, c := range s.cal {
		c.lift()
	}
	clear(s.noRun)
	clear(s.must)
}

// away keeps the programme and what belongs to it while something else is tried.
type away struct {
	prog                   *program
	used, last             []int32
	known                  int // columns of the pool
	bound                  micro
	best                   []float64
	mix, tolerance, enough float64
	limit                  int
	settled                bool
}

// diveFromRoot dives without restrictions and leaves everything as it was.
func (w *master) diveFromRoot(rounds int, value micro, found func(), stop func() bool) {
	a := away{w.prog, w.used, slices.Clone(w.last), len(w.pool), w.bound, slices.Clone(w.best), w.mix, w.tolerance, w.enough, w.limit, w.settled}
	w.free()
	w.prog, w.used = w.prog.clone(), slices.Clone(w.used)
	w.diving = true
	w.dive(rounds, value, found, stop)
	w.diving = false
	w.free()
	w.comeBack(a)
}

func (w *master) comeBack(a away) {
	w.last, w.bound, w.best = a.last, a.bound, a.best
	if w.crowded() {
		w.forget(func(c *column) bool { return c.short })
		w.begin(a.bound, a.best)
	} else {
		w.prog, w.used = a.prog, a.used
		for i := a.known; i < len(w.pool); i++ {
			w.enter(int32(i))
		}
	}
	w.mix, w.tolerance, w.enough, w.limit, w.settled = a.mix, a.tolerance, a.enough, a.limit, a.settled
}

// restrict makes the programme keep the restrictions in force, and goes on from where it stands: columns against them cost so much that
// they leave, and what of them may stay comes in instead.
func (w *master) restrict() {
	for i := range w.s.must {
		w.best[i] = max(w.best[i], w.s.floor(i))
	}
	for j, i := range slices.Clone(w.used) {
		if i < 0 {
			continue
		}
		if w.prog.cost[j] = w.cost(&w.pool[i]); w.allowed(&w.pool[i]) {
			continue
		}
		w.prog.cost[j] = -1000 * w.bonus
		if w.prog.taken(int32(j)) > 0 {
			if at := w.shorten(&w.pool[i]); at >= 0 {
				w.enter(at)
			}
		}
	}
}
