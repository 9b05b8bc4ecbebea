package dayblocks

import (
	"cmp"
	"fmt"
	"slices"
)

// Check recounts a plan from the day alone, minute by minute and without any of the solver's code, and returns what it is worth. It returns an
// error that names the rule, and who breaks it, for a plan that is not allowed.
func Check(d *Day, p *Plan) (value int, err error) {
	c := &checking{d: d, p: p, trainer: map[[2]int]string{}, held: map[[2]int]bool{}}
	for _, step := range []func() error{c.breaks, c.blocks, c.areas, c.dogs, c.dropped} {
		if err := step(); err != nil {
			return 0, err
		}
	}
	return d.Worth() - c.cost - c.idle(), nil
}

type checking struct {
	d       *Day
	p       *Plan
	trainer map[[2]int]string // trainer and minute: what it does
	held    map[[2]int]bool   // dog and session
	cost    int
}

// busy marks a trainer's minutes.
func (c *checking) busy(t, from, to int, what string) error {
	for k := from; k < to; k++ {
		if !covers(c.d.Trainers[t].Hours, k) {
			return fmt.Errorf("trainer %d is not at work at minute %d: %s", t, k, what)
		}
		if covers(c.d.Trainers[t].Fixed, k) {
			return fmt.Errorf("trainer %d is taken at minute %d: %s", t, k, what)
		}
		if other, taken := c.trainer[[2]int{t, k}]; taken {
			return fmt.Errorf("trainer %d does two things at minute %d: %s and %s", t, k, other, what)
		}
		c.trainer[[2]int{t, k}] = what
	}
	return nil
}

func covers(spans []Span, k int) bool {
	return slices.ContainsFunc(spans, func(s Span) bool { return s.From <= k && k < s.To })
}

