package allocation

import (
	"cmp"
	"fmt"
	"slices"
)

// Displacement is a plan with a dog that another plan left out, made by taking others out of its way. Gone are placed in the plan
// before and not in this one, Moved are placed otherwise; Cost is the value lost, which a better rearrangement could only lower.
// Check has counted Plan.
type Displacement struct {
	Plan        []Placement
	Gone, Moved []int
	Cost        int64
}

// Limits of the search for a displacement, in options of the dog tried and in sets of others tried, for each dog. They keep a whole
// wait list within seconds.
const (
	displaceOptions = 60
	displaceNodes   = 1500
)

// Displace looks for the cheapest way to make room for a dog (with its household) by taking others out, who then take what room
// is left elsewhere. It returns nil when it finds none. Options worth
// nothing or less are not considered. The search is limited by work: the cost is one that was reached, not the
// least that could be. Soft levels are counted in the cost and do not guide the search.
func (w *Weigher) Displace(dog int) (*Displacement, error) {
	dogs := w.book.household(dog)
	if _, placed := w.book.stays[dog]; placed {
		return nil, nil
	}
	d := &displacer{book: w.book, unit: map[int]int64{}}
	for _, o := range d.options(dogs) {
		if d.found && o.least-valueOf(o.stays) >= d.best || d.nodes <= 0 {
			break
		}
		d.try(o.stays)
	}
	if !d.found {
		return nil, nil
	}
	taken := make([]stay, len(d.out))
	for i, gone := range d.out {
		taken[i] = w.book.remove(gone)
	}
	for _, s := range d.in {
		w.book.enter(s)
	}
	back := d.resettle(w.book)
	plan := w.book.plan()
	for _, dog := range append(back, dogs...) {
		w.book.remove(dog)
	}
	for _, s := range taken {
		w.book.enter(s)
	}
	return displacement(w.p, w.plan, plan)
}

// displacement says how a plan differs from one before.
func displacement(p *Problem, before, after []Placement) (*Displacement, error) {
	out := &Displacement{Plan: after}
	at, touched := make(map[int]Placement, len(after)), map[int]bool{}
	for _, pl := range after {
		at[pl.Dog] = pl
	}
	for _, pl := range before {
		now, in := at[pl.Dog]
		delete(at, pl.Dog)
		switch {
		case !in:
			out.Gone = append(out.Gone, pl.Dog)
		case now != pl:
			out.Moved = append(out.Moved, pl.Dog)
			touched[now.Site] = true
		default:
			continue
		}
		touched[pl.Site] = true
	}
	for _, pl := range at {
		touched[pl.Site] = true
	}
	slices.Sort(out.Gone)
	slices.Sort(out.Moved)
	// Sites share nothing: those where nothing changed need no recount.
	was, err := Check(p, atSites(before, touched))
	if err != nil {
		return nil, fmt.Errorf("the plan to compare with: %w", err)
	}
	is, err := Check(p, atSites(after, touched))
	if err != nil {
		return nil, fmt.Errorf("a plan with others displaced breaks a rule, which is a fault in the search for it: %w", err)
	}
	out.Cost = was - is
	return out, nil
}

// displacer searches for the cheapest set of placed dogs to take out.
type displacer struct {
	book  *book
	unit  map[int]int64 // value of a placed dog with its household
	nodes int

	found bool
	best  int64 // value of those taken out less the value of the dogs let in
	out   []int
	in    []stay
	trail []int
}

type wayIn struct {
	stays []stay
	least int64 // those in its way are worth at least this
}

// options lists the ways in, the most promising first.
func (d *displacer) options(dogs []int) []wayIn {
	var ways []wayIn
	d.book.each(dogs, d.book.own(dogs), func(stays []stay) {
		if valueOf(stays) <= 0 {
			return
		}
		var least int64
		lacks, _ := d.book.try(stays)
		for _, l := range lacks {
			if l.Kind == RunNight {
				continue // which night is short is not known here
			}
			cheapest := int64(1) << 40
			for _, holder := range d.holders(l.Resource) {
				cheapest = min(cheapest, d.worth(holder))
			}
			least = max(least, cheapest)
		}
		ways = append(ways, wayIn{slices.Clone(stays), least})
	})
	slices.SortStableFunc(ways, func(a, b wayIn) int { return cmp.Compare(a.least-valueOf(a.stays), b.least-valueOf(b.stays)) })
	d.nodes = displaceNodes
	return ways[:min(len(ways), displaceOptions)]
}

// worth is the value of a placed dog with its household.
func (d *displacer) worth(dog int) int64 {
	v, known := d.unit[dog]
	if !known {
		for _, x := range d.book.household(dog) {
			v += d.book.stays[x].value
		}
		d.unit[dog] = v
	}
	return v
}

