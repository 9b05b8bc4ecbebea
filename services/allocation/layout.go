package allocation

import (
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

// layout says which row stands for what: first a row for each trainer, then one for each price of the schedule bound.
type layout struct {
	s     *schedules
	first int     // rows before those of s.price: the trainers'
	rowOf []int32 // by cell: its row, or -1
}

func newLayout(s *schedules) layout {
	l := layout{s: s, first: len(s.m.trainerOf), rowOf: make([]int32, len(s.m.capacity))}
	for i := range l.rowOf {
		l.rowOf[i] = -1
	}
	for j, i := range s.cells {
		l.rowOf[i] = int32(l.first + len(s.m.dogOf) + j)
	}
	return l
}

// right is what there is of each priced row.
func (l *layout) right() []float64 {
	right := make([]float64, len(l.s.price))
	for i := range right {
		right[i] = 1
		if j := i - len(l.s.m.dogOf); j >= 0 {
			right[i] = float64(l.s.m.capacity[l.s.cells[j]])
		}
	}
	return right
}

// chosen is the schedule that pricing found last for a trainer, not laid out yet.
func (l *layout) chosen(t int) column {
	return l.column(t, l.s.cal[t].last)
}

// column is a trainer's schedule of some stays, each with the run that is best at the current prices.
func (l *layout) column(t int, stays []int32) column {
	c := column{trainer: int32(t), stays: slices.Clone(stays), runs: make([]int16, len(stays))}
	for i, st := range stays {
		c.runs[i] = l.s.bestRun[l.s.cal[t].stays[st].group]
	}
	return c
}

// lay writes what a schedule is worth and what it uses, given its stays.
func (l *layout) lay(c *column) {
	m, t := l.s.m, c.trainer
	unit := math.Ldexp(1, -int(m.shift))
	c.spans = append(c.spans, rowSpan{t, t + 1, 1})
	for i, at := range c.stays {
		st := &l.s.cal[t].stays[at]
		g := &m.groups[st.group]
		c.cost += float64(m.worth(choice{st.group, c.runs[i], st.entry})) + float64(l.s.link[st.group])*unit
		dog := int32(l.first) + g.dog
		c.spans = append(c.spans, rowSpan{dog, dog + 1, 1})
		l.countStay(g, t, m.groupRuns(g)[c.runs[i]].line, &m.groupTrainers(g)[st.entry], func(cell int, n int32) {
			row := l.rowOf[cell]
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
	c.cost -= float64(l.overflow(c))
	c.spans = slices.Clip(c.spans)
}

// countStay lists the cells that a stay uses, those of a line in order of days.
func (l *layout) countStay(g *group, t, runLine int32, tr *trainerChoice, count func(cell int, n int32)) {
	m := l.s.m
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
func (l *layout) overflow(c *column) (points int64) {
	m := l.s.m
	line := m.easy.load[c.trainer]
	if line < 0 {
		return 0
	}
	use := make([]int32, m.stride)
	for _, at := range c.stays {
		st := &l.s.cal[c.trainer].stays[at]
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

// same reports whether two schedules of a trainer are the same.
func (c *column) same(o *column) bool {
	return slices.Equal(c.stays, o.stays) && slices.Equal(c.runs, o.runs)
}

// key names a schedule.
func (c *column) key() (key stateKey) {
	key.add(1<<62 | uint64(c.trainer))
	for i, st := range c.stays {
		key.add(uint64(st)<<16 | uint64(uint16(c.runs[i])))
	}
	return key
}
