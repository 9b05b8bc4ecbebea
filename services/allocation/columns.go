package allocation

import (
	"cmp"
	"math"
	"slices"
)

// column is a trainer's schedule: stays are indices into its calendar, runs those of their groups.
type column struct {
	trainer int32
	stays   []int32
	runs    []int16
	cost    float64 // in points, links of households included
	spans   []rowSpan
	idle    int  // programmes since it was taken last
	short   bool // made from another for a dive, see shorten
}

// share is how much of a stay the programme takes.
type share struct {
	trainer, stay int32
	run           int16
	weight        float64
}

// add puts a schedule into the pool; it returns -1 if it is empty or known.
func (w *master) add(t int32, stays []int32, runs []int16) int {
	c := column{trainer: t, stays: slices.Clone(stays), runs: slices.Clone(runs)}
	if len(stays) == 0 || w.known[c.key()] {
		return -1
	}
	w.known[c.key()] = true
	w.lay(&c)
	w.pool = append(w.pool, c)
	return len(w.pool) - 1
}

// lay writes what a schedule is worth and what it uses, given its stays.
func (w *master) lay(c *column) {
	m, t := w.s.m, c.trainer
	unit := math.Ldexp(1, -int(m.shift))
	c.spans = append(c.spans, rowSpan{t, t + 1, 1})
	for i, at := range c.stays {
		st := &w.s.cal[t].stays[at]
		g := &m.groups[st.group]
		c.cost += float64(m.worth(choice{st.group, c.runs[i], st.entry})) + float64(w.s.link[st.group])*unit
		dog := int32(w.first) + g.dog
		c.spans = append(c.spans, rowSpan{dog, dog + 1, 1})
		w.countStay(g, t, m.groupRuns(g)[c.runs[i]].line, &m.groupTrainers(g)[st.entry], func(cell int, n int32) {
			row := w.rowOf[cell]
			if row < 0 || n == 0 {
				return
			}
			if last := &c.spans[len(c.spans)-1]; last.to == row && last.use == float64(n) && row > dog+1 {
				last.to++
				return
			}
			c.spans = append(c.spans, rowSpan{row, row + 1, float64(n)})
		})
	}
	c.cost -= float64(w.overflow(c))
	c.spans = slices.Clip(c.spans)
}

// countStay lists the cells that a stay uses, those of a line in order of days.
func (w *master) countStay(g *group, t, runLine int32, tr *trainerChoice, count func(cell int, n int32)) {
	m := w.s.m
	a, e := int(g.arrive), int(g.leave)
	count(m.cell(m.intakeLine[g.site], a), 1)
	count(m.cell(m.handLine[g.site], e), 1)
	if line := m.easy.intake[g.site]; line >= 0 {
		count(m.cell(line, a), 1)
	}
	if line := m.easy.hand[g.site]; line >= 0 {
		count(m.cell(line, e), 1)
	}
	for k := a; k < int(g.vacate); k++ {
		count(m.cell(runLine, k), 1)
	}
	for _, line := range [...]int32{m.minuteLine[g.site], m.easy.minute[g.site]} {
		for k := a; line >= 0 && k < e; k++ {
			if m.works[int(t)*m.stride+k] {
				count(m.cell(line, k), tr.minutes)
			} else {
				count(m.cell(line, k), tr.cover)
			}
		}
	}
}

// overflow is what a schedule costs, in points, by running over its trainer's soft level.
func (w *master) overflow(c *column) (points int64) {
	m := w.s.m
	line := m.easy.load[c.trainer]
	if line < 0 {
		return 0
	}
	use := make([]int32, m.stride)
	for _, at := range c.stays {
		st := &w.s.cal[c.trainer].stays[at]
		g := &m.groups[st.group]
		for k := int(g.arrive); k < int(g.leave); k++ {
			if m.works[int(c.trainer)*m.stride+k] {
				use[k] += st.load
			}
		}
	}
	for k, n := range use {
		points += m.over(line) * int64(max(0, n-m.capacity[m.cell(line, k)]))
	}
	return points
}

