package slots

import (
	"cmp"
	"math/bits"
	"slices"
)

// merged puts spans in order and joins those that touch or overlap.
func merged(spans []Span) (out []Span) {
	sorted := slices.Clone(spans)
	slices.SortFunc(sorted, func(a, b Span) int { return cmp.Compare(a.From, b.From) })
	for _, s := range sorted {
		switch n := len(out); {
		case s.From == s.To:
		case n > 0 && s.From <= out[n-1].To:
			out[n-1].To = max(out[n-1].To, s.To)
		default:
			out = append(out, s)
		}
	}
	return out
}

// within reports whether a span lies in one of some merged spans.
func within(spans []Span, s Span) bool {
	n, _ := slices.BinarySearchFunc(spans, s.From, func(x Span, k int) int { return cmp.Compare(x.To, k+1) })
	return n < len(spans) && spans[n].From <= s.From && s.To <= spans[n].To
}

// beginning is a time at which a visit could be, and what the owner's window costs.
type beginning struct{ at, day, points int }

// beginnings lists, in order, when a visit fits both the owner and a day.
func (p *Problem) beginnings(i int) (out []beginning) {
	v := &p.Visits[i]
	for n, d := range p.Days {
		var on []Window
		for _, w := range v.Windows {
			w.Span = Span{max(w.From, d.Open.From), min(w.To, d.Open.To)}
			if w.To-w.From >= v.Minutes {
				on = append(on, w)
			}
		}
		if len(on) == 0 {
			continue
		}
		for k := (d.Open.From + p.Step - 1) / p.Step * p.Step; k+v.Minutes <= d.Open.To; k += p.Step {
			best := -1
			for _, w := range on {
				if w.From <= k && k+v.Minutes <= w.To && (best < 0 || w.Points < best) {
					best = w.Points
				}
			}
			if best >= 0 {
				out = append(out, beginning{k, n, best})
			}
		}
	}
	return out
}

// site is the trainers' and areas' times, merged.
type site struct{ trainers, areas [][]Span }

func newSite(p *Problem) *site {
	s := &site{}
	for _, t := range p.Trainers {
		s.trainers = append(s.trainers, merged(t.Free))
	}
	for _, a := range p.Areas {
		s.areas = append(s.areas, merged(a.Open))
	}
	return s
}

// slotsOf calls each with every slot that a visit could have if nothing else were appointed or fixed, and what it costs. It stops when each
// returns false.
func (p *Problem) slotsOf(s *site, i int, each func(slot Slot, day, cost int) bool) {
	v := &p.Visits[i]
	for _, b := range p.beginnings(i) {
		at := Span{b.at, b.at + v.Minutes}
		for _, t := range v.Trainers {
			if !within(s.trainers[t.Of], at) {
				continue
			}
			for _, a := range v.Areas {
				if p.Areas[a.Of].Room == 0 || !within(s.areas[a.Of], at) {
					continue
				}
				for _, g := range v.Gates {
					slot := Slot{b.at, t.Of, a.Of, g.Of}
					if !each(slot, b.day, b.points+t.Points+a.Points+g.Points+v.moved(slot)) {
						return
					}
				}
			}
		}
	}
}

// moved is what a slot costs for not being the one that was kept.
func (v *Visit) moved(s Slot) int {
	switch {
	case s.Begin != v.Kept.Slot.Begin:
		return v.Kept.Moved
	case s != v.Kept.Slot:
		return v.Kept.Changed
	}
	return 0
}

// model is a problem as options that take cells. The options of each visit that are possible beside what is fixed come cheapest first; the last
// one is to have no slot, and dearer than none of the others.
type model struct {
	p       *Problem
	site    *site
	board   *board
	options [][]option
}

func newModel(p *Problem) (*model, error) {
	m := &model{p: p, site: newSite(p), options: make([][]option, len(p.Visits))}
	marked := make([]*minutes, p.resources().all)
	for r := range marked {
		marked[r] = &minutes{}
	}
	count := 0
	var needs []need
	for i := range p.Visits {
		minutes := p.Visits[i].Minutes
		p.slotsOf(m.site, i, func(s Slot, day, cost int) bool {
			count++
			if cost > p.Visits[i].Miss {
				return true
			}
			needs = p.needs(Span{s.Begin, s.Begin + minutes}, s.Trainer, s.Area, s.Gate, day, needs[:0])
			for _, n := range needs {
				marked[n.resource].add(n.from)
			}
			m.options[i] = append(m.options[i], option{slot: s, cost: cost})
			return count <= mostOptions
		})
		if count > mostOptions {
			return nil, invalid("more than %d slots to choose among: take a coarser grid than %d minutes, fewer days or narrower windows", mostOptions, p.Step)
		}
	}
	m.board = newBoard(p, marked)
	for i := range m.options {
		m.options[i] = slices.DeleteFunc(m.options[i], func(o option) bool { return !free(m.board.room, m.place(i, o.slot)) })
		for n := range m.options[i] {
			o := &m.options[i][n]
			o.n = copy(o.uses[:], m.place(i, o.slot))
		}
		slices.SortStableFunc(m.options[i], func(a, b option) int { return cmp.Compare(a.cost, b.cost) })
		m.options[i] = append(m.options[i], option{slot: None, cost: p.Visits[i].Miss})
	}
	return m, nil
}

// place is the cells that a slot of a visit takes.
func (m *model) place(i int, s Slot) (out []stretch) {
	at := Span{s.Begin, s.Begin + m.p.Visits[i].Minutes}
	for _, n := range m.p.needs(at, s.Trainer, s.Area, s.Gate, m.p.dayAt(s.Begin), make([]need, 0, mostStretches)) {
		out = append(out, m.board.stretch(n))
	}
	return out
}

// minutes is a set of minutes.
type minutes struct{ words []uint64 }

func (m *minutes) add(k int) {
	for len(m.words) <= k/64 {
		m.words = append(m.words, make([]uint64, 1+len(m.words))...)
	}
	m.words[k/64] |= 1 << (k % 64)
}

func (m *minutes) list() (out []int32) {
	for w, word := range m.words {
		for ; word != 0; word &= word - 1 {
			out = append(out, int32(64*w+bits.TrailingZeros64(word)))
		}
	}
	return out
}
