package allocation

import (
	"cmp"
	"slices"
)

// builder adds units to a model, dropping what cannot be chosen.
type builder struct {
	m             *model
	site, trainer map[int32]int32
	runs          []runChoice
	trainers      []trainerChoice
	lastRuns      [2]int32 // offset and length of the last list stored
	lastTrainers  [2]int32
}

// buildPiece is how many units are laid out as one piece.
const buildPiece = 1024

// addUnits lays the units out in pieces, and puts the pieces together.
func (m *model) addUnits(units [][]int32, site, trainer map[int32]int32, threads int) {
	pieces := make([]*model, (len(units)+buildPiece-1)/buildPiece)
	parallel(threads, len(pieces), 1, func(_, from, to int) {
		for i := from; i < to; i++ {
			piece := *m
			b := &builder{m: &piece, site: site, trainer: trainer}
			for _, dogs := range units[i*buildPiece : min(len(units), (i+1)*buildPiece)] {
				b.addUnit(dogs)
			}
			pieces[i] = &piece
		}
	})
	if len(pieces) == 1 {
		*m = *pieces[0]
		return
	}
	var groups, runs, trainers int
	for _, x := range pieces {
		groups, runs, trainers = groups+len(x.groups), runs+len(x.runs), trainers+len(x.trainers)
	}
	m.groups, m.runs, m.trainers = make([]group, 0, groups), make([]runChoice, 0, runs), make([]trainerChoice, 0, trainers)
	for i, x := range pieces {
		m.join(x)
		pieces[i] = nil
	}
}

// join adds a piece, whose indices begin at nothing.
func (m *model) join(x *model) {
	dogs, units, groups := int32(len(m.dogOf)), int32(len(m.unitDogs)), int32(len(m.groups))
	runs, trainers := int32(len(m.runs)), int32(len(m.trainers))
	for _, g := range x.groups {
		g.dog, g.runFrom, g.trainerFrom = g.dog+dogs, g.runFrom+runs, g.trainerFrom+trainers
		m.groups = append(m.groups, g)
	}
	m.runs, m.trainers, m.dogOf = append(m.runs, x.runs...), append(m.trainers, x.trainers...), append(m.dogOf, x.dogOf...)
	for _, f := range x.dogFirst {
		m.dogFirst = append(m.dogFirst, f+groups)
	}
	for _, d := range x.unitDogs {
		m.unitDogs = append(m.unitDogs, d+dogs)
	}
	for _, f := range x.unitFirst {
		m.unitFirst = append(m.unitFirst, f+units)
	}
}

// addUnit adds a household or a dog. Groups that not every dog of it could take are dropped, and the others sorted by site
// and day, so that the dogs' groups stand side by side.
func (b *builder) addUnit(dogs []int32) {
	m := b.m
	start := len(m.groups)
	firstDog := len(m.dogOf)
	m.unitFirst = append(m.unitFirst, int32(len(m.unitDogs)))
	for _, d := range dogs {
		own := int32(len(m.dogOf))
		m.unitDogs = append(m.unitDogs, own)
		m.dogOf = append(m.dogOf, d)
		m.dogFirst = append(m.dogFirst, int32(len(m.groups)))
		b.addGroups(own, &m.p.Dogs[d], len(dogs) == 1)
		slices.SortStableFunc(m.groups[m.dogFirst[own]:], func(x, y group) int {
			return cmp.Or(cmp.Compare(x.site, y.site), cmp.Compare(x.arrive, y.arrive))
		})
	}
	if len(dogs) > 1 {
		b.intersect(start, firstDog, len(dogs))
	}
}