// uses is what a stay uses of a resource.
func (b *book) uses(s *stay, r Resource) int {
	present := s.Arrival <= r.Day && r.Day < s.leave
	one := 0
	switch {
	case s.Site != r.Site:
	case r.Kind == RunNight:
		present = s.Run == r.Class && s.Arrival <= r.Day && r.Day < s.leave+b.p.Sites[r.Site].CleanDown
		one = 1
	case r.Kind == IntakePlace:
		present, one = s.Arrival == r.Day, 1
	case r.Kind == HandoverPlace:
		present, one = s.leave == r.Day, 1
	case !present:
	case !b.p.Trainers[s.Trainer].Works[r.Day]:
		if r.Kind == SiteMinutes {
			one = s.cover
		}
	case r.Kind == SiteMinutes || r.Kind == TrainerMinutes && s.Trainer == r.Trainer:
		one = s.minutes
	case r.Kind == TrainerDogs && s.Trainer == r.Trainer:
		one = 1
	}
	if !present {
		return 0
	}
	return one
}

// holders lists the placed dogs that use a resource on its day, one of each household, the least valuable first.
func (d *displacer) holders(r Resource) []int {
	var out []int
	for _, dog := range d.book.bySite[r.Site] {
		s := d.book.stays[dog]
		if d.book.uses(&s, r) > 0 {
			out = append(out, dog)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Or(cmp.Compare(d.worth(a), d.worth(b)), cmp.Compare(a, b)) })
	return out
}

// try takes the dogs in and looks for the cheapest others to take out.
func (d *displacer) try(stays []stay) {
	for i := range stays {
		d.book.count(&stays[i], 1)
	}
	d.trail = d.trail[:0]
	d.search(stays, -valueOf(stays))
	for i := range stays {
		d.book.count(&stays[i], -1)
	}
}

func (d *displacer) search(stays []stay, cost int64) {
	d.nodes--
	if d.nodes < 0 || d.found && cost >= d.best {
		return
	}
	short, is := d.book.firstShort(stays)
	if !is {
		d.found, d.best = true, cost
		d.out, d.in = slices.Clone(d.trail), slices.Clone(stays)
		return
	}
	for _, holder := range d.holders(short) {
		worth := d.worth(holder)
		if d.found && cost+worth >= d.best {
			return // the others are worth more
		}
		var taken []stay
		for _, dog := range d.book.household(holder) {
			taken = append(taken, d.book.remove(dog))
			d.trail = append(d.trail, dog)
		}
		d.search(stays, cost+worth)
		for _, s := range taken {
			d.book.enter(s)
		}
		d.trail = d.trail[:len(d.trail)-len(taken)]
	}
}

// firstShort names a resource and day on which these stays, counted already, go beyond what there is.
func (b *book) firstShort(stays []stay) (Resource, bool) {
	for i := range stays {
		s := &stays[i]
		site, trainer := &b.use.Sites[s.Site], &b.use.Trainers[s.Trainer]
		r := Resource{Site: s.Site, Class: -1, Trainer: -1}
		if r.Kind, r.Day = IntakePlace, s.Arrival; site.Intake.Left(r.Day) < 0 {
			return r, true
		}
		if r.Kind, r.Day = HandoverPlace, s.leave; site.Handover.Left(r.Day) < 0 {
			return r, true
		}
		for k := s.Arrival; k < s.leave; k++ {
			if r.Day = k; site.Minutes.Capacity != nil && site.Minutes.Left(k) < 0 {
				r.Kind = SiteMinutes
				return r, true
			}
			if !b.p.Trainers[s.Trainer].Works[k] {
				continue
			}
			if r.Trainer = s.Trainer; trainer.Minutes.Left(k) < 0 {
				r.Kind = TrainerMinutes
				return r, true
			}
			if trainer.Dogs.Left(k) < 0 {
				r.Kind = TrainerDogs
				return r, true
			}
			r.Trainer = -1
		}
		for k := s.Arrival; k < min(s.leave+b.p.Sites[s.Site].CleanDown, b.p.Days-1); k++ {
			if site.Runs[s.Run].Left(k) < 0 {
				return Resource{Kind: RunNight, Site: s.Site, Class: s.Run, Trainer: -1, Day: k}, true
			}
		}
	}
	return Resource{}, false
}

// resettle gives those taken out what room there is elsewhere, the most valuable first, and returns those that found some.
func (d *displacer) resettle(b *book) (back []int) {
	order := slices.Clone(d.out)
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(d.worth(y), d.worth(x)) })
	for _, dog := range order {
		if _, in := b.stays[dog]; in {
			continue
		}
		for _, s := range b.bestFit(b.household(dog)) {
			b.enter(s)
			back = append(back, s.Dog)
		}
	}
	return back
}
