package allocation

import (
	"cmp"
	"fmt"
	"slices"
)

// Extra is Amount more of one resource, on one day.
type Extra struct {
	Resource
	Amount int
}

// Change is something that an owner or a school could do so that a dog can be placed: further groups for some dogs, more of
// some resources, or both. The zero value changes nothing.
type Change struct {
	// Groups are further ways to place a dog, by dog. Where it has a group for that site and day already, the runs and
	// trainers that are new there are added to it, and its value stays.
	Groups map[int][]Group
	Extras []Extra
}

// Apply returns a problem with the change made; p is left as it is, and the two share what did not change. The error wraps
// ErrInvalid where the change names what does not exist.
func (c Change) Apply(p *Problem) (*Problem, error) {
	out := *p
	out.Sites, out.Trainers, out.Dogs = slices.Clone(p.Sites), slices.Clone(p.Trainers), slices.Clone(p.Dogs)
	for _, dog := range sortedDogs(c.Groups) {
		if dog < 0 || dog >= len(p.Dogs) {
			return nil, invalid("a change is for dog %d; there are %d dogs", dog, len(p.Dogs))
		}
		out.Dogs[dog].Placements = join(p.Dogs[dog].Placements, c.Groups[dog])
		for g := range out.Dogs[dog].Placements {
			if err := out.validateGroup(dog, g); err != nil {
				return nil, err
			}
		}
	}
	own := map[*int]bool{}
	for _, e := range c.Extras {
		list, err := out.series(e.Resource)
		if err != nil {
			return nil, err
		}
		if *list == nil { // a site without a limit on its minutes needs no more of them
			continue
		}
		if e.Day < 0 || e.Day >= len(*list) {
			return nil, invalid("a change is for day %d; there are %d days", e.Day, len(*list))
		}
		if !own[&(*list)[0]] {
			*list = slices.Clone(*list)
			own[&(*list)[0]] = true
		}
		if (*list)[e.Day] += e.Amount; (*list)[e.Day] < 0 || (*list)[e.Day] > MaxNumber {
			return nil, invalid("a change leaves %d of a resource on day %d; keep it from 0 to %d", (*list)[e.Day], e.Day, MaxNumber)
		}
	}
	return &out, nil
}

func sortedDogs(groups map[int][]Group) []int {
	var dogs []int
	for d := range groups {
		dogs = append(dogs, d)
	}
	slices.Sort(dogs)
	return dogs
}

// series finds the list of numbers of a resource. p's sites and trainers must be p's own; the run classes of a site are copied
// here, since they lie one level deeper.
func (p *Problem) series(r Resource) (*[]int, error) {
	if r.Site < 0 || r.Site >= len(p.Sites) {
		return nil, invalid("a change is for site %d; there are %d sites", r.Site, len(p.Sites))
	}
	site := &p.Sites[r.Site]
	switch r.Kind {
	case RunNight:
		if r.Class < 0 || r.Class >= len(site.Runs) {
			return nil, invalid("a change is for run class %d; site %d has %d", r.Class, r.Site, len(site.Runs))
		}
		site.Runs = slices.Clone(site.Runs)
		return &site.Runs[r.Class].Capacity, nil
	case IntakePlace:
		return &site.Intake, nil
	case HandoverPlace:
		return &site.Handover, nil
	case SiteMinutes:
		return &site.Minutes, nil
	}
	if r.Trainer < 0 || r.Trainer >= len(p.Trainers) {
		return nil, invalid("a change is for trainer %d; there are %d", r.Trainer, len(p.Trainers))
	}
	if r.Kind == TrainerMinutes {
		return &p.Trainers[r.Trainer].Minutes, nil
	}
	return &p.Trainers[r.Trainer].Dogs, nil
}

