package allocation

import (
	"errors"
	"fmt"
)

// Limits on what a Problem may hold. They are far above any real school and low enough that no sum can overflow.
const (
	MaxDays     = 1000
	MaxSites    = 100_000
	MaxClasses  = 64
	MaxTrainers = 1_000_000
	MaxDogs     = 2_000_000
	MaxGroups   = 50_000      // placement groups of one dog
	MaxChoices  = 10_000      // runs, or trainers, of one group
	MaxNumber   = 100_000_000 // any single number: minutes, capacity, points
)

// ErrInvalid marks every error about the contents of a problem or a file, so that callers can tell them from failures to
// read.
var ErrInvalid = errors.New("invalid allocation problem")

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...))
}

// Validate reports the first thing wrong with p, naming the place and what to do about it, or nil. Errors wrap ErrInvalid.
func (p *Problem) Validate() error {
	if p.Days < 1 || p.Days > MaxDays {
		return invalid("days is %d; give a number of days from 1 to %d", p.Days, MaxDays)
	}
	for _, c := range []struct {
		name     string
		have, at int
	}{{"sites", len(p.Sites), MaxSites}, {"trainers", len(p.Trainers), MaxTrainers}, {"dogs", len(p.Dogs), MaxDogs}} {
		if c.have > c.at {
			return invalid("%d %s; at most %d can be planned at once, so split the problem by region", c.have, c.name, c.at)
		}
	}
	for i := range p.Sites {
		if err := p.validateSite(i); err != nil {
			return err
		}
	}
	for i := range p.Trainers {
		if err := p.validateTrainer(i); err != nil {
			return err
		}
	}
	for i := range p.Dogs {
		if err := p.validateDog(i); err != nil {
			return err
		}
	}
	return p.validateTogether()
}

func (p *Problem) validateSite(i int) error {
	s := &p.Sites[i]
	nights := p.Days - 1
	if len(s.Runs) > MaxClasses {
		return invalid("site %d: %d run classes; at most %d", i, len(s.Runs), MaxClasses)
	}
	for c := range s.Runs {
		if err := series(fmt.Sprintf("site %d, run class %d, capacity", i, c), s.Runs[c].Capacity, nights); err != nil {
			return err
		}
	}
	if err := series(fmt.Sprintf("site %d, intake", i), s.Intake, nights); err != nil {
		return err
	}
	if err := series(fmt.Sprintf("site %d, handover", i), s.Handover, p.Days); err != nil {
		return err
	}
	if s.Minutes != nil {
		if err := series(fmt.Sprintf("site %d, minutes", i), s.Minutes, nights); err != nil {
			return err
		}
	}
	if err := p.validateEasySite(i); err != nil {
		return err
	}
	if s.CleanDown < 0 || s.CleanDown > MaxDays {
		return invalid("site %d: clean_down is %d; give the nights a run rests after a stay, from 0 to %d", i, s.CleanDown, MaxDays)
	}
	return nil
}

// series checks one list of numbers by day.
func series(what string, v []int, need int) error {
	if len(v) < need {
		return invalid("%s has %d numbers; it needs one for each of %d days", what, len(v), need)
	}
	for k, n := range v {
		if n < 0 || n > MaxNumber {
			return invalid("%s on day %d is %d; give a number from 0 to %d", what, k, n, MaxNumber)
		}
	}
	return nil
}

func (p *Problem) validateTrainer(i int) error {
	t := &p.Trainers[i]
	nights := p.Days - 1
	if t.Site < 0 || t.Site >= len(p.Sites) {
		return invalid("trainer %d works at site %d; there are sites 0 to %d", i, t.Site, len(p.Sites)-1)
	}
	if len(t.Works) < nights {
		return invalid("trainer %d, works has %d entries; it needs one for each of %d days", i, len(t.Works), nights)
	}
	if err := series(fmt.Sprintf("trainer %d, minutes", i), t.Minutes, nights); err != nil {
		return err
	}
	if err := series(fmt.Sprintf("trainer %d, dogs", i), t.Dogs, nights); err != nil {
		return err
	}
	return t.Easy.validate(fmt.Sprintf("trainer %d, easy", i), nights, t.Minutes, true)
}

