package allocation

import (
	"cmp"
	"slices"
)

// ResourceKind tells the kinds of capacity apart.
type ResourceKind int

const (
	RunNight ResourceKind = iota
	IntakePlace
	HandoverPlace
	SiteMinutes
	TrainerMinutes
	TrainerDogs
)

// Resource is one capacity on one day. Class is the run class for RunNight and -1 otherwise; Trainer is -1 for a site's
// resources.
type Resource struct {
	Kind                      ResourceKind
	Site, Class, Trainer, Day int
}

// Block is one resource that keeps an option from being taken: Use is what the plan uses without this dog (and its
// household), Need what the option wants on top, and Need+Use is above Capacity. Hard says that Need alone is already above
// Capacity, so that no change of the plan would help. Holders are the placed dogs that use the resource, in order.
type Block struct {
	Resource
	Use, Need, Capacity int
	Hard                bool
	Holders             []int
}

// BlockedOption is one way to place the dog, and for a household its fellows too, that the plan has no room for.
// Placements holds one placement for each of them. Over is what they would cost in points for running over soft levels, on top of
// the plan. No Blocks means that there was room: a plan of Solve leaves out such an option when it is worth less than nothing, or less
// than Over. Displaces lists the dogs that hold any of the blocking resources: some of
// them, not always all, would have to make room.
type BlockedOption struct {
	Placements []Placement
	Value      int64
	Over       int64
	Blocks     []Block
	Hard       bool
	Displaces  []int
}

// Refusal explains why a dog is not in a plan. Options are its best ways to be placed, one for each site and arrival day,
// the most valuable first, at most MaxOptions of them; Nearest is the one blocked on the fewest resource-days that is not
// hard, counted over all options, or nil. Impossible says that every option there is, is hard (or that there is none):
// otherwise the refusal is a trade-off.
type Refusal struct {
	Dogs       []int
	Considered int
	Options    []BlockedOption
	Nearest    *BlockedOption
	Impossible bool
}

// MaxOptions is how many options a Refusal lists.
const MaxOptions = 8

// Blockers explains why a dog is not in a plan that keeps the rules. For a placed dog it returns a Refusal without options.
// To explain many dogs of one plan, use NewExplainer once.
func Blockers(p *Problem, placements []Placement, dog int) Refusal {
	return NewExplainer(p, placements).Blockers(dog)
}

// Explainer answers Blockers for many dogs of one plan. It is not safe for use by several goroutines at once.
type Explainer struct {
	p      *Problem
	use    Use
	placed []Placement
	isIn   []bool
	family map[int][]int
	// by holds the placements of each site, so that holders are found without going through the whole plan.
	by [][]int
}

// NewExplainer counts the plan once.
func NewExplainer(p *Problem, placements []Placement) *Explainer {
	e := &Explainer{p: p, use: Usage(p, placements), placed: placements, isIn: make([]bool, len(p.Dogs)),
		family: map[int][]int{}, by: make([][]int, len(p.Sites))}
	for i, pl := range placements {
		e.isIn[pl.Dog] = true
		e.by[pl.Site] = append(e.by[pl.Site], i)
	}
	for _, dogs := range p.Together {
		for _, d := range dogs {
			e.family[d] = dogs
		}
	}
	return e
}

// Blockers explains one dog; see the function of the same name.
func (e *Explainer) Blockers(dog int) Refusal {
	dogs := e.family[dog]
	if dogs == nil {
		dogs = []int{dog}
	}
	r := Refusal{Dogs: dogs}
	if e.isIn[dog] {
		return r
	}
	r.Impossible = true
	var all []BlockedOption
	for g := range e.p.Dogs[dogs[0]].Placements {
		first := &e.p.Dogs[dogs[0]].Placements[g]
		option, considered := e.joint(dogs, first.Site, first.Arrival)
		r.Considered += considered
		if considered == 0 {
			continue
		}
		r.Impossible = r.Impossible && option.Hard
		all = append(all, option)
	}
	slices.SortStableFunc(all, func(a, b BlockedOption) int { return cmp.Compare(b.Value-b.Over, a.Value-a.Over) })
	for i := range all {
		if !all[i].Hard && (r.Nearest == nil || len(all[i].Blocks) < len(r.Nearest.Blocks)) {
			near := all[i]
			r.Nearest = &near
		}
	}
	r.Options = all[:min(len(all), MaxOptions)]
	return r
}

