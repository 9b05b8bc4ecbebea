package allocation

import "slices"

// stay is a placement with what it uses.
type stay struct {
	Placement
	minutes, cover, leave int
	value                 int64
}

// book is a plan counted once, with stays that can be put in and taken out again.
type book struct {
	p      *Problem
	use    Use
	stays  map[int]stay // by dog
	bySite [][]int      // dogs placed at each site, ascending
	family map[int][]int
}

func newBook(p *Problem, plan []Placement) *book {
	b := &book{p: p, use: newUse(p), stays: make(map[int]stay, len(plan)), bySite: make([][]int, len(p.Sites)), family: map[int][]int{}}
	for _, dogs := range p.Together {
		for _, d := range dogs {
			b.family[d] = dogs
		}
	}
	for _, pl := range plan {
		value, minutes, cover, ok := offered(&p.Dogs[pl.Dog], pl)
		if ok {
			b.enter(stay{pl, minutes, cover, pl.Arrival + p.Dogs[pl.Dog].Nights, int64(value)})
		}
	}
	for _, dogs := range b.bySite {
		slices.Sort(dogs)
	}
	return b
}

// household lists the dogs that come with a dog, itself included.
func (b *book) household(dog int) []int {
	if dogs := b.family[dog]; dogs != nil {
		return dogs
	}
	return []int{dog}
}

func (b *book) count(s *stay, times int) { b.use.add(b.p, s.Placement, s.minutes, s.cover, times) }

// enter adds a stay to the plan, remove takes a dog's out.
func (b *book) enter(s stay) {
	b.count(&s, 1)
	b.stays[s.Dog] = s
	b.bySite[s.Site] = append(b.bySite[s.Site], s.Dog)
}

func (b *book) remove(dog int) stay {
	s := b.stays[dog]
	b.count(&s, -1)
	delete(b.stays, dog)
	at := slices.Index(b.bySite[s.Site], dog)
	b.bySite[s.Site] = slices.Delete(b.bySite[s.Site], at, at+1)
	return s
}

// plan lists the placements, by dog.
func (b *book) plan() []Placement {
	out := make([]Placement, 0, len(b.stays))
	for _, s := range b.stays {
		out = append(out, s.Placement)
	}
	return sortByDog(out)
}

// mostJoint is how many joint choices of run and trainer are tried for a household on one site and day. Up to three dogs with five
// trainers and three runs each stay below it; beyond it the search is not exhaustive, and says so.
const mostJoint = 4000

// each visits every way to place the dogs with these groups (one list a dog): at one site on one day, with every choice of runs and
// trainers. It returns false when there were too many to visit all. The stays passed on are good until visit returns.
func (b *book) each(dogs []int, groups [][]Group, visit func(stays []stay)) (all bool) {
	all = true
	stays := make([]stay, len(dogs))
	lists := make([][]stay, len(dogs))
	for g := range groups[0] {
		first := &groups[0][g]
		joint := 1
		for i, dog := range dogs {
			lists[i] = b.choices(dog, groups[i], first.Site, first.Arrival, lists[i][:0])
			joint *= len(lists[i])
			if joint > mostJoint {
				joint, all = 0, false
				break
			}
		}
		if joint == 0 {
			continue
		}
		var pick func(i int)
		pick = func(i int) {
			if i == len(dogs) {
				visit(stays)
				return
			}
			for _, s := range lists[i] {
				stays[i] = s
				pick(i + 1)
			}
		}
		pick(0)
	}
	return all
}

// choices lists a dog's stays at one site and day.
func (b *book) choices(dog int, groups []Group, site, arrival int, out []stay) []stay {
	for _, g := range groups {
		if g.Site != site || g.Arrival != arrival {
			continue
		}
		for _, r := range g.Runs {
			for _, t := range g.Trainers {
				out = append(out, stay{Placement{dog, site, arrival, r.Class, t.Trainer}, t.Minutes, t.Cover, arrival + b.p.Dogs[dog].Nights,
					int64(g.Value - r.Penalty - t.Penalty)})
			}
		}
	}
	return out
}

// own lists the dogs' groups in the problem.
func (b *book) own(dogs []int) [][]Group {
	groups := make([][]Group, len(dogs))
	for i, d := range dogs {
		groups[i] = b.p.Dogs[d].Placements
	}
	return groups
}

// bestFit is the most valuable way to place the dogs with every other placement as it is; nothing if there is none.
func (b *book) bestFit(dogs []int) []stay {
	best, _ := b.search(dogs)
	return best
}

func (b *book) search(dogs []int) (best []stay, all bool) {
	var worth int64
	all = b.each(dogs, b.own(dogs), func(stays []stay) {
		if valueOf(stays) <= worth {
			return
		}
		if lacks, net := b.try(stays); net > worth && len(lacks) == 0 {
			best, worth = slices.Clone(stays), net
		}
	})
	return best, all
}

