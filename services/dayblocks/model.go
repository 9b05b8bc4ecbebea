package dayblocks

import "slices"

// model is a day laid out on its grid: times are steps.
type model struct {
	d      *Day
	from   int // steps of the day before anybody is at work: the grid begins there
	steps  int // until nobody is any more
	change int // changeover
	spread int
	items  []item // sessions, then breaks
	ofDog  [][]int32
	rest   []int
	apart  [][]int32 // by dog
	hours  []steps   // by trainer: at work and not taken
	open   []steps   // by area
	finish []int     // by trainer; the end of the day where there is no wish

	lengths     []int     // of sessions with their changeover, in steps, each once
	begin       [][]steps // by trainer and length: where a session may begin
	first, last int       // sessions begin in the steps [first, last)
	pairs       bool      // some dog needs two trainers
	fillable    []steps   // by trainer: what is useful of its time
	useful      []bool    // by trainer, then area, and step: some session could be held there
	waste       []int     // by steps in a row: how many of them sessions cannot fill
	odd         []float64 // by steps in a row: see spare
}

// item is a session, or a break of a trainer (dog is -1).
type item struct {
	dog, session int32
	trainer      int32 // of a break
	length       int   // steps
	busy         int   // with changeover
	class        int   // of a session: which of the model's lengths that is
	skill        int
	kept, moved  int // the step where it was, and the points of any other
	alone, two   bool
	handlers     []Choice
	seconds      []Choice // of a dog that needs two
	anySecond    bool     // whoever is free, for no points
	places       []place
	within       steps // where it may begin: of a session, in any of its places
	same         int32 // the item before it that is the same in all that matters, -1 if there is none
}

// place is an area for an item, and where in the day the item may begin there.
type place struct {
	area, points int
	starts       steps
}

func newModel(d *Day) *model {
	from, to := d.working()
	m := &model{d: d, from: from, steps: to - from, change: d.Changeover / d.Step, spread: (d.Policy.Spread + d.Step - 1) / d.Step,
		ofDog: make([][]int32, len(d.Dogs)), apart: make([][]int32, len(d.Dogs))}
	for _, t := range d.Trainers {
		hours := m.span(t.Hours)
		for _, s := range t.Fixed {
			m.mark(hours, s, false)
		}
		m.hours = append(m.hours, hours)
		finish := m.steps
		if t.Finish > 0 {
			finish = t.Finish/d.Step - from
		}
		m.finish = append(m.finish, finish)
	}
	for _, a := range d.Areas {
		m.open = append(m.open, m.span(a.Open))
	}
	m.first, m.last = m.steps, 0
	for i := range d.Dogs {
		m.addDog(i)
	}
	m.findBegins()
	for t, x := range d.Trainers {
		for j, b := range x.Breaks {
			starts := newSteps(m.steps)
			in := m.span([]Span{b.Within})
			in.runs(b.Minutes/d.Step, starts)
			m.items = append(m.items, item{dog: -1, session: int32(j), trainer: int32(t), length: b.Minutes / d.Step, busy: b.Minutes / d.Step, within: starts, same: -1})
		}
	}
	for _, p := range d.Apart {
		m.apart[p[0]] = append(m.apart[p[0]], int32(p[1]))
		m.apart[p[1]] = append(m.apart[p[1]], int32(p[0]))
	}
	m.findUseful()
	m.findWaste()
	return m
}

// findBegins works out where in a trainer's day sessions of each length may begin.
func (m *model) findBegins() {
	m.first = min(m.first, m.last)
	for i := range m.items {
		it := &m.items[i]
		m.pairs = m.pairs || it.two && it.anySecond
		if it.class = slices.Index(m.lengths, it.busy); it.class < 0 {
			it.class = len(m.lengths)
			m.lengths = append(m.lengths, it.busy)
		}
	}
	for _, hours := range m.hours {
		var begin []steps
		for _, n := range m.lengths {
			out := newSteps(m.steps)
			hours.runs(n, out)
			begin = append(begin, out)
		}
		m.begin = append(m.begin, begin)
	}
}

