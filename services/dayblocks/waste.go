package dayblocks

import (
	"math/bits"
	"slices"
)

// On full days what decides is whether the pieces that blocks leave free between them can still be filled: of 35 minutes with blocks of 20
// and 25 at least 10 are lost. So the search puts blocks where least is lost.

// wastedStep is what a step lost counts when a place is chosen, in 1/1024 of a point. Of 64 to 4,096 the largest gave the best plans of
// nine full days.
const wastedStep = 4096

// oddPer is how little odd time counts against leaving a session out, see spare.
const oddPer = 50

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
	for t := range m.hours {
		set := newSteps(m.steps)
		for k := range m.steps {
			set.put(k, k+1, m.useful[t*m.steps+k])
		}
		m.fillable = append(m.fillable, set)
	}
}

// lengthsFew is how many lengths there may be for waste to be counted: of many, almost any piece can be filled, but by one session only.
const lengthsFew = 4

// findWaste finds how many steps of a run of each length sessions cannot fill.
func (m *model) findWaste() {
	m.waste, m.odd = make([]int, m.steps+1), make([]float64, m.steps+1)
	if len(m.lengths) == 0 || len(m.lengths) > lengthsFew {
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
	longest := slices.Max(m.lengths)
	for n := range m.odd {
		few := float64(min(n, longest))
		m.odd[n] = float64(m.d.Policy.Drop) / oddPer * (float64(m.waste[n]) - few*few/float64(longest))
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

// lookWhetherFull notes whether the best plan leaves out what could be held: else it is not the time of trainers that is short, and how what is left of it
// lies says nothing about a plan.
func (x *search) lookWhetherFull() {
	x.full = false
	for i, could := range x.could {
		x.full = x.full || could && x.bestAt[i].start < 0
	}
}

// oddTime is what the free time counts now.
func (x *search) oddTime() float64 {
	if !x.full {
		return 0
	}
	return x.s.spare()
}

// spare is what the search counts for how free time lies, beside what a plan costs: against time that no session can fill, and for pieces that are
// almost, or just, long enough for one. Plans that hold the same sessions differ in nothing else that says which is nearer to holding one more.
func (s *state) spare() (sum float64) {
	for t := range s.free {
		k := &s.odd[t]
		if !k.good {
			k.value, k.good = s.m.countOdd(s.free[t], s.m.fillable[t]), true
		}
		sum += k.value
	}
	return sum
}

// countOdd adds up what the runs of steps that are in both sets count.
func (m *model) countOdd(free, fillable steps) (sum float64) {
	run := 0
	for i := range free {
		w := free[i] & fillable[i]
		for left := 64; left > 0; {
			gap := min(left, bits.TrailingZeros64(w))
			if gap > 0 {
				sum += m.odd[run]
				run = 0
			}
			w >>= gap
			left -= gap
			ones := min(left, bits.TrailingZeros64(^w))
			w >>= ones
			left -= ones
			run += ones
		}
	}
	return sum + m.odd[run]
}
