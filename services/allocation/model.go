package allocation

import (
	"cmp"
	"slices"
)

// micro are points of value in fixed-point arithmetic, model.shift bits below the point. All
// bounds are computed in micro, so that rounding them outward is exact.
type micro = int64

// model is a component of a problem laid out for speed. Every resource is a line of one number a day; the cell of line l on
// day k is l*stride+k. Options that can never be taken, and those that can never pay, are gone.
type model struct {
	p                     *Problem
	nights, stride, words int
	shift                 uint
	deep                  bool // solved to the end, by dives and branching

	siteOf, trainerOf, dogOf []int32 // own index -> index in p

	lines    int
	capacity []int32 // by cell
	// First run line, intake, handover and minute line of each site (minutes: -1 without limit); of each trainer the lines
	// of minutes and dogs.
	runLine, intakeLine, handLine, minuteLine []int32
	workLine, dogLine                         []int32
	easy                                      easyLines
	trainerSite                               []int32
	works                                     []bool // trainer*stride+day

	groups   []group
	dogFirst []int32 // groups of dog d are [dogFirst[d], dogFirst[d+1])
	runs     []runChoice
	trainers []trainerChoice

	// A unit is placed whole: one dog, or a household. Its dogs have the same number of groups, and the j-th groups of all
	// are for one site and day.
	unitDogs  []int32
	unitFirst []int32
	unitOf    []int32

	// By trainer, lanes.words of each: lanes of the days the trainer works, and minutes and dogs in hand of an empty plan.
	lanes                 lanes
	workLanes             []uint64
	minuteLanes, dogLanes []uint64
}

type group struct {
	dog, site             int32
	value                 int32
	runFrom, trainerFrom  int32
	nRuns, nTrainers      uint16
	arrive, leave, vacate int16 // vacate: the run is free again
}

type runChoice struct{ line, penalty int32 }

type trainerChoice struct {
	trainer, penalty, minutes, cover int32
	load                             int32 // units of the trainer's soft level
}

// choice is one option of one dog: a group and an index into its runs and trainers. group is -1 for a dog not placed.
type choice struct {
	group        int32
	run, trainer int16
}

var noChoice = choice{group: -1}

// part names the sites and units of one component.
type part struct {
	sites []int32
	units [][]int32
}

// components splits p into parts that share no resource: sites tied together by dogs that could go to either. Dogs without
// any option are left out.
func components(p *Problem) []part {
	root := make([]int32, len(p.Sites))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(a int32) int32 {
		for root[a] != a {
			root[a] = root[root[a]]
			a = root[a]
		}
		return a
	}
	units := unitsOf(p)
	home := make([]int32, len(units))
	for u, dogs := range units {
		home[u] = -1
		for _, d := range dogs {
			for g := range p.Dogs[d].Placements {
				s := find(int32(p.Dogs[d].Placements[g].Site))
				if home[u] < 0 {
					home[u] = s
				}
				root[s] = find(home[u])
			}
		}
	}
	index := make([]int, len(p.Sites))
	var parts []part
	for s := range p.Sites {
		if int(find(int32(s))) == s {
			index[s] = len(parts)
			parts = append(parts, part{})
		}
	}
	for s := range p.Sites {
		c := index[find(int32(s))]
		parts[c].sites = append(parts[c].sites, int32(s))
	}
	for u := range units {
		if home[u] >= 0 {
			c := index[find(home[u])]
			parts[c].units = append(parts[c].units, units[u])
		}
	}
	return slices.DeleteFunc(parts, func(x part) bool { return len(x.units) == 0 })
}

// unitsOf lists households and single dogs, in order of their first dog.
func unitsOf(p *Problem) [][]int32 {
	in := make([]bool, len(p.Dogs))
	var units [][]int32
	for _, dogs := range p.Together {
		var u []int32
		for _, d := range dogs {
			in[d] = true
			u = append(u, int32(d))
		}
		slices.Sort(u)
		units = append(units, u)
	}
	single := make([]int32, len(p.Dogs))
	for d := range p.Dogs {
		if !in[d] {
			single[d] = int32(d)
			units = append(units, single[d:d+1:d+1])
		}
	}
	slices.SortFunc(units, func(a, b []int32) int { return cmp.Compare(a[0], b[0]) })
	return units
}

