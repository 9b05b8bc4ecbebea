package slots

import "fmt"

// Check recounts a plan from the problem alone, minute by minute and without any of the solver's code, and returns what it is worth. It returns
// an error that names the rule, and who breaks it, for a plan that is not allowed. What the fixed visits break among themselves is no error.
func Check(p *Problem, plan *Plan) (value int, err error) {
	if len(plan.Slots) != len(p.Visits) {
		return 0, fmt.Errorf("%d slots for %d visits", len(plan.Slots), len(p.Visits))
	}
	missing := map[int]bool{}
	for _, m := range plan.Missing {
		if m.Visit < 0 || m.Visit >= len(p.Visits) || missing[m.Visit] {
			return 0, fmt.Errorf("visit %d is listed as missing twice, or does not exist", m.Visit)
		}
		missing[m.Visit] = true
	}
	cost := 0
	var held []occurrence
	for _, f := range p.Fixed {
		held = append(held, occurrence{-1, f.From, f.To, f.Trainer, f.Area, f.Gate, f.Handover})
	}
	for i, s := range plan.Slots {
		if s == None {
			if !missing[i] {
				return 0, fmt.Errorf("visit %d has no slot and is not listed as missing", i)
			}
			cost += p.Visits[i].Miss
			continue
		}
		if missing[i] {
			return 0, fmt.Errorf("visit %d has a slot and is listed as missing", i)
		}
		c, err := checkSlot(p, i, s)
		if err != nil {
			return 0, fmt.Errorf("visit %d: %w", i, err)
		}
		cost += c
		held = append(held, occurrence{i, s.Begin, s.Begin + p.Visits[i].Minutes, s.Trainer, s.Area, s.Gate, true})
	}
	for _, rule := range []func(*Problem, []occurrence) error{checkPlaces, checkTrainers, checkAreas, checkGates} {
		if err := rule(p, held); err != nil {
			return 0, err
		}
	}
	return p.Worth() - cost, nil
}

// occurrence is a visit with its time; visit is -1 for what is fixed.
type occurrence struct {
	visit, from, to, trainer, area, gate int
	handover                             bool
}

// checkSlot checks a slot by itself and counts its cost.
func checkSlot(p *Problem, i int, s Slot) (cost int, err error) {
	v := &p.Visits[i]
	if s.Begin < 0 || s.Begin%p.Step != 0 {
		return 0, fmt.Errorf("begins at minute %d, off the grid of %d", s.Begin, p.Step)
	}
	end := s.Begin + v.Minutes
	open := false
	for _, d := range p.Days {
		open = open || d.Open.From <= s.Begin && end <= d.Open.To
	}
	if !open {
		return 0, fmt.Errorf("minutes %d to %d are not within the opening time of a day", s.Begin, end)
	}
	window := -1
	for _, w := range v.Windows {
		if w.From <= s.Begin && end <= w.To && (window < 0 || w.Points < window) {
			window = w.Points
		}
	}
	if window < 0 {
		return 0, fmt.Errorf("minutes %d to %d are not within a window of the owner", s.Begin, end)
	}
	cost = window
	for _, c := range []struct {
		what string
		list []Choice
		of   int
	}{{"trainer", v.Trainers, s.Trainer}, {"area", v.Areas, s.Area}, {"gate", v.Gates, s.Gate}} {
		found := false
		for _, x := range c.list {
			if x.Of == c.of {
				found, cost = true, cost+x.Points
			}
		}
		if !found {
			return 0, fmt.Errorf("%s %d is not among its choices", c.what, c.of)
		}
	}
	for k := s.Begin; k < end; k++ {
		if !covered(p.Trainers[s.Trainer].Free, k) {
			return 0, fmt.Errorf("trainer %d is not free at minute %d", s.Trainer, k)
		}
		if !covered(p.Areas[s.Area].Open, k) {
			return 0, fmt.Errorf("area %d is not open at minute %d", s.Area, k)
		}
	}
	switch {
	case s.Begin != v.Kept.Slot.Begin:
		cost += v.Kept.Moved
	case s != v.Kept.Slot:
		cost += v.Kept.Changed
	}
	return cost, nil
}

func covered(spans []Span, k int) bool {
	for _, s := range spans {
		if s.From <= k && k < s.To {
			return true
		}
	}
	return false
}

func checkPlaces(p *Problem, held []occurrence) error {
	for n, d := range p.Days {
		count, ours := 0, 0
		for _, x := range held {
			if x.handover && d.Open.From <= x.from && x.from < d.Open.To {
				count++
				if x.visit >= 0 {
					ours++
				}
			}
		}
		if ours > 0 && count > d.Places {
			return fmt.Errorf("%d handovers on day %d, which has %d places", count, n, d.Places)
		}
	}
	return nil
}

// pairs calls rule with each two occurrences of which at least one was planned.
func pairs(held []occurrence, rule func(x, y occurrence) error) error {
	for i, x := range held {
		for _, y := range held[:i] {
			if x.visit < 0 && y.visit < 0 {
				continue
			}
			if err := rule(x, y); err != nil {
				return err
			}
		}
	}
	return nil
}

func checkTrainers(p *Problem, held []occurrence) error {
	return pairs(held, func(x, y occurrence) error {
		if x.trainer == y.trainer && x.trainer >= 0 && x.from < y.to+p.Pause && y.from < x.to+p.Pause {
			return fmt.Errorf("trainer %d holds visits %d and %d (-1: fixed) with less than %d minutes between", x.trainer, x.visit, y.visit, p.Pause)
		}
		return nil
	})
}

func checkAreas(p *Problem, held []occurrence) error {
	for a, area := range p.Areas {
		load, ours := make([]int, p.Minutes), make([]bool, p.Minutes)
		for _, x := range held {
			for k := x.from; x.area == a && k < x.to; k++ {
				load[k]++
				ours[k] = ours[k] || x.visit >= 0
			}
		}
		for k, n := range load {
			if ours[k] && n > area.Room {
				return fmt.Errorf("%d visits in area %d at minute %d, which has room for %d", n, a, k, area.Room)
			}
		}
	}
	return nil
}

func checkGates(p *Problem, held []occurrence) error {
	return pairs(held, func(x, y occurrence) error {
		if x.gate != y.gate || x.gate < 0 {
			return nil
		}
		g := p.Gates[x.gate]
		for _, c := range []struct {
			what       string
			a, b, room int
		}{{"begin", x.from, y.from, g.Spacing}, {"end", x.to, y.to, g.Spacing}, {"begin and end", x.from, y.to, g.Passing}, {"end and begin", x.to, y.from, g.Passing}} {
			if max(c.a-c.b, c.b-c.a) < c.room {
				return fmt.Errorf("visits %d and %d (-1: fixed) %s at gate %d within %d minutes", x.visit, y.visit, c.what, x.gate, c.room)
			}
		}
		return nil
	})
}
