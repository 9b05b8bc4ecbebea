package allocation

// Soft levels are lines of their own after all others (easyLines.from and on), whose "capacity" is the level. They never refuse
// anything: what is left of them may fall below nothing, and then the plan's value falls by the points for each unit. In the bounds they
// are priced like capacities, at prices no higher than those points; doc.go says why that holds.

// easyLines says which lines are soft levels. -1 stands for none.
type easyLines struct {
	from                 int     // first such line: the number of all other lines
	over                 []int64 // by line from there on: points for a unit over the level
	intake, hand, minute []int32 // by site
	load                 []int32 // by trainer
	unit, largest        []int32 // by trainer: minutes of a unit, units of its largest stay
}

// soft reports whether there is any soft level.
func (m *model) soft() bool { return len(m.easy.over) > 0 }

// layOutEasy adds the lines of the soft levels.
func (m *model) layOutEasy() {
	e := &m.easy
	e.from = m.lines
	for _, s := range m.siteOf {
		site := &m.p.Sites[s]
		e.intake = append(e.intake, m.addEasy(site.EasyIntake, m.nights, nil))
		e.hand = append(e.hand, m.addEasy(site.EasyHandover, m.p.Days, nil))
		e.minute = append(e.minute, m.addEasy(site.EasyMinutes, m.nights, nil))
	}
	for _, t := range m.trainerOf {
		tr := &m.p.Trainers[t]
		line, unit := m.addEasy(tr.Easy, m.nights, tr.Works), int32(1)
		if line >= 0 {
			unit = int32(max(1, tr.Easy.Unit))
		}
		e.load, e.unit = append(e.load, line), append(e.unit, unit)
	}
}

func (m *model) addEasy(level *Easy, days int, on []bool) int32 {
	if level == nil || level.Over == 0 {
		return -1
	}
	m.easy.over = append(m.easy.over, int64(level.Over))
	return m.addLine(level.Upto, days, on)
}

// load is how many units of a trainer's soft level a stay takes on each working day.
func (m *model) load(trainer, minutes int32) int32 {
	if m.easy.load[trainer] < 0 {
		return 0
	}
	unit := m.easy.unit[trainer]
	return (minutes + unit/2) / unit
}

// findLoads notes each trainer's largest stay.
func (m *model) findLoads() {
	m.easy.largest = make([]int32, len(m.trainerOf))
	for i := range m.trainers {
		t := &m.trainers[i]
		m.easy.largest[t.trainer] = max(m.easy.largest[t.trainer], t.load)
	}
}

// over is what a unit over a soft level costs.
func (m *model) over(line int32) int64 { return m.easy.over[int(line)-m.easy.from] }

// highestPrices are the most that each line's price may be, in micro.
func (m *model) highestPrices() []float64 {
	out := make([]float64, m.lines)
	most := float64(m.priceCap() << m.shift)
	for l := range out {
		out[l] = most
		if l >= m.easy.from {
			out[l] = min(out[l], float64(m.over(int32(l))<<m.shift))
		}
	}
	return out
}

// dayPriced reports whether a trainer's days have prices other than those of its own calendar.
func (m *model) dayPriced(trainer int) bool {
	site := m.trainerSite[trainer]
	return m.minuteLine[site] >= 0 || m.easy.minute[site] >= 0 || m.easy.load[trainer] >= 0
}

// easyCells lists the cells of the sites' soft levels that any stay can use.
func (m *model) easyCells() (cells []int) {
	add := func(line, hard int32) {
		for k := 0; line >= 0 && k < m.stride; k++ {
			if m.capacity[m.cell(hard, k)] > 0 {
				cells = append(cells, m.cell(line, k))
			}
		}
	}
	for s := range m.siteOf {
		add(m.easy.intake[s], m.intakeLine[s])
		add(m.easy.hand[s], m.handLine[s])
		add(m.easy.minute[s], m.minuteLine[s])
	}
	return cells
}

// scaleEasy sets the squares of the typical use of one stay.
func (m *model) scaleEasy(scale []float64) {
	sum, n := make([]float64, len(m.trainerOf)), make([]float64, len(m.trainerOf))
	for i := range m.trainers {
		t := &m.trainers[i]
		sum[t.trainer] += float64(t.load)
		n[t.trainer]++
	}
	for t, line := range m.easy.load {
		if line >= 0 && sum[t] > n[t] {
			scale[line] = sum[t] / n[t] * sum[t] / n[t]
		}
	}
	for s, line := range m.easy.minute {
		if line >= 0 {
			scale[line] = scale[m.minuteLine[s]]
		}
	}
}

// copyEasy takes over the use of sites' soft levels from that of the capacities they belong to, by cell.
func (m *model) copyEasy(use []int64) {
	if !m.soft() {
		return
	}
	take := func(line, hard int32) {
		if line >= 0 {
			copy(use[m.cell(line, 0):m.cell(line+1, 0)], use[m.cell(hard, 0):m.cell(hard+1, 0)])
		}
	}
	for s := range m.siteOf {
		take(m.easy.intake[s], m.intakeLine[s])
		take(m.easy.hand[s], m.handLine[s])
		take(m.easy.minute[s], m.minuteLine[s])
	}
}

