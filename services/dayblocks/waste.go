package dayblocks

// On full days what decides is whether the pieces that blocks leave free between them can still be filled: of 35 minutes with blocks of 20
// and 25 at least 10 are lost. So the search puts blocks where least is lost.

// wastedStep is what a step lost counts when a place is chosen, in 1/1024 of a point. Of 64 to 4,096 the largest gave the best plans of
// nine full days.
const wastedStep = 4096

// freeRun is a run of steps in which a trainer is free and some session could be held.
type freeRun struct{ trainer, from, to int }

// findUseful finds the steps of trainers, and then of areas, in which some session could be held.
func (m *model) findUseful() {
	m.useful = make([]bool, (len(m.hours)+len(m.open))*m.steps)
	mark := func(r, from, n int) {
		for k := range n {
			m.useful[r*m.steps+from+k] = true
		}
	}
	for i := range m.sessions() {
		it := &m.items[i]
		for _, p := range it.places {
			p.starts.each(func(k int) {
				mark(len(m.hours)+p.area, k, it.length)
				for _, who := range [][]Choice{it.handlers, it.seconds} {
					for _, h := range who {
						if m.begin[h.Trainer][it.class].has(k) {
							mark(h.Trainer, k, it.busy)
						}
					}
				}
			})
		}
	}
}

// lengthsFew is how many lengths there may be for waste to be counted: of many, almost any piece can be filled, but by one session only.
const lengthsFew = 4

// findWaste finds how many steps of a run of each length sessions cannot fill.
func (m *model) findWaste() {
	m.waste = make([]int, m.steps+1)
	if len(m.lengths) > lengthsFew {
		return
	}
	for n := range m.waste {
		m.waste[n] = n
		for _, length := range m.lengths {
			if length <= n {
				m.waste[n] = min(m.waste[n], m.waste[n-length])
			}
		}
	}
}

// wasted is how many steps of a trainer's time can hold no session any more if one is held. x.by.run remembers the run last looked at.
func (x *search) wasted(t, start, busy int) int {
	m, free, r := x.m, x.s.free[t], &x.by.run
	open := func(k int) bool { return k >= 0 && k < m.steps && free.has(k) && m.useful[t*m.steps+k] }
	if t != r.trainer || start < r.from || start >= r.to {
		*r = freeRun{t, start, start + busy}
		for open(r.from - 1) {
			r.from--
		}
		for open(r.to) {
			r.to++
		}
	}
	return m.waste[start-r.from] + m.waste[r.to-start-busy] - m.waste[r.to-r.from]
}
