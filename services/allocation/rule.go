package allocation

import (
	"cmp"
	"math"
	"slices"
)

// rule is one restriction. Its opposite (not) is the rule of the sibling.
type rule struct {
	kind ruleKind
	unit int32
	dog  int32
	key  int32 // trainer, row, or run class
	not  bool
}

type ruleKind int8

const (
	noRule    ruleKind = iota
	byTrainer          // the dog's trainer is key; not: is another
	byRow              // the unit's row of groups is at most key; not: is later
	byRun              // the dog's run class is key; not: another
	byComing           // the unit comes; not: stays away
)

// forbids reports whether a stay is against a rule. run is the class of its run at its site, or -1 for a stay of any run.
func (r rule) forbids(m *model, trainer int32, st *calendarStay, run int32) bool {
	g := &m.groups[st.group]
	switch r.kind {
	case byTrainer:
		return g.dog == r.dog && (trainer == r.key) == r.not
	case byRow:
		return m.unitOf[g.dog] == r.unit && (st.group-m.dogFirst[g.dog] <= r.key) == r.not
	case byRun:
		return run >= 0 && g.dog == r.dog && (run == r.key) == r.not
	case byComing:
		return r.not && m.unitOf[g.dog] == r.unit
	}
	return false
}

// tally holds how the node's schedules have treated one dog.
type tally struct {
	trainer, row, run map[int32]float64
	total             float64
}

// choose finds the rule to split a node by: of those that split what its schedules did most evenly, the one that lowers the programme's
// value most on both sides. gap is what the bound is above the best plan. ok is false if no choice is left.
func (b *branching) choose(gap micro, stop func() bool) (best rule, ok bool) {
	rules := b.evenest()
	if len(rules) == 0 {
		return rule{}, false
	}
	if len(rules) == 1 {
		return rules[0], true
	}
	base, most := b.w.value(), math.Ldexp(float64(gap), -int(b.s.m.shift))
	scores := make([]float64, len(rules))
	parallel(b.s.threads, len(rules), 1, func(_, from, to int) {
		for i := from; i < to; i++ {
			scores[i] = 1
			for _, not := range []bool{false, true} {
				r := rules[i]
				r.not = not
				scores[i] *= min(max(base-b.w.try(r, stop), 0.01), most)
			}
		}
	})
	top := 0
	for i, score := range scores {
		if score > scores[top] {
			top = i
		}
	}
	return rules[top], true
}

// rulesTried is how many rules are tried at a node.
const rulesTried = 16

// evenest lists the rules that split most evenly what the node's schedules did.
func (b *branching) evenest() []rule {
	s := b.s
	m := s.m
	tallies := make([]tally, len(m.dogOf))
	for d := range tallies {
		tallies[d] = tally{map[int32]float64{}, map[int32]float64{}, map[int32]float64{}, 0}
	}
	for t, c := range s.cal {
		for i := range c.stays {
			if c.banned[i] {
				continue
			}
			st := &c.stays[i]
			g := &m.groups[st.group]
			y := &tallies[g.dog]
			y.trainer[int32(t)] += 0
			y.row[st.group-m.dogFirst[g.dog]] += 0
			for _, r := range m.groupRuns(g) {
				if c := r.line - m.runLine[g.site]; s.noRun[g.dog]>>c&1 == 0 {
					y.run[c] += 0
				}
			}
		}
	}
	b.w.each(func(c *column, x float64) {
		for i, at := range c.stays {
			st := &s.cal[c.trainer].stays[at]
			g := &m.groups[st.group]
			y := &tallies[g.dog]
			y.trainer[c.trainer] += x
			y.row[st.group-m.dogFirst[g.dog]] += x
			y.run[m.groupRuns(g)[c.runs[i]].line-m.runLine[g.site]] += x
			y.total += x
		}
	})
	type ranked struct {
		rule
		rank float64
	}
	var all []ranked
	for d := range tallies {
		b.offers(int32(d), &tallies[d], func(r rule, w, rank float64) { all = append(all, ranked{r, min(w, 1-w) + rank}) })
	}
	slices.SortStableFunc(all, func(a, b ranked) int { return cmp.Compare(b.rank, a.rank) })
	var rules []rule
	for _, x := range all {
		if len(rules) == rulesTried || len(rules) > 0 && x.rank < 0.05 {
			break
		}
		rules = append(rules, x.rule)
	}
	return rules
}

// offers lists the rules that could split one dog's choices, with the weight that goes to the first side.
func (b *branching) offers(d int32, y *tally, offer func(r rule, w, rank float64)) {
	s := b.s
	u := s.m.unitOf[d]
	if b.away[u] || len(y.row) == 0 {
		return
	}
	if len(y.trainer) > 1 {
		for _, t := range sortedKeys(y.trainer) {
			offer(rule{kind: byTrainer, unit: u, dog: d, key: t}, y.trainer[t], 0.02)
		}
	}
	if rows := sortedKeys(y.row); len(rows) > 1 {
		below := 0.0
		for _, j := range rows[:len(rows)-1] {
			below += y.row[j]
			offer(rule{kind: byRow, unit: u, dog: d, key: j}, below, 0)
		}
	}
	if len(y.run) > 1 {
		for _, c := range sortedKeys(y.run) {
			offer(rule{kind: byRun, unit: u, dog: d, key: c}, y.run[c], -0.05)
		}
	}
	if !s.must[d] {
		offer(rule{kind: byComing, unit: u, dog: d}, y.total, 0.01)
	}
}

func sortedKeys(m map[int32]float64) []int32 {
	out := make([]int32, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// try is about what the programme would be worth with one more rule: without pricing, so no more than that. Columns against the rule become so
// dear that they leave, and of those that were taken there is what the rule leaves of them.
func (w *master) try(r rule, stop func() bool) float64 {
	s := w.s
	m := s.m
	p := w.prog.clone()
	comes := r.kind == byComing && !r.not
	for j, i := range w.used {
		if i < 0 {
			continue
		}
		c := &w.pool[i]
		left := c.only(func(n int) bool {
			st := &s.cal[c.trainer].stays[c.stays[n]]
			g := &m.groups[st.group]
			if comes && m.unitOf[g.dog] == r.unit {
				p.cost[j] += w.bonus
			}
			return !r.forbids(m, c.trainer, st, m.groupRuns(g)[c.runs[n]].line-m.runLine[g.site])
		})
		if len(left.stays) == len(c.stays) {
			continue
		}
		p.cost[j] = -1000 * w.bonus
		if p.taken(int32(j)) > 0 && len(left.stays) > 0 {
			w.lay(&left)
			p.add(w.cost(&left), left.spans)
		}
	}
	p.solve(triedPivots, stop)
	sum := p.value()
	for d, must := range s.must {
		if more := comes && m.unitOf[d] == r.unit; must || more {
			sum -= w.bonus * p.covered(int32(w.first+d))
		}
	}
	return sum
}

// triedPivots limits what is spent on trying a rule.
const triedPivots = 300