func (c *checking) breaks() error {
	if len(c.p.Breaks) != len(c.d.Trainers) {
		return fmt.Errorf("breaks of %d trainers, not %d", len(c.p.Breaks), len(c.d.Trainers))
	}
	for t, x := range c.d.Trainers {
		if len(c.p.Breaks[t]) != len(x.Breaks) {
			return fmt.Errorf("trainer %d has %d breaks, not %d", t, len(c.p.Breaks[t]), len(x.Breaks))
		}
		for i, b := range x.Breaks {
			from := c.p.Breaks[t][i]
			if from < b.Within.From || from+b.Minutes > b.Within.To || from%c.d.Step != 0 {
				return fmt.Errorf("trainer %d takes break %d at minute %d", t, i, from)
			}
			if err := c.busy(t, from, from+b.Minutes, "a break"); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *checking) blocks() error {
	for _, b := range c.p.Blocks {
		if b.Dog < 0 || b.Dog >= len(c.d.Dogs) || b.Session < 0 || b.Session >= len(c.d.Dogs[b.Dog].Sessions) || c.held[[2]int{b.Dog, b.Session}] {
			return fmt.Errorf("session %d of dog %d does not exist or is held twice", b.Session, b.Dog)
		}
		c.held[[2]int{b.Dog, b.Session}] = true
		dog := &c.d.Dogs[b.Dog]
		s := &dog.Sessions[b.Session]
		if b.Start < 0 || b.Start%c.d.Step != 0 || b.Start+s.Minutes > c.d.Minutes {
			return fmt.Errorf("dog %d: block at minute %d is off the grid or the day", b.Dog, b.Start)
		}
		h := slices.IndexFunc(s.Handlers, func(h Choice) bool { return h.Trainer == b.Trainer })
		a := slices.IndexFunc(s.Areas, func(a Place) bool { return a.Area == b.Area })
		if h < 0 || a < 0 {
			return fmt.Errorf("session %d of dog %d may not be held by trainer %d in area %d", b.Session, b.Dog, b.Trainer, b.Area)
		}
		c.cost += s.Handlers[h].Points + s.Areas[a].Points
		if b.Start != s.Kept.Start {
			c.cost += s.Kept.Points
		}
		what := fmt.Sprintf("session %d of dog %d", b.Session, b.Dog)
		end := b.Start + s.Minutes + c.d.Changeover
		if err := c.busy(b.Trainer, b.Start, end, what); err != nil {
			return err
		}
		if dog.Two != (b.Second >= 0) || b.Second >= len(c.d.Trainers) {
			return fmt.Errorf("%s: second trainer %d", what, b.Second)
		}
		if dog.Two {
			if err := c.busy(b.Second, b.Start, end, what); err != nil {
				return err
			}
			if n := slices.IndexFunc(s.Seconds, func(h Choice) bool { return h.Trainer == b.Second }); n >= 0 {
				c.cost += s.Seconds[n].Points
			} else if s.Seconds != nil {
				return fmt.Errorf("%s: trainer %d may not be the second", what, b.Second)
			}
		}
		if f := c.d.Trainers[b.Trainer].Finish; f > 0 && end > f {
			c.cost += c.d.Policy.Late
		}
		for k := b.Start; k < b.Start+s.Minutes; k++ {
			if covers(dog.Away, k) || covers(s.Areas[a].Closed, k) || !covers(c.d.Areas[b.Area].Open, k) {
				return fmt.Errorf("%s: dog or area %d may not be used at minute %d", what, b.Area, k)
			}
		}
	}
	return nil
}

// areas checks who is where at each minute.
func (c *checking) areas() error {
	for k := range c.d.Minutes {
		in := map[int][]int{}
		for _, b := range c.p.Blocks {
			if b.Start <= k && k < b.Start+c.d.Dogs[b.Dog].Sessions[b.Session].Minutes {
				in[b.Area] = append(in[b.Area], b.Dog)
			}
		}
		for a, dogs := range in {
			if len(dogs) > c.d.Areas[a].Dogs {
				return fmt.Errorf("%d dogs in area %d at minute %d", len(dogs), a, k)
			}
			for i, x := range dogs {
				if c.d.Dogs[x].Alone && len(dogs) > 1 {
					return fmt.Errorf("dog %d is not alone in area %d at minute %d", x, a, k)
				}
				for _, y := range dogs[:i] {
					if slices.Contains(c.d.Apart, [2]int{x, y}) || slices.Contains(c.d.Apart, [2]int{y, x}) {
						return fmt.Errorf("dogs %d and %d meet in area %d at minute %d", x, y, a, k)
					}
				}
			}
		}
	}
	return nil
}

// dogs checks each dog's day and counts what it costs.
func (c *checking) dogs() error {
	for i := range c.d.Dogs {
		dog := &c.d.Dogs[i]
		var own []Block
		for _, b := range c.p.Blocks {
			if b.Dog == i {
				own = append(own, b)
			}
		}
		slices.SortFunc(own, func(a, b Block) int { return cmp.Compare(a.Start, b.Start) })
		areas := map[int]bool{}
		for n, b := range own {
			areas[b.Area] = true
			if n == 0 {
				continue
			}
			pause := b.Start - own[n-1].Start - dog.Sessions[own[n-1].Session].Minutes
			if pause < dog.Rest {
				return fmt.Errorf("dog %d rests %d minutes, not %d", i, pause, dog.Rest)
			}
			if pause < c.d.Policy.Spread {
				c.cost += c.d.Policy.Near
			}
			skill := func(b Block) int { return dog.Sessions[b.Session].Skill }
			if n > 1 && skill(own[n]) == skill(own[n-1]) && skill(own[n]) == skill(own[n-2]) {
				return fmt.Errorf("dog %d has three sessions in a row on skill %d", i, skill(b))
			}
		}
		c.cost += c.d.dropCost(dog, len(dog.Sessions)-len(own)) + c.d.Policy.Change*max(0, len(areas)-1)
		for j, s := range dog.Sessions {
			if !c.held[[2]int{i, j}] {
				c.cost += s.Extra
			}
		}
	}
	return nil
}

// dropped checks that every session is held or listed as dropped, never both.
func (c *checking) dropped() error {
	listed := map[[2]int]bool{}
	for _, x := range c.p.Dropped {
		listed[[2]int{x.Dog, x.Session}] = true
	}
	for i := range c.d.Dogs {
		for j := range c.d.Dogs[i].Sessions {
			if k := [2]int{i, j}; c.held[k] == listed[k] {
				return fmt.Errorf("session %d of dog %d: held %t, dropped %t", j, i, c.held[k], listed[k])
			}
		}
	}
	return nil
}

// idle is what waiting costs.
func (c *checking) idle() (points int) {
	for t := range c.d.Trainers {
		first, last := c.d.Minutes, 0
		for _, b := range c.p.Blocks {
			if b.Trainer == t || b.Second == t {
				first, last = min(first, b.Start), max(last, b.Start+c.d.Dogs[b.Dog].Sessions[b.Session].Minutes+c.d.Changeover)
			}
		}
		for k := first; k < last; k += c.d.Step {
			if _, busy := c.trainer[[2]int{t, k}]; !busy && covers(c.d.Trainers[t].Hours, k) && !covers(c.d.Trainers[t].Fixed, k) {
				points += c.d.Policy.Idle
			}
		}
	}
	return points
}
