package allocation

import "fmt"

// Check recounts a plan from the problem alone and returns what it is worth. It shares nothing with the solver: it is the
// judge, not a witness. The error names the dog, the resource and the day of the first rule broken. p must be valid
// (Validate); placements may be in any order.
func Check(p *Problem, placements []Placement) (int64, error) {
	c := checker{p: p, at: make([]int, len(p.Dogs)), tallies: map[tallyKey][]int{}}
	for i := range c.at {
		c.at[i] = -1
	}
	var value int64
	for i, pl := range placements {
		v, err := c.add(i, pl)
		if err != nil {
			return 0, err
		}
		value += int64(v)
	}
	if err := c.households(placements); err != nil {
		return 0, err
	}
	return value - c.overSoftLevels(placements), nil
}

// tallyKey names one resource; its tally holds the use of every day.
type tallyKey struct {
	kind         string
	owner, class int
}

type checker struct {
	p       *Problem
	at      []int // index into the plan of each dog's placement, -1 if not placed
	tallies map[tallyKey][]int
}

// take counts amount of a resource on the days [from, to) against its capacity.
func (c *checker) take(dog int, key tallyKey, from, to, amount int, capacity []int) error {
	tally := c.tallies[key]
	if tally == nil {
		tally = make([]int, c.p.Days)
		c.tallies[key] = tally
	}
	for k := from; k < to; k++ {
		tally[k] += amount
		if tally[k] > capacity[k] {
			return fmt.Errorf("dog %d: %s on day %d: %d used of %d", dog, key, k, tally[k], capacity[k])
		}
	}
	return nil
}

// add counts one placement and every resource it uses.
func (c *checker) add(i int, pl Placement) (int, error) {
	p := c.p
	if pl.Dog < 0 || pl.Dog >= len(p.Dogs) {
		return 0, fmt.Errorf("placement %d is for dog %d; there are %d dogs", i, pl.Dog, len(p.Dogs))
	}
	if c.at[pl.Dog] >= 0 {
		return 0, fmt.Errorf("dog %d is placed twice", pl.Dog)
	}
	c.at[pl.Dog] = i
	value, minutes, cover, ok := offered(&p.Dogs[pl.Dog], pl)
	if !ok {
		return 0, fmt.Errorf("dog %d cannot be placed at site %d on day %d in run class %d with trainer %d: no such option",
			pl.Dog, pl.Site, pl.Arrival, pl.Run, pl.Trainer)
	}
	return value, c.takeAll(pl, minutes, cover)
}

// takeAll counts everything a placement uses.
func (c *checker) takeAll(pl Placement, minutes, cover int) error {
	p := c.p
	site, trainer := &p.Sites[pl.Site], &p.Trainers[pl.Trainer]
	leave := pl.Arrival + p.Dogs[pl.Dog].Nights
	if err := c.take(pl.Dog, tallyKey{"intake", pl.Site, 0}, pl.Arrival, pl.Arrival+1, 1, site.Intake); err != nil {
		return err
	}
	if err := c.take(pl.Dog, tallyKey{"handover", pl.Site, 0}, leave, leave+1, 1, site.Handover); err != nil {
		return err
	}
	clean := min(leave+site.CleanDown, p.Days-1)
	if err := c.take(pl.Dog, tallyKey{"run", pl.Site, pl.Run}, pl.Arrival, clean, 1, site.Runs[pl.Run].Capacity); err != nil {
		return err
	}
	for k := pl.Arrival; k < leave; k++ {
		atSite := cover
		if trainer.Works[k] {
			atSite = minutes
			if err := c.take(pl.Dog, tallyKey{"trainer minutes", pl.Trainer, 0}, k, k+1, minutes, trainer.Minutes); err != nil {
				return err
			}
			if err := c.take(pl.Dog, tallyKey{"trainer dogs", pl.Trainer, 0}, k, k+1, 1, trainer.Dogs); err != nil {
				return err
			}
		}
		if site.Minutes != nil {
			if err := c.take(pl.Dog, tallyKey{"site minutes", pl.Site, 0}, k, k+1, atSite, site.Minutes); err != nil {
				return err
			}
		}
	}
	return nil
}

func (k tallyKey) String() string {
	switch k.kind {
	case "run":
		return fmt.Sprintf("runs of class %d at site %d", k.class, k.owner)
	case "trainer minutes":
		return fmt.Sprintf("minutes of trainer %d", k.owner)
	case "trainer dogs":
		return fmt.Sprintf("dogs in hand of trainer %d", k.owner)
	case "site minutes":
		return fmt.Sprintf("minutes of site %d", k.owner)
	}
	return fmt.Sprintf("%s places of site %d", k.kind, k.owner)
}

// offered looks a placement up among the dog's options. Validate has seen to it that at most one fits.
func offered(d *Dog, pl Placement) (value, minutes, cover int, ok bool) {
	for _, g := range d.Placements {
		if g.Site != pl.Site || g.Arrival != pl.Arrival {
			continue
		}
		for _, r := range g.Runs {
			for _, t := range g.Trainers {
				if r.Class == pl.Run && t.Trainer == pl.Trainer {
					return g.Value - r.Penalty - t.Penalty, t.Minutes, t.Cover, true
				}
			}
		}
	}
	return 0, 0, 0, false
}

func (c *checker) households(placements []Placement) error {
	for h, dogs := range c.p.Together {
		first := c.at[dogs[0]]
		for _, d := range dogs[1:] {
			at := c.at[d]
			if (at < 0) != (first < 0) {
				return fmt.Errorf("household %d: dogs %d and %d must be placed together or not at all", h, dogs[0], d)
			}
			if at >= 0 && (placements[at].Site != placements[first].Site || placements[at].Arrival != placements[first].Arrival) {
				return fmt.Errorf("household %d: dogs %d and %d must come to one site on one day", h, dogs[0], d)
			}
		}
	}
	return nil
}