// joint finds, for all dogs of a household on one site and day, the choice of runs and trainers with the fewest blocks:
// dog by dog, which for a single dog is exact.
func (e *Explainer) joint(dogs []int, site, arrival int) (out BlockedOption, considered int) {
	defer func() { // take the trial placements out again
		for _, pl := range out.Placements {
			_, minutes, cover, _ := offered(&e.p.Dogs[pl.Dog], pl)
			e.use.add(e.p, pl, minutes, cover, -1)
		}
	}()
	for _, d := range dogs {
		g := groupAt(&e.p.Dogs[d], site, arrival)
		if g == nil || len(g.Runs) == 0 || len(g.Trainers) == 0 {
			return out, 0
		}
		var best BlockedOption
		for _, run := range g.Runs {
			for _, tr := range g.Trainers {
				considered++
				pl := Placement{Dog: d, Site: site, Arrival: arrival, Run: run.Class, Trainer: tr.Trainer}
				o := e.try(pl, tr)
				o.Value = int64(g.Value - run.Penalty - tr.Penalty)
				o.Over = e.use.adds(e.p, pl, tr.Minutes, tr.Cover)
				if best.Placements == nil || easier(o, best) {
					best = o
				}
			}
		}
		pl := best.Placements[0]
		_, minutes, cover, _ := offered(&e.p.Dogs[d], pl)
		out.Over += e.use.adds(e.p, pl, minutes, cover)
		e.use.add(e.p, pl, minutes, cover, 1)
		out.Placements = append(out.Placements, pl)
		out.Value += best.Value
		for _, b := range best.Blocks {
			e.countFellows(&b, out.Placements[:len(out.Placements)-1])
			out.Hard = out.Hard || b.Hard
			out.Blocks = append(out.Blocks, b)
		}
	}
	for i := range out.Blocks {
		b := &out.Blocks[i]
		b.Holders = e.holders(b.Resource)
		out.Displaces = append(out.Displaces, b.Holders...)
	}
	slices.Sort(out.Displaces)
	out.Displaces = slices.Compact(out.Displaces)
	return out, considered
}

func easier(a, b BlockedOption) bool {
	if a.Hard != b.Hard {
		return b.Hard
	}
	if len(a.Blocks) != len(b.Blocks) {
		return len(a.Blocks) < len(b.Blocks)
	}
	return a.Value-a.Over > b.Value-b.Over
}

func groupAt(d *Dog, site, arrival int) *Group {
	for g := range d.Placements {
		if d.Placements[g].Site == site && d.Placements[g].Arrival == arrival {
			return &d.Placements[g]
		}
	}
	return nil
}

// try lists what blocks one placement.
func (e *Explainer) try(pl Placement, tr TrainerOption) BlockedOption {
	o := BlockedOption{Placements: []Placement{pl}}
	note := func(r Resource, l Line, need int) {
		if b := (Block{Resource: r, Use: l.Used[r.Day], Need: need, Capacity: l.Capacity[r.Day]}); b.Use+need > b.Capacity && need > 0 {
			b.Hard = need > b.Capacity
			o.Hard = o.Hard || b.Hard
			o.Blocks = append(o.Blocks, b)
		}
	}
	site, trainer := &e.use.Sites[pl.Site], &e.use.Trainers[pl.Trainer]
	leave := pl.Arrival + e.p.Dogs[pl.Dog].Nights
	at := func(kind ResourceKind, day int) Resource {
		return Resource{Kind: kind, Site: pl.Site, Class: -1, Trainer: -1, Day: day}
	}
	note(at(IntakePlace, pl.Arrival), site.Intake, 1)
	note(at(HandoverPlace, leave), site.Handover, 1)
	for k := pl.Arrival; k < min(leave+e.p.Sites[pl.Site].CleanDown, e.p.Days-1); k++ {
		r := at(RunNight, k)
		r.Class = pl.Run
		note(r, site.Runs[pl.Run], 1)
	}
	for k := pl.Arrival; k < leave; k++ {
		atSite := tr.Cover
		if e.p.Trainers[pl.Trainer].Works[k] {
			atSite = tr.Minutes
			r := at(TrainerMinutes, k)
			r.Trainer = pl.Trainer
			note(r, trainer.Minutes, tr.Minutes)
			r.Kind = TrainerDogs
			note(r, trainer.Dogs, 1)
		}
		if e.p.Sites[pl.Site].Minutes != nil {
			note(at(SiteMinutes, k), site.Minutes, atSite)
		}
	}
	return o
}

// countFellows moves what the household's other dogs want from a block's use to its need.
func (e *Explainer) countFellows(b *Block, fellows []Placement) {
	for _, pl := range fellows {
		n := e.amount(pl, b.Resource)
		b.Use -= n
		b.Need += n
	}
	b.Hard = b.Need > b.Capacity
}

// amount is what a placement uses of a resource.
func (e *Explainer) amount(pl Placement, r Resource) int {
	leave := pl.Arrival + e.p.Dogs[pl.Dog].Nights
	present := pl.Arrival <= r.Day && r.Day < leave
	works := present && e.p.Trainers[pl.Trainer].Works[r.Day]
	_, minutes, cover, _ := offered(&e.p.Dogs[pl.Dog], pl)
	one := func(uses bool) int {
		if uses {
			return 1
		}
		return 0
	}
	switch {
	case pl.Site != r.Site:
		return 0
	case r.Kind == RunNight:
		return one(pl.Run == r.Class && pl.Arrival <= r.Day && r.Day < leave+e.p.Sites[r.Site].CleanDown)
	case r.Kind == IntakePlace:
		return one(pl.Arrival == r.Day)
	case r.Kind == HandoverPlace:
		return one(leave == r.Day)
	case r.Kind == SiteMinutes && works:
		return minutes
	case r.Kind == SiteMinutes && present:
		return cover
	case r.Kind == TrainerMinutes && works && pl.Trainer == r.Trainer:
		return minutes
	case r.Kind == TrainerDogs:
		return one(works && pl.Trainer == r.Trainer)
	}
	return 0
}

// holders lists the placed dogs that use a resource.
func (e *Explainer) holders(r Resource) []int {
	var out []int
	for _, i := range e.by[r.Site] {
		if e.amount(e.placed[i], r) > 0 {
			out = append(out, e.placed[i].Dog)
		}
	}
	slices.Sort(out)
	return out
}