// intersect keeps the groups that all dogs of the household share and that pay for the household.
func (b *builder) intersect(start, firstDog, dogs int) {
	m := b.m
	type key struct{ site, arrive int32 }
	count := map[key]int{}
	sum := map[key]int64{}
	for i := range m.groups[start:] {
		g := &m.groups[start+i]
		k := key{g.site, int32(g.arrive)}
		count[k]++
		sum[k] += m.bestValue(g)
	}
	kept := m.groups[:start]
	for i := range dogs {
		from, to := m.dogFirst[firstDog+i], len(m.groups)
		if i+1 < dogs {
			to = int(m.dogFirst[firstDog+i+1])
		}
		m.dogFirst[firstDog+i] = int32(len(kept))
		for _, g := range m.groups[from:to] {
			k := key{g.site, int32(g.arrive)}
			if count[k] == dogs && sum[k] > 0 {
				kept = append(kept, g)
			}
		}
	}
	m.groups = kept
}

// addGroups adds a dog's groups with the runs and trainers that could serve it in an empty school. A dog alone never takes
// a place worth less than nothing.
func (b *builder) addGroups(own int32, d *Dog, alone bool) {
	m := b.m
	for i := range d.Placements {
		in := &d.Placements[i]
		s := b.site[int32(in.Site)]
		g := group{dog: own, site: s, value: int32(in.Value), arrive: int16(in.Arrival), leave: int16(in.Arrival + d.Nights)}
		g.vacate = int16(min(int(g.leave)+m.p.Sites[in.Site].CleanDown, m.nights))
		if m.capacity[m.cell(m.intakeLine[s], in.Arrival)] < 1 || m.capacity[m.cell(m.handLine[s], int(g.leave))] < 1 {
			continue
		}
		b.usableRuns(&g, in)
		b.usableTrainers(&g, in)
		if len(b.runs) == 0 || len(b.trainers) == 0 {
			continue
		}
		b.store(&g)
		if alone && m.bestValue(&g) <= 0 {
			continue
		}
		m.groups = append(m.groups, g)
	}
}

func (b *builder) usableRuns(g *group, in *Group) {
	m := b.m
	b.runs = b.runs[:0]
	for _, r := range in.Runs {
		line := m.runLine[g.site] + int32(r.Class)
		row := m.capacity[m.cell(line, int(g.arrive)):m.cell(line, int(g.vacate))]
		if slices.Min(row) >= 1 {
			b.runs = append(b.runs, runChoice{line: line, penalty: int32(r.Penalty)})
		}
	}
}

func (b *builder) usableTrainers(g *group, in *Group) {
	m := b.m
	b.trainers = b.trainers[:0]
	for _, t := range in.Trainers {
		own := b.trainer[int32(t.Trainer)]
		c := trainerChoice{trainer: own, penalty: int32(t.Penalty), minutes: int32(t.Minutes), cover: int32(t.Cover)}
		c.load = m.load(own, c.minutes)
		fits := true
		for k := int(g.arrive); k < int(g.leave) && fits; k++ {
			use := c.cover
			if m.works[int(own)*m.stride+k] {
				use = c.minutes
				fits = m.capacity[m.cell(m.workLine[own], k)] >= c.minutes && m.capacity[m.cell(m.dogLine[own], k)] >= 1
			}
			if line := m.minuteLine[g.site]; line >= 0 && use > m.capacity[m.cell(line, k)] {
				fits = false
			}
		}
		if fits {
			b.trainers = append(b.trainers, c)
		}
	}
}

// store keeps the lists just found, sharing them with the group before when they are the same.
func (b *builder) store(g *group) {
	m := b.m
	if last := m.runs[b.lastRuns[0] : b.lastRuns[0]+b.lastRuns[1]]; !slices.Equal(last, b.runs) {
		b.lastRuns = [2]int32{int32(len(m.runs)), int32(len(b.runs))}
		m.runs = append(m.runs, b.runs...)
	}
	if last := m.trainers[b.lastTrainers[0] : b.lastTrainers[0]+b.lastTrainers[1]]; !slices.Equal(last, b.trainers) {
		b.lastTrainers = [2]int32{int32(len(m.trainers)), int32(len(b.trainers))}
		m.trainers = append(m.trainers, b.trainers...)
	}
	g.runFrom, g.nRuns = b.lastRuns[0], uint16(b.lastRuns[1])
	g.trainerFrom, g.nTrainers = b.lastTrainers[0], uint16(b.lastTrainers[1])
}