// newModel lays out one part of p. The outcome does not depend on threads.
func newModel(p *Problem, c part, threads int) *model {
	m := &model{p: p, nights: p.Days - 1, stride: p.Days + 1, words: (p.Days + 64) / 64}
	site := m.layOutSites(c)
	trainer := m.layOutTrainers(c, site)
	m.layOutEasy()
	m.addUnits(c.units, site, trainer, threads)
	m.dogFirst = append(m.dogFirst, int32(len(m.groups)))
	m.unitFirst = append(m.unitFirst, int32(len(m.unitDogs)))
	m.unitOf = make([]int32, len(m.dogOf))
	for u := range m.units() {
		for _, d := range m.members(u) {
			m.unitOf[d] = int32(u)
		}
	}
	m.layOutLanes()
	m.findLoads()
	m.chooseShift()
	m.deep = m.units() <= diveUnits && !m.oneDay()
	return m
}

// oneDay reports whether the part is an assignment of dogs to trainers who work on one day each, and on which nothing else binds: one choice of
// site and day a dog, no households, no soft levels, and room for all dogs in every run class and place. Then the best schedule of a trainer is
// a knapsack with one capacity, and only dogs tie the trainers to one another.
func (m *model) oneDay() bool {
	n := int32(len(m.dogOf))
	if m.units() < len(m.dogOf) || len(m.easyCells()) > 0 {
		return false
	}
	for t := range m.trainerOf {
		days := 0
		for _, works := range m.works[t*m.stride : (t+1)*m.stride] {
			if works {
				days++
			}
		}
		if days > 1 || m.easy.load[t] >= 0 {
			return false
		}
	}
	for d := range m.dogOf {
		if m.dogGroups(d) > 1 {
			return false
		}
	}
	for i := range m.groups {
		g := &m.groups[i]
		if m.minuteLine[g.site] >= 0 || m.capacity[m.cell(m.intakeLine[g.site], int(g.arrive))] < n || m.capacity[m.cell(m.handLine[g.site], int(g.leave))] < n {
			return false
		}
		for _, r := range m.groupRuns(g) {
			for k := g.arrive; k < g.vacate; k++ {
				if m.capacity[m.cell(r.line, int(k))] < n {
					return false
				}
			}
		}
	}
	return true
}

func (m *model) units() int                 { return len(m.unitFirst) - 1 }
func (m *model) members(u int) []int32      { return m.unitDogs[m.unitFirst[u]:m.unitFirst[u+1]] }
func (m *model) dogGroups(d int) int        { return int(m.dogFirst[d+1] - m.dogFirst[d]) }
func (m *model) cell(line int32, k int) int { return int(line)*m.stride + k }

func (m *model) addLine(capacity []int, days int, on []bool) int32 {
	row := make([]int32, m.stride)
	for k := range days {
		if on == nil || on[k] {
			row[k] = int32(capacity[k])
		}
	}
	m.capacity = append(m.capacity, row...)
	m.lines++
	return int32(m.lines - 1)
}

func (m *model) layOutSites(c part) (own map[int32]int32) {
	own = make(map[int32]int32, len(c.sites))
	for i, s := range c.sites {
		own[s] = int32(i)
		site := &m.p.Sites[s]
		m.siteOf = append(m.siteOf, s)
		m.runLine = append(m.runLine, int32(m.lines))
		for r := range site.Runs {
			m.addLine(site.Runs[r].Capacity, m.nights, nil)
		}
		m.intakeLine = append(m.intakeLine, m.addLine(site.Intake, m.nights, nil))
		m.handLine = append(m.handLine, m.addLine(site.Handover, m.p.Days, nil))
		line := int32(-1)
		if site.Minutes != nil {
			line = m.addLine(site.Minutes, m.nights, nil)
		}
		m.minuteLine = append(m.minuteLine, line)
	}
	return own
}

func (m *model) layOutTrainers(c part, site map[int32]int32) (own map[int32]int32) {
	own = map[int32]int32{}
	for t := range m.p.Trainers {
		tr := &m.p.Trainers[t]
		s, here := site[int32(tr.Site)]
		if !here {
			continue
		}
		own[int32(t)] = int32(len(m.trainerOf))
		m.trainerOf = append(m.trainerOf, int32(t))
		m.trainerSite = append(m.trainerSite, s)
		m.workLine = append(m.workLine, m.addLine(tr.Minutes, m.nights, tr.Works))
		m.dogLine = append(m.dogLine, m.addLine(tr.Dogs, m.nights, tr.Works))
		works := make([]bool, m.stride)
		copy(works, tr.Works[:m.nights])
		m.works = append(m.works, works...)
	}
	return own
}