// fixLoads sets the prices of the trainers' soft levels to those of the price bound. The schedule bound leaves them there: each trainer's
// own problem counts what a level costs exactly, whatever they are (softdays.go).
func (m *model) fixLoads(t *tariff, price []float64) {
	for _, line := range m.easy.load {
		for k := 0; line >= 0 && k < m.stride; k++ {
			t.cell[m.cell(line, k)] = micro(price[m.cell(line, k)])
		}
	}
}

// countEasy finishes countUse for the soft levels.
func (d *dual) countEasy() {
	m := d.m
	for t, line := range m.easy.load {
		if line < 0 {
			continue
		}
		at := t * m.stride
		accumulate(d.load[at : at+m.stride])
		use := d.use[m.cell(line, 0):]
		for k := range m.stride {
			if m.works[at+k] {
				use[k] = d.load[at+k]
			}
		}
	}
	m.copyEasy(d.use)
}

// sumEasy brings a trainer's prefix sums of its soft level up to date.
func (t *tariff) sumEasy(tr int) {
	m := t.m
	line := m.easy.load[tr]
	if line < 0 {
		return
	}
	at := tr * m.stride
	price := t.cell[m.cell(line, 0):]
	var sum micro
	for k := range m.stride {
		t.load[at+k] = sum
		if m.works[at+k] {
			sum += price[k]
		}
	}
}

// easyPlaces is the price of a group's intake and handover places below the soft levels.
func (t *tariff) easyPlaces(g *group) (price micro) {
	m := t.m
	if line := m.easy.intake[g.site]; line >= 0 {
		price += t.cell[m.cell(line, int(g.arrive))]
	}
	if line := m.easy.hand[g.site]; line >= 0 {
		price += t.cell[m.cell(line, int(g.leave))]
	}
	return price
}

// useEasy takes (or with times -1 gives back) what an option needs of the soft levels, and brings the plan's value up to date.
func (s *state) useEasy(g *group, t *trainerChoice, times int32) {
	m := s.m
	a, e := int(g.arrive), int(g.leave)
	if line := m.easy.intake[g.site]; line >= 0 {
		s.useUnits(line, a, times)
	}
	if line := m.easy.hand[g.site]; line >= 0 {
		s.useUnits(line, e, times)
	}
	works := m.works[int(t.trainer)*m.stride:]
	if line := m.easy.minute[g.site]; line >= 0 {
		for k := a; k < e; k++ {
			if works[k] {
				s.useUnits(line, k, times*t.minutes)
			} else {
				s.useUnits(line, k, times*t.cover)
			}
		}
	}
	if t.load != 0 {
		line := m.easy.load[t.trainer]
		for k := a; k < e; k++ {
			if works[k] {
				s.useUnits(line, k, times*t.load)
			}
		}
		s.updateTight(t.trainer, a, e)
	}
}

func (s *state) useUnits(line int32, k int, amount int32) {
	left := &s.left[s.m.cell(line, k)]
	before := min(*left, 0)
	*left -= amount
	s.value += int64(min(*left, 0)-before) * s.m.over(line)
}

// updateTight brings a trainer's bits for the days [a, e) up to date.
func (s *state) updateTight(t int32, a, e int) {
	m := s.m
	line := m.easy.load[t]
	if line < 0 {
		return
	}
	works, left, largest := m.works[int(t)*m.stride:], s.left[m.cell(line, 0):], m.easy.largest[t]
	row := s.tight[int(t)*m.words:]
	for k := a; k < e; k++ {
		bit := uint64(1) << (k & 63)
		if works[k] && left[k] < largest {
			row[k>>6] |= bit
		} else {
			row[k>>6] &^= bit
		}
	}
}

// placeUnit adds a unit's options, which must fit. Where they would run over soft levels by more than they are worth it leaves the
// plan as it was and reports false.
func (s *state) placeUnit(dogs []int32, picks []choice) bool {
	before := s.value
	for i, d := range dogs {
		s.place(d, picks[i])
	}
	if !s.m.soft() || s.value >= before {
		return true
	}
	for _, d := range dogs {
		s.remove(d)
	}
	return false
}

// overflow is what the plan costs by running over the soft levels of some sites.
func (s *state) overflow(sites []int32) (points int64) {
	m := s.m
	if !m.soft() {
		return 0
	}
	count := func(line int32) {
		for k := 0; line >= 0 && k < m.stride; k++ {
			points -= int64(min(0, s.left[m.cell(line, k)])) * m.over(line)
		}
	}
	here := make([]bool, len(m.siteOf))
	for _, site := range sites {
		here[site] = true
		count(m.easy.intake[site])
		count(m.easy.hand[site])
		count(m.easy.minute[site])
	}
	for t, site := range m.trainerSite {
		if here[site] {
			count(m.easy.load[t])
		}
	}
	return points
}
