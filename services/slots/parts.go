package slots

import "slices"

// part is visits that touch each other, with the cells at which they could be in each other's way, numbered anew. What holds in one part has no
// say in another.
type part struct {
	visits []int    // of the problem
	first  []int32  // by visit of the part: its first option; one more at the end
	all    []option // by visit, cheapest first, none last
	room   []int32  // by cell
}

func (x *part) of(v int) []option { return x.all[x.first[v]:x.first[v+1]] }

// split cuts a model into parts. Cells that every visit which could use them may use at once are left out.
func (m *model) split() (parts []*part) {
	crowd := m.crowds()
	group := make([]int, len(m.options))
	for i := range group {
		group[i] = i
	}
	var root func(i int) int
	root = func(i int) int {
		if group[i] != i {
			group[i] = root(group[i])
		}
		return group[i]
	}
	// kept[c] is how many cells before c stay.
	kept, last := make([]int32, len(m.board.room)+1), make([]int32, len(m.board.room))
	for c, room := range m.board.room {
		last[c] = -1
		kept[c+1] = kept[c]
		if crowd[c] > room && room > 0 {
			kept[c+1]++
		}
	}
	for i := range m.options {
		for n := range m.options[i] {
			for _, s := range m.options[i][n].cells() {
				for c := s.lo; c < s.hi; c++ {
					if kept[c] == kept[c+1] {
						continue
					}
					if last[c] >= 0 && last[c] != int32(i) {
						group[root(i)] = root(int(last[c]))
					}
					last[c] = int32(i)
				}
			}
		}
	}
	byRoot := map[int]*part{}
	for i := range m.options {
		r := root(i)
		if byRoot[r] == nil {
			byRoot[r] = &part{first: []int32{0}}
			parts = append(parts, byRoot[r])
		}
		byRoot[r].add(i, m.options[i], kept)
	}
	for _, x := range parts {
		x.renumber(m.board.room, kept)
	}
	return parts
}

// crowds counts, by cell, the visits that could use it.
func (m *model) crowds() []int32 {
	crowd, change := make([]int32, len(m.board.room)), make([]int32, len(m.board.room)+1)
	for i := range m.options {
		lo, hi := int32(len(change)), int32(0)
		for n := range m.options[i] {
			for _, s := range m.options[i][n].cells() {
				change[s.lo]++
				change[s.hi]--
				lo, hi = min(lo, s.lo), max(hi, s.hi)
			}
		}
		depth := int32(0)
		for c := lo; c < hi; c++ {
			if depth += change[c]; depth > 0 {
				crowd[c]++
			}
			change[c] = 0
		}
		if lo < hi {
			change[hi] = 0
		}
	}
	return crowd
}

// add takes a visit in, with its cells counted among those kept.
func (x *part) add(i int, options []option, kept []int32) {
	x.visits = append(x.visits, i)
	for _, o := range options {
		cells := o.cells()
		o.n = 0
		for _, s := range cells {
			if t := (stretch{kept[s.lo], kept[s.hi]}); t.lo < t.hi {
				o.uses[o.n] = t
				o.n++
			}
		}
		x.all = append(x.all, o)
	}
	x.first = append(x.first, int32(len(x.all)))
}

// renumber leaves only the cells that the part's options take.
func (x *part) renumber(room []int32, kept []int32) {
	total := kept[len(room)]
	used := make([]int32, total+1)
	for n := range x.all {
		for _, s := range x.all[n].cells() {
			used[s.lo]++
			used[s.hi]--
		}
	}
	index, depth := make([]int32, total+1), int32(0)
	for c := range total {
		depth += used[c]
		index[c+1] = index[c]
		if depth > 0 {
			index[c+1]++
		}
	}
	x.room = make([]int32, index[total])
	for c, r := range room {
		if k := kept[c]; kept[c+1] > k && index[k+1] > index[k] {
			x.room[index[k]] = r
		}
	}
	for n := range x.all {
		for s := range x.all[n].cells() {
			u := &x.all[n].uses[s]
			u.lo, u.hi = index[u.lo], index[u.hi]
		}
	}
}

// fits reports whether options, one for each visit of the part, can be together, and what they cost.
func (x *part) fits(picks []int32) (cost int, ok bool) {
	room := slices.Clone(x.room)
	for _, o := range picks {
		if !free(room, x.all[o].cells()) {
			return 0, false
		}
		take(room, x.all[o].cells(), 1)
		cost += x.all[o].cost
	}
	return cost, true
}
