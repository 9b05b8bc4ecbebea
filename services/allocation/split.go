package allocation

import (
	"fmt"
	"slices"
)

// Part names a piece of a problem that shares no resource and no household with the rest: the indices, ascending, of its sites,
// trainers and dogs in the whole problem. Parts can be solved anywhere and in any order; Join puts their plans together.
type Part struct{ Sites, Trainers, Dogs []int }

// Split divides p into parts of at least least dogs each, or returns one part when there are too few for two; nothing to plan
// gives none. Pieces that are smaller go together. Dogs without any option, and sites and trainers that nobody could go to, are in
// no part. The same problem gives the same parts. p must be valid.
func Split(p *Problem, least int) []Part {
	var bundles [][]part
	var small []part
	for _, c := range components(p) {
		if c.dogs() >= least {
			bundles = append(bundles, []part{c})
			continue
		}
		if small = append(small, c); bundled(small) >= least {
			bundles, small = append(bundles, small), nil
		}
	}
	if len(small) > 0 && len(bundles) == 0 {
		bundles = append(bundles, nil)
	}
	if len(small) > 0 {
		fewest := 0
		for i := range bundles {
			if bundled(bundles[i]) < bundled(bundles[fewest]) {
				fewest = i
			}
		}
		bundles[fewest] = append(bundles[fewest], small...)
	}
	at := trainersBySite(p)
	parts := make([]Part, len(bundles))
	for i, bundle := range bundles {
		parts[i] = newPart(bundle, at)
	}
	return parts
}

func (c part) dogs() (n int) {
	for _, u := range c.units {
		n += len(u)
	}
	return n
}

func bundled(components []part) (dogs int) {
	for _, c := range components {
		dogs += c.dogs()
	}
	return dogs
}

func trainersBySite(p *Problem) [][]int {
	at := make([][]int, len(p.Sites))
	for t := range p.Trainers {
		at[p.Trainers[t].Site] = append(at[p.Trainers[t].Site], t)
	}
	return at
}

func newPart(components []part, trainers [][]int) Part {
	var x Part
	for _, c := range components {
		for _, s := range c.sites {
			x.Sites = append(x.Sites, int(s))
			x.Trainers = append(x.Trainers, trainers[s]...)
		}
		for _, u := range c.units {
			for _, d := range u {
				x.Dogs = append(x.Dogs, int(d))
			}
		}
	}
	slices.Sort(x.Sites)
	slices.Sort(x.Trainers)
	slices.Sort(x.Dogs)
	return x
}

// Problem returns the part as a problem of its own, with indices of its own: the i-th site is site x.Sites[i] of p, and so on.
// Numbers by day are shared with p.
func (x Part) Problem(p *Problem) *Problem {
	out := &Problem{Name: p.Name, Days: p.Days, Sites: make([]Site, len(x.Sites)), Trainers: make([]Trainer, len(x.Trainers)), Dogs: make([]Dog, len(x.Dogs))}
	own := x.own()
	for i, s := range x.Sites {
		out.Sites[i] = p.Sites[s]
	}
	for i, t := range x.Trainers {
		out.Trainers[i] = p.Trainers[t]
		out.Trainers[i].Site = own.sites[p.Trainers[t].Site]
	}
	for i, d := range x.Dogs {
		out.Dogs[i] = own.dog(&p.Dogs[d])
	}
	for _, dogs := range p.Together {
		if _, here := own.dogs[dogs[0]]; here {
			household := make([]int, len(dogs))
			for i, d := range dogs {
				household[i] = own.dogs[d]
			}
			out.Together = append(out.Together, household)
		}
	}
	return out
}

// Start picks what a plan of the whole problem says of the part, in the part's indices, for Options.Warm.
func (x Part) Start(plan []Placement) []Placement {
	own := x.own()
	var out []Placement
	for _, pl := range plan {
		if dog, here := own.dogs[pl.Dog]; here {
			site, atSite := own.sites[pl.Site]
			trainer, byTrainer := own.trainers[pl.Trainer]
			if atSite && byTrainer {
				out = append(out, Placement{Dog: dog, Site: site, Arrival: pl.Arrival, Run: pl.Run, Trainer: trainer})
			}
		}
	}
	return out
}

// ownIndices turn the whole problem's indices into a part's.
type ownIndices struct {
	sites, trainers, dogs map[int]int
	// The last list of trainers turned: neighbouring groups nearly always repeat it, and sharing one copy saves most of the memory.
	from, to []TrainerOption
}

func (x Part) own() *ownIndices {
	inverse := func(list []int) map[int]int {
		m := make(map[int]int, len(list))
		for i, at := range list {
			m[at] = i
		}
		return m
	}
	return &ownIndices{sites: inverse(x.Sites), trainers: inverse(x.Trainers), dogs: inverse(x.Dogs)}
}

