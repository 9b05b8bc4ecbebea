package allocation

import "slices"

// dive looks for a plan near what the programme takes: it settles the stays that are taken most, solves the programme again with a few
// rounds of pricing, and goes on until nothing is open or no plan worth more than value can come of it (as Sadykov and others
// 2019). Chance leaves some stays out, so that no two dives are alike. found is called with the weights of every step in force. Restrictions are added to those in force and not taken back.
func (w *master) dive(rounds int, value micro, found func(), stop func() bool) {
	s := w.s
	settled := make([]bool, len(s.m.dogOf))
	for !stop() {
		n, most := 0, max(1, len(s.m.dogOf)/diveSteps)
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
		price := slices.Clone(w.best)
		for i := range s.must {
			price[i] = max(price[i], s.floor(i))
		}
		w.begin(w.bound, price)
		w.limit, w.tolerance, w.mix = diveNodes, 1, 0.3
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
		if c.banned == nil {
			c.banned = make([]bool, len(c.stays))
		}
		clear(c.banned)
	}
	clear(s.noRun)
	clear(s.must)
}

// diveFromRoot dives without restrictions and leaves everything as it was.
func (w *master) diveFromRoot(rounds int, value micro, found func(), stop func() bool) {
	bound, price := w.bound, slices.Clone(w.best)
	mix, tolerance, limit, settled := w.mix, w.tolerance, w.limit, w.settled
	w.free()
	w.diving = true
	w.dive(rounds, value, found, stop)
	w.diving = false
	w.free()
	w.forget(func(c *column) bool { return c.short })
	w.begin(bound, price)
	w.mix, w.tolerance, w.limit, w.settled = mix, tolerance, limit, settled
}