// join adds groups to a dog's own.
func join(own, more []Group) []Group {
	out := slices.Clone(own)
	for _, g := range more {
		at := slices.IndexFunc(out, func(x Group) bool { return x.Site == g.Site && x.Arrival == g.Arrival })
		if at < 0 {
			out = append(out, g)
			continue
		}
		x := &out[at]
		x.Runs, x.Trainers = slices.Clone(x.Runs), slices.Clone(x.Trainers)
		for _, r := range g.Runs {
			if !slices.ContainsFunc(x.Runs, func(o RunOption) bool { return o.Class == r.Class }) {
				x.Runs = append(x.Runs, r)
			}
		}
		for _, t := range g.Trainers {
			if !slices.ContainsFunc(x.Trainers, func(o TrainerOption) bool { return o.Trainer == t.Trainer }) {
				x.Trainers = append(x.Trainers, t)
			}
		}
	}
	return out
}

// Lack is what a placement needs of one resource beyond what a plan leaves of it: Amount on the days from Day to Last, which
// is the most that is missing on any of them. A run is lacked for the whole stay, since a dog does not change its run.
type Lack struct {
	Resource
	Last, Amount int
}

// extras turns lacks into the change that makes them good. A trainer's minutes are the site's as well.
func extras(p *Problem, lacks []Lack) []Extra {
	var out []Extra
	for _, l := range lacks {
		for day := l.Day; day <= l.Last; day++ {
			r := l.Resource
			r.Day = day
			if (r.Kind == TrainerMinutes || r.Kind == TrainerDogs) && !p.Trainers[r.Trainer].Works[day] {
				continue
			}
			out = append(out, Extra{r, l.Amount})
			if r.Kind == TrainerMinutes && p.Sites[r.Site].Minutes != nil {
				out = append(out, Extra{Resource{Kind: SiteMinutes, Site: r.Site, Class: -1, Trainer: -1, Day: day}, l.Amount})
			}
		}
	}
	return out
}

// Finding says what was found out about a claim.
type Finding int

const (
	// NotFound: a limited search found no way, and did not prove that there is none.
	NotFound Finding = iota
	// Found: a way was found, and Check has recounted it.
	Found
	// Impossible: it is proven that there is no way.
	Impossible
)

// Verdict says whether a dog (and its household) can be placed after a change. Kept is about a plan with every other placement
// as it is; Rearranged about one in which the others may be moved to other options of theirs but nobody is dropped, and is
// only looked for when the first fails. Plan is the whole plan found, and Gain what it is worth more than the one before.
type Verdict struct {
	Kept, Rearranged Finding
	Plan             []Placement
	Gain             int64
}

// Judge tries changes for a dog that a plan leaves out, each by itself. o limits the search with the others rearranged; with
// Iterations below 0 there is none. A placement that is worth nothing or less does not count: no plan would take it.
func Judge(p *Problem, plan []Placement, dog int, changes []Change, o Options) ([]Verdict, error) {
	before, err := Check(p, plan)
	if err != nil {
		return nil, fmt.Errorf("the plan to judge changes of: %w", err)
	}
	out := make([]Verdict, len(changes))
	for i, c := range changes {
		q, err := c.Apply(p)
		if err != nil {
			return nil, err
		}
		b := newBook(q, plan)
		dogs := b.household(dog)
		v := &out[i]
		v.Kept, v.Plan = b.fit(dogs)
		switch {
		case v.Kept == Found:
			v.Rearranged = Found
		case o.Iterations >= 0:
			if v.Rearranged, v.Plan, err = Rearrange(q, plan, dog, o); err != nil {
				return nil, err
			}
		}
		if v.Rearranged == Found {
			after, err := Check(q, v.Plan)
			if err != nil {
				return nil, fmt.Errorf("a plan with dog %d breaks a rule, which is a fault in the search for it: %w", dog, err)
			}
			v.Gain = after - before
		}
	}
	return out, nil
}

func sortByDog(plan []Placement) []Placement {
	slices.SortFunc(plan, func(a, b Placement) int { return cmp.Compare(a.Dog, b.Dog) })
	return plan
}