func (p *Problem) validateDog(i int) error {
	d := &p.Dogs[i]
	if d.Nights < 1 || d.Nights > MaxDays {
		return invalid("dog %d stays %d nights; give a number from 1 to %d", i, d.Nights, MaxDays)
	}
	if len(d.Placements) > MaxGroups {
		return invalid("dog %d has %d placement groups; at most %d", i, len(d.Placements), MaxGroups)
	}
	seen := make(map[[2]int]int, len(d.Placements))
	for g := range d.Placements {
		if err := p.validateGroup(i, g); err != nil {
			return err
		}
		at := [2]int{d.Placements[g].Site, d.Placements[g].Arrival}
		if first, again := seen[at]; again {
			return invalid("dog %d: placements %d and %d are both for site %d and arrival on day %d; join them into one", i, first, g, at[0], at[1])
		}
		seen[at] = g
	}
	return nil
}

func (p *Problem) validateGroup(dog, at int) error {
	d := &p.Dogs[dog]
	g := &d.Placements[at]
	fail := func(format string, args ...any) error {
		return invalid("dog %d, placement %d: %s", dog, at, fmt.Sprintf(format, args...))
	}
	if g.Site < 0 || g.Site >= len(p.Sites) {
		return fail("site is %d; there are sites 0 to %d", g.Site, len(p.Sites)-1)
	}
	if g.Arrival < 0 || g.Arrival+d.Nights > p.Days-1 {
		return fail("arrival on day %d for %d nights does not fit into %d days; the last day to leave is %d", g.Arrival, d.Nights, p.Days, p.Days-1)
	}
	if !points(g.Value) {
		return fail("value is %d; keep it within %d points", g.Value, MaxNumber)
	}
	if len(g.Runs) > MaxChoices || len(g.Trainers) > MaxChoices {
		return fail("%d runs and %d trainers; at most %d of each", len(g.Runs), len(g.Trainers), MaxChoices)
	}
	for j, r := range g.Runs {
		if r.Class < 0 || r.Class >= len(p.Sites[g.Site].Runs) {
			return fail("run class %d is not one of the %d of site %d", r.Class, len(p.Sites[g.Site].Runs), g.Site)
		}
		if !points(r.Penalty) {
			return fail("run class %d has penalty %d; keep it within %d points", r.Class, r.Penalty, MaxNumber)
		}
		for _, other := range g.Runs[:j] {
			if other.Class == r.Class {
				return fail("run class %d is listed twice; keep one", r.Class)
			}
		}
	}
	for j, t := range g.Trainers {
		if t.Trainer < 0 || t.Trainer >= len(p.Trainers) {
			return fail("trainer %d does not exist; there are trainers 0 to %d", t.Trainer, len(p.Trainers)-1)
		}
		if p.Trainers[t.Trainer].Site != g.Site {
			return fail("trainer %d works at site %d, not at site %d", t.Trainer, p.Trainers[t.Trainer].Site, g.Site)
		}
		if !points(t.Penalty) || t.Minutes < 0 || t.Minutes > MaxNumber || t.Cover < 0 || t.Cover > MaxNumber {
			return fail("trainer %d has penalty %d, minutes %d, cover %d; minutes and cover go from 0 to %d", t.Trainer, t.Penalty, t.Minutes, t.Cover, MaxNumber)
		}
		for _, other := range g.Trainers[:j] {
			if other.Trainer == t.Trainer {
				return fail("trainer %d is listed twice; keep one", t.Trainer)
			}
		}
	}
	return nil
}

func points(n int) bool { return n >= -MaxNumber && n <= MaxNumber }

func (p *Problem) validateTogether() error {
	if len(p.Together) == 0 {
		return nil
	}
	home := make([]int32, len(p.Dogs))
	for h, dogs := range p.Together {
		if len(dogs) < 2 {
			return invalid("household %d has %d dogs; list two or more, or leave it out", h, len(dogs))
		}
		for _, d := range dogs {
			if d < 0 || d >= len(p.Dogs) {
				return invalid("household %d names dog %d; there are dogs 0 to %d", h, d, len(p.Dogs)-1)
			}
			if home[d] != 0 {
				return invalid("dog %d is in households %d and %d; a dog belongs to one", d, home[d]-1, h)
			}
			home[d] = int32(h) + 1
		}
	}
	return nil
}