// fit returns the plan with the dogs placed in the most valuable way, every other placement as it is.
func (b *book) fit(dogs []int) (Finding, []Placement) {
	best, all := b.search(dogs)
	switch {
	case best != nil:
		plan := b.plan()
		for _, s := range best {
			plan = append(plan, s.Placement)
		}
		return Found, sortByDog(plan)
	case all:
		return Impossible, nil
	}
	return NotFound, nil
}

func valueOf(stays []stay) (sum int64) {
	for i := range stays {
		sum += stays[i].value
	}
	return sum
}

// try lists what these stays need together beyond what the plan leaves, nothing if they fit, and what the plan would gain by them:
// their value less what they would run over soft levels.
func (b *book) try(stays []stay) (lacks []Lack, net int64) {
	for i := range stays {
		s := &stays[i]
		net += s.value - b.use.adds(b.p, s.Placement, s.minutes, s.cover)
		b.count(s, 1)
	}
	var f lackFinder
	for i := range stays {
		f.look(b, &stays[i])
	}
	f.settle(b)
	for i := range stays {
		b.count(&stays[i], -1)
	}
	return f.lacks, net
}

// lackFinder collects lacks; those of a site's minutes last, since a trainer's further minutes help there too.
type lackFinder struct {
	lacks   []Lack
	minutes []Extra
}

func (f *lackFinder) note(r Resource, first, last, amount int) {
	for i := range f.lacks {
		l := &f.lacks[i]
		if l.Kind == r.Kind && l.Site == r.Site && l.Class == r.Class && l.Trainer == r.Trainer && (r.Kind > HandoverPlace || r.Kind == RunNight || l.Day == first) {
			l.Day, l.Last, l.Amount = min(l.Day, first), max(l.Last, last), max(l.Amount, amount)
			return
		}
	}
	r.Day = first
	f.lacks = append(f.lacks, Lack{r, last, amount})
}

// look notes where a stay, counted already, goes beyond what there is.
func (f *lackFinder) look(b *book, s *stay) {
	site, trainer := &b.use.Sites[s.Site], &b.use.Trainers[s.Trainer]
	at := Resource{Site: s.Site, Class: -1, Trainer: -1}
	if n := -site.Intake.Left(s.Arrival); n > 0 {
		at.Kind = IntakePlace
		f.note(at, s.Arrival, s.Arrival, n)
	}
	if n := -site.Handover.Left(s.leave); n > 0 {
		at.Kind = HandoverPlace
		f.note(at, s.leave, s.leave, n)
	}
	vacate, most := min(s.leave+b.p.Sites[s.Site].CleanDown, b.p.Days-1), 0
	for k := s.Arrival; k < vacate; k++ {
		most = max(most, -site.Runs[s.Run].Left(k))
	}
	if most > 0 {
		f.note(Resource{Kind: RunNight, Site: s.Site, Class: s.Run, Trainer: -1}, s.Arrival, vacate-1, most)
	}
	works, limited := b.p.Trainers[s.Trainer].Works, site.Minutes.Capacity != nil
	for k := s.Arrival; k < s.leave; k++ {
		if works[k] {
			r := Resource{Kind: TrainerMinutes, Site: s.Site, Class: -1, Trainer: s.Trainer}
			if n := -trainer.Minutes.Left(k); n > 0 {
				f.note(r, k, k, n)
			}
			if n := -trainer.Dogs.Left(k); n > 0 {
				r.Kind = TrainerDogs
				f.note(r, k, k, n)
			}
		}
		if limited {
			if n := -site.Minutes.Left(k); n > 0 {
				at.Kind, at.Day = SiteMinutes, k
				f.minutes = append(f.minutes, Extra{at, n})
			}
		}
	}
}

// settle turns what is missing of a site's minutes into lacks. Where a trainer lacks minutes anyway and works on the day, they
// are that trainer's: one change instead of two.
func (f *lackFinder) settle(b *book) {
	for _, e := range f.minutes {
		for i := range f.lacks {
			if l := &f.lacks[i]; l.Kind == TrainerMinutes && b.p.Trainers[l.Trainer].Works[e.Day] {
				l.Day, l.Last, l.Amount = min(l.Day, e.Day), max(l.Last, e.Day), max(l.Amount, e.Amount)
				break
			}
		}
	}
	for _, e := range f.minutes {
		missing := e.Amount
		for _, l := range f.lacks {
			if l.Kind == TrainerMinutes && l.Day <= e.Day && e.Day <= l.Last && b.p.Trainers[l.Trainer].Works[e.Day] {
				missing -= l.Amount
			}
		}
		if missing > 0 {
			f.note(e.Resource, e.Day, e.Day, missing)
		}
	}
}