// layOutLanes puts trainers' minutes and dogs in hand into lanes. On days off there is always room.
func (m *model) layOutLanes() {
	most := int32(0)
	for i := range m.trainers {
		most = max(most, m.trainers[i].minutes)
	}
	for t := range m.trainerOf {
		for k := range m.stride {
			most = max(most, m.capacity[m.cell(m.workLine[t], k)], m.capacity[m.cell(m.dogLine[t], k)])
		}
	}
	m.lanes = newLanes(m.stride, most)
	l := &m.lanes
	n := len(m.trainerOf) * l.words
	m.workLanes, m.minuteLanes, m.dogLanes = make([]uint64, n), make([]uint64, n), make([]uint64, n)
	for t := range m.trainerOf {
		work, minutes, dogs := m.workLanes[t*l.words:], m.minuteLanes[t*l.words:], m.dogLanes[t*l.words:]
		for k := range m.stride {
			if !m.works[t*m.stride+k] {
				l.set(minutes, k, l.most())
				l.set(dogs, k, l.most())
				continue
			}
			work[l.first(k)] |= l.span(l.first(k), k, k+1)
			l.set(minutes, k, uint64(m.capacity[m.cell(m.workLine[t], k)]))
			l.set(dogs, k, uint64(m.capacity[m.cell(m.dogLine[t], k)]))
		}
	}
}

// chooseShift keeps sums of prices along a stay, and of all values, within 62 bits: no price ever exceeds the best value of
// any option, since no dog would pay it.
func (m *model) chooseShift() {
	minutes := 1.0
	for i := range m.trainers {
		minutes = max(minutes, float64(m.trainers[i].minutes), float64(m.trainers[i].cover))
	}
	value := float64(m.priceCap()) + 1
	worst := value * (2*minutes + 4) * float64(m.stride)
	if m.soft() { // as much again for the prices of the soft levels
		worst *= 2
	}
	worst = max(worst, value*float64(len(m.dogOf)+1))
	m.shift = 20
	for m.shift > 0 && worst*float64(int64(1)<<m.shift) > 1<<61 {
		m.shift--
	}
}

// priceCap is the most that a unit of any resource can be worth, in points: the best value of a household's options.
func (m *model) priceCap() int64 {
	best := int64(1)
	for u := range m.units() {
		var sum int64
		for _, d := range m.members(u) {
			top := int64(0)
			for g := m.dogFirst[d]; g < m.dogFirst[d+1]; g++ {
				top = max(top, m.bestValue(&m.groups[g]))
			}
			sum += top
		}
		best = max(best, sum)
	}
	return best
}

// bestValue is the value of a group's best option.
func (m *model) bestValue(g *group) int64 {
	run, tr := int64(1)<<40, int64(1)<<40
	for _, r := range m.groupRuns(g) {
		run = min(run, int64(r.penalty))
	}
	for _, t := range m.groupTrainers(g) {
		tr = min(tr, int64(t.penalty))
	}
	return int64(g.value) - run - tr
}

func (m *model) groupRuns(g *group) []runChoice {
	return m.runs[g.runFrom : g.runFrom+int32(g.nRuns)]
}

func (m *model) groupTrainers(g *group) []trainerChoice {
	return m.trainers[g.trainerFrom : g.trainerFrom+int32(g.nTrainers)]
}

// worth is the value of an option.
func (m *model) worth(c choice) int64 {
	g := &m.groups[c.group]
	return int64(g.value) - int64(m.runs[g.runFrom+int32(c.run)].penalty) - int64(m.trainers[g.trainerFrom+int32(c.trainer)].penalty)
}

// placement turns a choice back into the problem's indices.
func (m *model) placement(d int, c choice) Placement {
	g := &m.groups[c.group]
	return Placement{Dog: int(m.dogOf[d]), Site: int(m.siteOf[g.site]), Arrival: int(g.arrive),
		Run:     int(m.runs[g.runFrom+int32(c.run)].line - m.runLine[g.site]),
		Trainer: int(m.trainerOf[m.trainers[g.trainerFrom+int32(c.trainer)].trainer])}
}