// trim forgets columns that have not been of use for long, when there are many.
func (w *master) trim() {
	most := w.poolMost()
	if w.diving || len(w.pool) <= most {
		return
	}
	idle := make([]int, len(w.pool))
	for i := range w.pool {
		idle[i] = w.pool[i].idle
	}
	slices.Sort(idle)
	limit := idle[most*3/4]
	w.forget(func(c *column) bool { return c.idle > limit })
}

// poolMost is about how many columns are worth keeping.
func (w *master) poolMost() int { return 4*(w.first+len(w.s.m.dogOf)) + 1000 }

// crowded reports whether dives have left so many columns that the pool should be trimmed.
func (w *master) crowded() bool { return len(w.pool) > 3*w.poolMost() }

// forget drops columns from the pool.
func (w *master) forget(drop func(c *column) bool) {
	kept := w.pool[:0]
	where := map[int32]int32{}
	w.known = map[stateKey]bool{}
	for i := range w.pool {
		if c := w.pool[i]; !drop(&c) {
			where[int32(i)] = int32(len(kept))
			w.known[c.key()] = true
			kept = append(kept, c)
		}
	}
	clear(w.pool[len(kept):])
	w.pool = kept
	last := w.last[:0]
	for _, i := range w.last {
		if to, in := where[i]; in {
			last = append(last, to)
		}
	}
	w.last = last
}

// key names a schedule.
func (c *column) key() (key stateKey) {
	key.add(1<<62 | uint64(c.trainer))
	for i, st := range c.stays {
		key.add(uint64(st)<<16 | uint64(uint16(c.runs[i])))
	}
	return key
}

// allowed reports whether a column keeps the restrictions in force.
func (w *master) allowed(c *column) bool {
	s := w.s
	cal := s.cal[c.trainer]
	for i, at := range c.stays {
		g := &s.m.groups[cal.stays[at].group]
		if cal.banned != nil && cal.banned[at] || s.noRun[g.dog]>>(s.m.groupRuns(g)[c.runs[i]].line-s.m.runLine[g.site])&1 != 0 {
			return false
		}
	}
	return true
}

// only is a column with some of the stays of another, not laid out yet.
func (c *column) only(keep func(i int) bool) column {
	left := column{trainer: c.trainer}
	for i, at := range c.stays {
		if keep(i) {
			left.stays, left.runs = append(left.stays, at), append(left.runs, c.runs[i])
		}
	}
	return left
}

// shorten adds a column without the stays that the restrictions in force forbid; -1 if it is empty or known.
func (w *master) shorten(c *column) int32 {
	left := c.only(func(i int) bool {
		one := column{trainer: c.trainer, stays: c.stays[i : i+1], runs: c.runs[i : i+1]}
		return w.allowed(&one)
	})
	at := w.add(c.trainer, left.stays, left.runs)
	if at >= 0 {
		w.pool[at].short = true
	}
	return int32(at)
}

// each calls f for every schedule that the programme takes some of.
func (w *master) each(f func(c *column, x float64)) {
	for j, col := range w.prog.cols {
		if x := w.prog.take[j]; w.used[col] >= 0 && x > 1e-6 {
			f(&w.pool[w.used[col]], x)
		}
	}
}

// weigh writes how much the programme takes of every stay into the weights that plans are proposed from.
func (w *master) weigh() {
	for t := range w.s.weight {
		clear(w.s.weight[t])
	}
	for _, x := range w.shares() {
		w.s.weight[x.trainer][x.stay] = float32(x.weight)
		w.s.bestRun[w.s.cal[x.trainer].stays[x.stay].group] = x.run
	}
}

// shares lists the stays that the programme takes of, heaviest first. Runs are not told apart: the heavier one stands for both.
func (w *master) shares() []share {
	type key struct{ trainer, stay int32 }
	sum := map[key]share{}
	top := map[key]float64{}
	w.each(func(c *column, x float64) {
		for i, st := range c.stays {
			k := key{c.trainer, st}
			old := sum[k]
			if x > top[k] {
				top[k] = x
				old.run = c.runs[i]
			}
			sum[k] = share{c.trainer, st, old.run, old.weight + x}
		}
	})
	out := make([]share, 0, len(sum))
	for _, x := range sum {
		out = append(out, x)
	}
	slices.SortFunc(out, func(a, b share) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.trainer, b.trainer), cmp.Compare(a.stay, b.stay))
	})
	return out
}
