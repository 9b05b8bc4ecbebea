package dayblocks

const (
	mostSteps  = 2000
	mostPoints = 1_000_000
	mostAreas  = 64
	mostBreaks = 6
)

// Validate reports what is wrong with a day, in words; nil if nothing is.
func (d *Day) Validate() error {
	if d.Step < 1 || d.Minutes < d.Step || d.Minutes > mostSteps*d.Step {
		return invalid("a day of %d minutes in steps of %d; both must be positive, and at most %d steps long", d.Minutes, d.Step, mostSteps)
	}
	if d.Minutes%d.Step != 0 || d.Changeover < 0 || d.Changeover%d.Step != 0 {
		return invalid("the day (%d minutes) and the changeover (%d) must be multiples of the step of %d minutes", d.Minutes, d.Changeover, d.Step)
	}
	for _, x := range []int{d.Policy.Drop, d.Policy.Change, d.Policy.Near, d.Policy.Late, d.Policy.Idle, d.Policy.Spread} {
		if x < 0 || x > mostPoints {
			return invalid("policy: %d is not between 0 and %d", x, mostPoints)
		}
	}
	for t := range d.Trainers {
		if err := d.validateTrainer(t); err != nil {
			return err
		}
	}
	if len(d.Areas) > mostAreas {
		return invalid("%d areas; a day has %d at most", len(d.Areas), mostAreas)
	}
	for a := range d.Areas {
		if d.Areas[a].Dogs < 0 {
			return invalid("area %d: room for %d dogs", a, d.Areas[a].Dogs)
		}
		if err := d.validateSpans("area", a, "open", d.Areas[a].Open); err != nil {
			return err
		}
	}
	for i := range d.Dogs {
		if err := d.validateDog(i); err != nil {
			return err
		}
	}
	for _, p := range d.Apart {
		if p[0] == p[1] || min(p[0], p[1]) < 0 || max(p[0], p[1]) >= len(d.Dogs) {
			return invalid("dogs %d and %d are to be kept apart; they must be two dogs of the day", p[0], p[1])
		}
	}
	return nil
}

func (d *Day) validateSpans(what string, at int, field string, spans []Span) error {
	for _, s := range spans {
		if s.From < 0 || s.To < s.From || s.To > d.Minutes || s.From%d.Step != 0 || s.To%d.Step != 0 {
			return invalid("%s %d, %s: minutes %d to %d; give multiples of %d within the day of %d minutes", what, at, field, s.From, s.To, d.Step, d.Minutes)
		}
	}
	return nil
}

func (d *Day) validateTrainer(t int) error {
	x := &d.Trainers[t]
	if err := d.validateSpans("trainer", t, "hours", x.Hours); err != nil {
		return err
	}
	if err := d.validateSpans("trainer", t, "fixed", x.Fixed); err != nil {
		return err
	}
	if len(x.Breaks) > mostBreaks {
		return invalid("trainer %d has %d breaks; a day has %d at most", t, len(x.Breaks), mostBreaks)
	}
	for _, b := range x.Breaks {
		if err := d.validateSpans("trainer", t, "break", []Span{b.Within}); err != nil {
			return err
		}
		if b.Minutes < d.Step || b.Minutes%d.Step != 0 {
			return invalid("trainer %d: a break of %d minutes; give a multiple of %d", t, b.Minutes, d.Step)
		}
	}
	if x.Finish < 0 || x.Finish > d.Minutes {
		return invalid("trainer %d: finish at minute %d of %d", t, x.Finish, d.Minutes)
	}
	return nil
}

func (d *Day) validateDog(i int) error {
	x := &d.Dogs[i]
	if err := d.validateSpans("dog", i, "away", x.Away); err != nil {
		return err
	}
	if x.Rest < 0 || x.Rest%d.Step != 0 || x.Weight < 0 || x.Weight > mostPoints {
		return invalid("dog %d: rest of %d minutes, weight %d; neither may be negative, and rest is a multiple of %d", i, x.Rest, x.Weight, d.Step)
	}
	if len(x.Sessions) > 16 {
		return invalid("dog %d: %d sessions; a day has 16 at most", i, len(x.Sessions))
	}
	for j := range x.Sessions {
		s := &x.Sessions[j]
		if s.Minutes < d.Step || s.Minutes%d.Step != 0 || s.Extra < 0 || s.Extra > mostPoints {
			return invalid("dog %d, session %d: %d minutes, %d points; give a positive multiple of %d minutes and no negative points", i, j, s.Minutes, s.Extra, d.Step)
		}
		if s.Kept.Points < 0 || s.Kept.Points > mostPoints || s.Kept.Start < 0 || s.Kept.Start%d.Step != 0 {
			return invalid("dog %d, session %d: kept at minute %d for %d points; give a multiple of %d minutes and no negative points", i, j, s.Kept.Start, s.Kept.Points, d.Step)
		}
		for _, h := range s.Handlers {
			if h.Trainer < 0 || h.Trainer >= len(d.Trainers) || h.Points < 0 || h.Points > mostPoints {
				return invalid("dog %d, session %d: trainer %d with %d points does not exist or has too many", i, j, h.Trainer, h.Points)
			}
		}
		for _, h := range s.Seconds {
			if h.Trainer < 0 || h.Trainer >= len(d.Trainers) || h.Points < 0 || h.Points > mostPoints {
				return invalid("dog %d, session %d: trainer %d as the second with %d points does not exist or has too many", i, j, h.Trainer, h.Points)
			}
		}
		for _, p := range s.Areas {
			if p.Area < 0 || p.Area >= len(d.Areas) || p.Points < 0 || p.Points > mostPoints {
				return invalid("dog %d, session %d: area %d with %d points does not exist or has too many", i, j, p.Area, p.Points)
			}
			if err := d.validateSpans("dog", i, "closed", p.Closed); err != nil {
				return err
			}
		}
	}
	return nil
}
