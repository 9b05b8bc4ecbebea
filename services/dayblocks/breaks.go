package dayblocks

// BreaksFit reports whether a trainer's breaks can all be taken on a day with this grid, within its hours and beside what is fixed.
func (d *Day) BreaksFit(t Trainer) bool {
	m := newModel(&Day{Step: d.Step, Minutes: d.Minutes, Trainers: []Trainer{t}})
	_, ok := m.fitBreaks(0)
	return ok
}

// fitBreaks finds a start for every break of a trainer: in some order each as early as it can be after the one before.
func (m *model) fitBreaks(t int) (starts []int, ok bool) {
	first, n := m.breaksOf(t), len(m.d.Trainers[t].Breaks)
	may := make([]steps, n)
	for b := range may {
		may[b] = newSteps(m.steps)
		it := &m.items[first+b]
		m.hours[t].runs(it.busy, may[b])
		may[b].keep(it.within)
	}
	starts = make([]int, n)
	taken := make([]bool, n)
	var next func(from, left int) bool
	next = func(from, left int) bool {
		if left == 0 {
			return true
		}
		for b := range may {
			at := from
			for at < m.steps && !may[b].has(at) {
				at++
			}
			if taken[b] || at == m.steps {
				continue
			}
			taken[b], starts[b] = true, at
			if next(at+m.items[first+b].busy, left-1) {
				return true
			}
			taken[b] = false
		}
		return false
	}
	return starts, next(0, n)
}

// placeBreaks sees to it that every break is placed before any session is.
func (s *state) placeBreaks() {
	m := s.m
	for t := range m.hours {
		first, n := int32(m.breaksOf(t)), int32(len(m.d.Trainers[t].Breaks))
		missing := false
		for i := first; i < first+n; i++ {
			missing = missing || s.at[i].start < 0
		}
		if !missing {
			continue
		}
		for i := first; i < first+n; i++ {
			if s.at[i].start >= 0 {
				s.remove(i)
			}
		}
		starts, _ := m.fitBreaks(t)
		for b, at := range starts {
			s.put(first+int32(b), placed{int32(at), int32(t), -1, -1}, true)
		}
	}
}