// working are the steps between which trainers are at work: nothing is planned before or after.
func (d *Day) working() (from, to int) {
	from = d.Minutes / d.Step
	for _, t := range d.Trainers {
		for _, s := range t.Hours {
			if s.From < s.To {
				from, to = min(from, s.From/d.Step), max(to, s.To/d.Step)
			}
		}
	}
	if from >= to {
		return 0, d.Minutes / d.Step
	}
	return from, to
}

// minute is when a step begins, since the day began.
func (m *model) minute(step int32) int { return (m.from + int(step)) * m.d.Step }

// mark puts the steps of a span into a set, or takes them out.
func (m *model) mark(set steps, s Span, in bool) {
	from, to := s.From/m.d.Step-m.from, s.To/m.d.Step-m.from
	set.put(max(from, 0), min(to, m.steps), in)
}

// span is a set of steps.
func (m *model) span(spans []Span) steps {
	out := newSteps(m.steps)
	for _, s := range spans {
		m.mark(out, s, true)
	}
	return out
}

func (m *model) addDog(i int) {
	x := &m.d.Dogs[i]
	m.rest = append(m.rest, x.Rest/m.d.Step)
	away := m.span(x.Away)
	for j, s := range x.Sessions {
		it := item{dog: int32(i), session: int32(j), trainer: -1, length: s.Minutes / m.d.Step, busy: s.Minutes/m.d.Step + m.change, skill: s.Skill, within: newSteps(m.steps),
			kept: s.Kept.Start/m.d.Step - m.from, moved: s.Kept.Points, alone: x.Alone, two: x.Two, handlers: s.Handlers, same: -1}
		if x.Two {
			it.seconds, it.anySecond = s.Seconds, s.Seconds == nil
			if s.Seconds == nil {
				for t := range m.hours {
					it.seconds = append(it.seconds, Choice{Trainer: t})
				}
			}
		}
		for _, p := range s.Areas {
			free := m.span(m.d.Areas[p.Area].Open)
			for k, w := range away {
				free[k] &^= w
			}
			for k, w := range m.span(p.Closed) {
				free[k] &^= w
			}
			starts := newSteps(m.steps)
			free.runs(it.length, starts)
			if m.d.Areas[p.Area].Dogs > 0 && !starts.empty() {
				it.places = append(it.places, place{p.Area, p.Points, starts})
				it.within.join(starts)
				starts.each(func(k int) { m.first, m.last = min(m.first, k), max(m.last, k+1) })
			}
		}
		for back := j - 1; back >= 0 && it.same < 0; back-- {
			if sameSession(&s, &x.Sessions[back]) {
				it.same = m.ofDog[i][back]
			}
		}
		m.ofDog[i] = append(m.ofDog[i], int32(len(m.items)))
		m.items = append(m.items, it)
	}
}

// sameSession reports whether two sessions of a dog can stand for each other.
func sameSession(a, b *Session) bool {
	if a.Minutes != b.Minutes || a.Skill != b.Skill || a.Extra != b.Extra || a.Kept != b.Kept || len(a.Areas) != len(b.Areas) || !slices.Equal(a.Handlers, b.Handlers) || !slices.Equal(a.Seconds, b.Seconds) ||
		(a.Seconds == nil) != (b.Seconds == nil) {
		return false
	}
	for i, p := range a.Areas {
		q := b.Areas[i]
		if p.Area != q.Area || p.Points != q.Points || len(p.Closed) != len(q.Closed) {
			return false
		}
		for k := range p.Closed {
			if p.Closed[k] != q.Closed[k] {
				return false
			}
		}
	}
	return true
}

// sessions is how many items are sessions; breaks come after them.
func (m *model) sessions() int {
	n := 0
	for _, own := range m.ofDog {
		n += len(own)
	}
	return n
}
