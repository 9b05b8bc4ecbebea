package allocation

import (
	"cmp"
	"slices"
)

// exact is a depth-first branch and bound for small parts. Its bound is the price bound at fixed prices: capacity, and soft levels, at
// their price plus what every unit can leave over. Each decision loses something against that bound, and a branch ends when the losses have
// used up the gap. Beyond its own loss an option loses what it costs to run over soft levels, less their price; since that grows with what
// is there already, what options lose one by one is no more than what they lose together. The unit that can least afford to lose its best options goes first.
type exact struct {
	m     *model
	t     *tariff
	s     *state
	bound micro // price bound
	steps []exactStep
	nodes int
	limit int
	stop  func() bool
	best  []choice
	value int64
	ended bool // the limit or stop ended the search
}

// exactStep is the decision about one dog; the first dog of a household also decides on the row for the others.
type exactStep struct {
	dog     int32
	unit    int32
	first   bool
	options []exactOption // every option of the dog, least loss first
	away    micro         // loss if the whole unit stays away
}

type exactOption struct {
	choice
	row  int32
	loss micro
}

// exactMost is how many options a part may have for the search to be tried.
const exactMost = 20_000

// solveExact looks for a plan worth more than value, starting from the best plan known, and reports whether the search was
// completed: then the better of the two is optimal.
func solveExact(m *model, t *tariff, bound micro, at []choice, value int64, limit int, stop func() bool) (best []choice, worth int64, done bool) {
	x := &exact{m: m, t: t, s: newState(m), bound: bound, limit: limit, stop: stop, best: slices.Clone(at), value: value}
	if !x.prepare() {
		return at, value, false
	}
	x.branch(0, 0, -1)
	return x.best, x.value, !x.ended
}

// prepare lists the steps; it reports false if there is too much to list.
func (x *exact) prepare() bool {
	m := x.m
	type ranked struct {
		unit int32
		key  micro
	}
	var order []ranked
	options := 0
	for u := range m.units() {
		top, _ := x.t.surplus(u)
		if m.dogGroups(int(m.members(u)[0])) > 0 {
			order = append(order, ranked{int32(u), top})
		}
		for _, d := range m.members(u) {
			for g := m.dogFirst[d]; g < m.dogFirst[d+1]; g++ {
				options += int(m.groups[g].nRuns) * int(m.groups[g].nTrainers)
			}
		}
	}
	if options > exactMost {
		return false
	}
	slices.SortStableFunc(order, func(a, b ranked) int { return cmp.Compare(b.key, a.key) })
	for _, r := range order {
		for i, d := range m.members(int(r.unit)) {
			x.steps = append(x.steps, x.step(r.unit, d, i == 0, r.key))
		}
	}
	return true
}

// step lists a dog's options with their losses. The first dog of a household carries the loss of its row, counting the others
// at their best; each other dog carries what its own choice loses against that.
func (x *exact) step(u, d int32, first bool, surplus micro) exactStep {
	m := x.m
	st := exactStep{dog: d, unit: u, first: first, away: surplus}
	for j := range int32(m.dogGroups(int(d))) {
		at := m.dogFirst[d] + j
		top, _ := x.t.best(at)
		var base micro
		if first {
			for _, other := range m.members(int(u)) {
				sum, _ := x.t.best(m.dogFirst[other] + j)
				base += sum
			}
			base = surplus - base
		}
		g := &m.groups[at]
		start := x.t.base(g)
		for r, run := range m.groupRuns(g) {
			for t, tr := range m.groupTrainers(g) {
				left := start - x.t.run(g, &run) - x.t.trainer(g, &tr)
				st.options = append(st.options, exactOption{choice{at, int16(r), int16(t)}, j, base + top - left})
			}
		}
	}
	slices.SortStableFunc(st.options, func(a, b exactOption) int { return cmp.Compare(a.loss, b.loss) })
	return st
}

// open reports whether plans that have lost this much can still beat the best one.
func (x *exact) open(lost micro) bool { return x.m.roundDown(x.bound-lost) > x.value }

// branch decides step i and all after it, having lost so much; row is the household's row, or -1.
func (x *exact) branch(i int, lost micro, row int32) {
	if x.nodes++; x.nodes >= x.limit || x.nodes%256 == 0 && x.stop() {
		x.ended = true
		return
	}
	if i == len(x.steps) {
		if x.s.value > x.value {
			x.value = x.s.value
			copy(x.best, x.s.at)
		}
		return
	}
	if !x.open(lost + x.forced(i)) {
		return
	}
	st := &x.steps[i]
	last := i+1 == len(x.steps) || x.steps[i+1].first
	for o := range st.options {
		op := &st.options[o]
		if !x.open(lost+op.loss) || x.ended {
			break
		}
		if !st.first && op.row != row || !x.s.fits(op.choice) {
			continue
		}
		loss := op.loss + x.strain(op.choice)
		if !x.open(lost + loss) {
			continue
		}
		next := op.row
		if last {
			next = -1
		}
		x.s.place(st.dog, op.choice)
		x.branch(i+1, lost+loss, next)
		x.s.remove(st.dog)
	}
	if st.first && x.open(lost+st.away) && !x.ended { // the whole unit stays away
		j := i + 1
		for j < len(x.steps) && !x.steps[j].first {
			j++
		}
		x.branch(j, lost+st.away, -1)
	}
}

// forced is what the units still to come must lose because of the plan so far: for each, the least loss among its options that
// still fit, or of staying away. A household is counted by its first dog.
func (x *exact) forced(i int) (sum micro) {
	for ; i < len(x.steps); i++ {
		st := &x.steps[i]
		if !st.first {
			continue
		}
		away := st.away
		for o := range st.options {
			op := &st.options[o]
			if op.loss >= away {
				break
			}
			if x.s.fits(op.choice) {
				away = min(away, op.loss+x.strain(op.choice))
				if !x.m.soft() {
					break
				}
			}
		}
		sum += away
	}
	return sum
}
