package slots

import (
	"cmp"
	"slices"
)

// A cell is a moment of a resource (a trainer, an area, a gate's beginnings, ends or passages, a day's places) with the number of visits that it
// can still take. A slot takes one unit of some stretches of cells. Two slots can be in each other's way only at a moment at which one of them
// begins to take the resource, so these moments are all the cells that are needed.

// stretch is the cells [lo, hi).
type stretch struct{ lo, hi int32 }

// option is one slot that a visit could have, or that it has none. The cells in use are the first n stretches.
type option struct {
	slot Slot
	cost int
	n    int
	uses [mostStretches]stretch
}

const mostStretches = 7

func (o *option) cells() []stretch { return o.uses[:o.n] }

// need is a resource and the minutes for which it is taken.
type need struct{ resource, from, to int }

// resources numbers the resources of a problem: trainers, areas, three for each gate, days.
type resources struct{ areas, gates, days, all int }

func (p *Problem) resources() resources {
	r := resources{areas: len(p.Trainers)}
	r.gates = r.areas + len(p.Areas)
	r.days = r.gates + 3*len(p.Gates)
	r.all = r.days + len(p.Days)
	return r
}

// needs lists what a visit takes; -1 stands for none of its kind.
func (p *Problem) needs(at Span, trainer, area, gate, day int, out []need) []need {
	r := p.resources()
	if trainer >= 0 {
		out = append(out, need{trainer, at.From, at.To + p.Pause})
	}
	if area >= 0 {
		out = append(out, need{r.areas + area, at.From, at.To})
	}
	if day >= 0 {
		out = append(out, need{r.days + day, p.Days[day].Open.From, p.Days[day].Open.From + 1})
	}
	if gate < 0 {
		return out
	}
	g, first := p.Gates[gate], r.gates+3*gate
	if g.Spacing > 0 {
		out = append(out, need{first, at.From, at.From + g.Spacing}, need{first + 1, at.To, at.To + g.Spacing})
	}
	if g.Passing > 0 && at.To < at.From+g.Passing {
		out = append(out, need{first + 2, at.From, at.To + g.Passing})
	} else if g.Passing > 0 {
		out = append(out, need{first + 2, at.From, at.From + g.Passing}, need{first + 2, at.To, at.To + g.Passing})
	}
	return out
}

// capacity is how many a resource takes at once when nothing is fixed.
func (p *Problem) capacity(resource int) int {
	r := p.resources()
	switch {
	case resource >= r.days:
		return p.Days[resource-r.days].Places
	case resource >= r.areas && resource < r.gates:
		return p.Areas[resource-r.areas].Room
	}
	return 1
}

// fixedNeeds lists what a fixed visit takes.
func (p *Problem) fixedNeeds(f Fixed, out []need) []need {
	day := -1
	if f.Handover {
		day = p.dayAt(f.From)
	}
	return p.needs(f.Span, f.Trainer, f.Area, f.Gate, day, out)
}

// dayAt is the day that is open at a minute, or -1.
func (p *Problem) dayAt(k int) int {
	n, _ := slices.BinarySearchFunc(p.Days, k, func(d Day, k int) int { return cmp.Compare(d.Open.To, k+1) })
	if n < len(p.Days) && p.Days[n].Open.From <= k {
		return n
	}
	return -1
}

// board is the cells of a problem with what the fixed visits leave of them.
type board struct {
	starts [][]int32 // by resource: the minutes of its cells
	first  []int32   // by resource: its first cell
	room   []int32   // by cell
}

// newBoard makes the cells for the beginnings that are marked, by resource, and for what is fixed.
func newBoard(p *Problem, marked []*minutes) *board {
	b := &board{starts: make([][]int32, len(marked)), first: make([]int32, len(marked)+1)}
	var needs []need
	for _, f := range p.Fixed {
		needs = p.fixedNeeds(f, needs)
	}
	for _, n := range needs {
		marked[n.resource].add(n.from)
	}
	for r := range marked {
		b.starts[r] = marked[r].list()
		b.first[r+1] = b.first[r] + int32(len(b.starts[r]))
		for range b.starts[r] {
			b.room = append(b.room, int32(p.capacity(r)))
		}
	}
	for _, n := range needs {
		s := b.stretch(n)
		for c := s.lo; c < s.hi; c++ {
			b.room[c]--
		}
	}
	return b
}

// stretch is the cells of a need.
func (b *board) stretch(n need) stretch {
	lo, _ := slices.BinarySearch(b.starts[n.resource], int32(n.from))
	hi, _ := slices.BinarySearch(b.starts[n.resource], int32(n.to))
	return stretch{b.first[n.resource] + int32(lo), b.first[n.resource] + int32(hi)}
}

// free reports whether every cell of a slot takes one more.
func free(room []int32, cells []stretch) bool {
	for _, s := range cells {
		for _, n := range room[s.lo:s.hi] {
			if n <= 0 {
				return false
			}
		}
	}
	return true
}

// take uses up (or, with by = -1, gives back) what a slot takes.
func take(room []int32, cells []stretch, by int32) {
	for _, s := range cells {
		for c := s.lo; c < s.hi; c++ {
			room[c] -= by
		}
	}
}