func (own *ownIndices) dog(d *Dog) Dog {
	out := *d
	out.Placements = slices.Clone(d.Placements)
	for i := range out.Placements {
		g := &out.Placements[i]
		g.Site = own.sites[g.Site]
		if own.to == nil || !slices.Equal(own.from, g.Trainers) {
			own.from, own.to = g.Trainers, make([]TrainerOption, len(g.Trainers))
			for j, t := range g.Trainers {
				own.to[j] = t
				own.to[j].Trainer = own.trainers[t.Trainer]
			}
		}
		g.Trainers = own.to
	}
	return out
}

// Join puts the parts' solutions together into one of p, in p's indices. Values and bounds add up, since the parts share
// nothing; the whole is optimal when every part is. Seconds are those of the longest search. The error says that parts and
// solutions do not make up the whole: a dog is in no part or in two, or the plan breaks a rule.
func Join(p *Problem, parts []Part, solutions []Solution) (Solution, error) {
	if len(parts) != len(solutions) {
		return Solution{}, fmt.Errorf("join %d parts: there are %d solutions", len(parts), len(solutions))
	}
	if err := coverAll(p, parts); err != nil {
		return Solution{}, err
	}
	out := Solution{Status: Feasible, Stopped: StopProven, Prices: blankPrices(p)}
	var claimed int64
	for i, s := range solutions {
		if len(s.Prices.Sites) != len(parts[i].Sites) || len(s.Prices.Trainers) != len(parts[i].Trainers) {
			return Solution{}, fmt.Errorf("join part %d: its prices are for %d sites and %d trainers, not %d and %d", i, len(s.Prices.Sites), len(s.Prices.Trainers), len(parts[i].Sites), len(parts[i].Trainers))
		}
		for _, pl := range s.Placements {
			whole, err := parts[i].whole(pl)
			if err != nil {
				return Solution{}, fmt.Errorf("join part %d: %w", i, err)
			}
			out.Placements = append(out.Placements, whole)
		}
		parts[i].placePrices(&out.Prices, s.Prices)
		claimed += s.Value
		out.Bound += s.Bound
		out.Seconds = max(out.Seconds, s.Seconds)
		out.Seed = s.Seed
		if out.Stopped == StopProven {
			out.Stopped = s.Stopped
		}
	}
	slices.SortFunc(out.Placements, func(a, b Placement) int { return a.Dog - b.Dog })
	value, err := Check(p, out.Placements)
	if err != nil {
		return Solution{}, fmt.Errorf("the joined plan is invalid: %w", err)
	}
	if value != claimed || out.Bound < value {
		return Solution{}, fmt.Errorf("the joined plan is worth %d, its parts %d together, with bounds of %d: parts and problem are not those that were solved", value, claimed, out.Bound)
	}
	if out.Value = value; out.Bound == value {
		out.Status, out.Stopped = Optimal, StopProven
	}
	return out, nil
}

// coverAll sees to it that each dog with an option is in one part, without which the sum of bounds would be no bound, and that
// no part names what does not exist.
func coverAll(p *Problem, parts []Part) error {
	in := make([]int, len(p.Dogs))
	for i, x := range parts {
		for _, list := range []struct {
			name  string
			index []int
			n     int
		}{{"site", x.Sites, len(p.Sites)}, {"trainer", x.Trainers, len(p.Trainers)}, {"dog", x.Dogs, len(p.Dogs)}} {
			for _, at := range list.index {
				if at < 0 || at >= list.n {
					return fmt.Errorf("join: part %d names %s %d, which does not exist", i, list.name, at)
				}
			}
		}
		for _, d := range x.Dogs {
			in[d]++
		}
	}
	for d, n := range in {
		if n > 1 || n == 0 && len(p.Dogs[d].Placements) > 0 {
			return fmt.Errorf("join: dog %d is in %d parts", d, n)
		}
	}
	return nil
}

func (x Part) whole(pl Placement) (Placement, error) {
	if pl.Dog < 0 || pl.Dog >= len(x.Dogs) || pl.Site < 0 || pl.Site >= len(x.Sites) || pl.Trainer < 0 || pl.Trainer >= len(x.Trainers) {
		return Placement{}, fmt.Errorf("dog %d at site %d with trainer %d does not exist there", pl.Dog, pl.Site, pl.Trainer)
	}
	pl.Dog, pl.Site, pl.Trainer = x.Dogs[pl.Dog], x.Sites[pl.Site], x.Trainers[pl.Trainer]
	return pl, nil
}

func (x Part) placePrices(out *Prices, in Prices) {
	for i, s := range in.Sites {
		out.Sites[x.Sites[i]] = s
	}
	for i, t := range in.Trainers {
		out.Trainers[x.Trainers[i]] = t
	}
}
