package allocation

import (
	"cmp"
	"slices"
)

// calendar is what pricing keeps of a trainer between calls. Working days are numbered from 0.
type calendar struct {
	trainer int32
	stays   []calendarStay // by arrival
	dogs    int            // different dogs; stays name them 0 to dogs-1
	day     []int16        // by day: number of working days before it
	minutes []int32        // by working day: minutes there are, in units of grain
	inHand  []int32        // by working day: dogs in hand
	grain   int32          // greatest common divisor of the stays' minutes, at least 1

	// ends are the ends of windows that cover the working days: no stay that begins in a window ends before the window does.
	ends []int16

	// The tables of what days can earn count minutes in steps of coarse units, rounded in favour of the bound, and dogs if
	// there are few enough.
	coarse int32
	sizes  []int32 // different sizes, in steps
	width  int32   // steps, plus one
	rows   int32   // dogs, plus one; 1 if they are not counted
	price  []micro // price of a stay of each size on each working day: working day*len(sizes)+size

	banned []bool    // by stay: must not be chosen; nil for none
	gone   []bool    // by stay: dropped for good, see prune.go; nil for none. They are always banned
	effort int       // nodes of the last search
	last   []int32   // best schedule of the last call, as indices into stays
	passed [][]int32 // those that were the best for a while before it, if they are noted
}

// lift ends all bans but those of stays that are gone.
func (c *calendar) lift() {
	if c.banned == nil {
		c.banned = make([]bool, len(c.stays))
	}
	clear(c.banned)
	copy(c.banned, c.gone)
}

type calendarStay struct {
	group          int32
	entry          int16 // index into the group's trainers
	from, to       int16 // working days
	arrive         int16
	dog            int32 // own number
	size           int32 // minutes, in units of grain
	class          int32 // index into sizes
	penalty, cover int32
	load           int32
	until          int16 // to, as it was before cutTail
}

// tableMost is the most entries a day's table may have; above countMost dogs are not counted in it.
const (
	tableMost = 1 << 11
	countMost = 24
)

// newCalendars lists every trainer's stays.
func newCalendars(m *model) []*calendar {
	out := make([]*calendar, len(m.trainerOf))
	count := make([]int, len(m.trainerOf))
	for i := range m.groups {
		for _, tr := range m.groupTrainers(&m.groups[i]) {
			count[tr.trainer]++
		}
	}
	for t := range out {
		c := &calendar{trainer: int32(t), day: make([]int16, m.stride), stays: make([]calendarStay, 0, count[t])}
		n := int16(0)
		for k := range m.stride {
			c.day[k] = n
			if m.works[t*m.stride+k] {
				n++
			}
		}
		out[t] = c
	}
	for i := range m.groups {
		g := &m.groups[i]
		for e, tr := range m.groupTrainers(g) {
			c := out[tr.trainer]
			c.stays = append(c.stays, calendarStay{group: int32(i), entry: int16(e), from: c.day[g.arrive], to: c.day[g.leave],
				arrive: g.arrive, dog: g.dog, size: tr.minutes, penalty: tr.penalty, cover: tr.cover, load: tr.load,
				until: c.day[g.leave]})
		}
	}
	for _, c := range out {
		c.finish(m)
	}
	return out
}

func (c *calendar) finish(m *model) {
	number := map[int32]int32{}
	for i := range c.stays {
		s := &c.stays[i]
		own, in := number[s.dog]
		if !in {
			own = int32(len(number))
			number[s.dog] = own
		}
		s.dog = own
		c.grain = gcd(c.grain, s.size)
	}
	c.dogs = len(number)
	c.grain = max(c.grain, 1)
	for i := range c.stays {
		c.stays[i].size /= c.grain
	}
	slices.SortStableFunc(c.stays, func(a, b calendarStay) int { return cmp.Compare(a.arrive, b.arrive) })
	t := int(c.trainer)
	for k := range m.nights {
		if m.works[t*m.stride+k] {
			c.minutes = append(c.minutes, m.capacity[m.cell(m.workLine[t], k)]/c.grain)
			c.inHand = append(c.inHand, min(m.capacity[m.cell(m.dogLine[t], k)], int32(c.dogs)))
		}
	}
	c.cutTail()
	c.findWindows()
	c.layOutTable()
}

func gcd(a, b int32) int32 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// cutTail drops the working days after the last arrival if none of them is tighter than the day of that arrival: then whoever is
// there fits on all of them.
func (c *calendar) cutTail() {
	last := int16(-1)
	for i := range c.stays {
		if s := &c.stays[i]; s.from < s.to {
			last = max(last, s.from)
		}
	}
	for k := int(last) + 1; k < len(c.minutes) && last >= 0; k++ {
		if c.minutes[k] < c.minutes[last] || c.inHand[k] < c.inHand[last] {
			last = int16(len(c.minutes)) - 1
		}
	}
	c.minutes, c.inHand = c.minutes[:last+1], c.inHand[:last+1]
	for i := range c.stays {
		s := &c.stays[i]
		s.to = min(s.to, last+1)
		if s.from >= s.to { // no working day in it
			s.from = max(0, min(s.from, last))
			s.to, s.until = s.from, s.from
		}
	}
}

func (c *calendar) findWindows() {
	for start, days := int16(0), int16(len(c.minutes)); start < days; start = c.ends[len(c.ends)-1] {
		end := days
		for i := range c.stays {
			if s := &c.stays[i]; s.from >= start && s.from < s.to {
				end = min(end, s.to)
			}
		}
		c.ends = append(c.ends, end)
	}
}

func (c *calendar) layOutTable() {
	top, most := int32(0), int32(0)
	for k := range c.minutes {
		most, top = max(most, c.inHand[k]), max(top, c.minutes[k])
	}
	c.rows = most + 1
	if most > countMost {
		c.rows = 1
	}
	c.coarse = 1
	if entries := (int64(top) + 1) * int64(c.rows); entries > tableMost {
		c.coarse = int32(entries/tableMost + 1)
	}
	c.width = top/c.coarse + 1
	for i := range c.stays {
		if size := c.stays[i].size / c.coarse; !slices.Contains(c.sizes, size) {
			c.sizes = append(c.sizes, size)
		}
	}
	slices.Sort(c.sizes)
	for i := range c.stays {
		at, _ := slices.BinarySearch(c.sizes, c.stays[i].size/c.coarse)
		c.stays[i].class = int32(at)
	}
	c.price = make([]micro, len(c.minutes)*len(c.sizes))
}

// linear sets a working day's prices of stays from prices of a minute and of a dog in hand.
func (c *calendar) linear(k int, minute, dog micro) {
	for i, size := range c.sizes {
		c.price[k*len(c.sizes)+i] = minute*micro(size)*micro(c.coarse)*micro(c.grain) + dog
	}
}
