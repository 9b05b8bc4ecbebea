package slots

const (
	mostMinutes = 62 * 24 * 60
	mostPoints  = 1_000_000
	mostVisits  = 1000
	mostOf      = 1000 // trainers, areas, gates, days
	mostFixed   = 5000
	mostSpans   = 2000
	mostOptions = 400_000
)

// Validate reports what is wrong with a problem, in words; nil if nothing is.
func (p *Problem) Validate() error {
	if p.Step < 1 || p.Minutes < 1 || p.Minutes > mostMinutes {
		return invalid("%d minutes on a grid of %d; both must be positive, and the time at most %d minutes (62 days)", p.Minutes, p.Step, mostMinutes)
	}
	if p.Pause < 0 || p.Pause > p.Minutes {
		return invalid("a pause of %d minutes between a trainer's visits; give 0 to %d", p.Pause, p.Minutes)
	}
	for what, n := range map[string]int{"trainers": len(p.Trainers), "areas": len(p.Areas), "gates": len(p.Gates), "days": len(p.Days)} {
		if n > mostOf {
			return invalid("%d %s; %d at most", n, what, mostOf)
		}
	}
	if len(p.Visits) > mostVisits || len(p.Fixed) > mostFixed {
		return invalid("%d visits and %d fixed ones; at most %d and %d: take fewer days at once", len(p.Visits), len(p.Fixed), mostVisits, mostFixed)
	}
	for _, step := range []func() error{p.validateDays, p.validateSite, p.validateFixed} {
		if err := step(); err != nil {
			return err
		}
	}
	for i := range p.Visits {
		if err := p.validateVisit(i); err != nil {
			return err
		}
	}
	return nil
}

func (p *Problem) validateSpan(what string, at int, field string, s Span) error {
	if s.From < 0 || s.To < s.From || s.To > p.Minutes {
		return invalid("%s %d, %s: minutes %d to %d; give a span within 0 to %d", what, at, field, s.From, s.To, p.Minutes)
	}
	return nil
}

func (p *Problem) validateSpans(what string, at int, field string, spans []Span) error {
	if len(spans) > mostSpans {
		return invalid("%s %d, %s: %d spans; %d at most", what, at, field, len(spans), mostSpans)
	}
	for _, s := range spans {
		if err := p.validateSpan(what, at, field, s); err != nil {
			return err
		}
	}
	return nil
}

func (p *Problem) validateDays() error {
	for n, d := range p.Days {
		if err := p.validateSpan("day", n, "open", d.Open); err != nil {
			return err
		}
		if d.Places < 0 {
			return invalid("day %d: %d handover places; give 0 or more", n, d.Places)
		}
		if n > 0 && d.Open.From < p.Days[n-1].Open.To {
			return invalid("day %d opens at minute %d, before day %d has closed at %d; give the days in order, without overlap", n, d.Open.From, n-1, p.Days[n-1].Open.To)
		}
	}
	return nil
}

func (p *Problem) validateSite() error {
	for n, t := range p.Trainers {
		if err := p.validateSpans("trainer", n, "free", t.Free); err != nil {
			return err
		}
	}
	for n, a := range p.Areas {
		if a.Room < 0 {
			return invalid("area %d: room for %d visits; give 0 or more", n, a.Room)
		}
		if err := p.validateSpans("area", n, "open", a.Open); err != nil {
			return err
		}
	}
	for n, g := range p.Gates {
		if g.Passing < 0 || g.Spacing < g.Passing || g.Spacing > p.Minutes {
			return invalid("gate %d: spacing of %d minutes, passing time of %d; give 0 <= passing <= spacing <= %d", n, g.Spacing, g.Passing, p.Minutes)
		}
	}
	return nil
}

func (p *Problem) validateFixed() error {
	for n, f := range p.Fixed {
		if err := p.validateSpan("fixed visit", n, "time", f.Span); err != nil {
			return err
		}
		if f.From == f.To {
			return invalid("fixed visit %d takes no time; give at least a minute", n)
		}
		if f.Trainer < -1 || f.Trainer >= len(p.Trainers) || f.Area < -1 || f.Area >= len(p.Areas) || f.Gate < -1 || f.Gate >= len(p.Gates) {
			return invalid("fixed visit %d: trainer %d, area %d, gate %d; give numbers of the site, or -1 for none", n, f.Trainer, f.Area, f.Gate)
		}
	}
	return nil
}

func (p *Problem) validateVisit(i int) error {
	v := &p.Visits[i]
	if v.Minutes < 1 || v.Minutes > p.Minutes || v.Least < 0 || v.Least > v.Minutes {
		return invalid("visit %d: %d minutes, %d at least; give 1 to %d, and no more at least than that", i, v.Minutes, v.Least, p.Minutes)
	}
	for _, x := range []int{v.Miss, v.Kept.Moved, v.Kept.Changed} {
		if x < 0 || x > mostPoints {
			return invalid("visit %d: %d points; give 0 to %d", i, x, mostPoints)
		}
	}
	for _, c := range []struct {
		what   string
		list   []Choice
		others []int
		of     int
	}{{"trainer", v.Trainers, v.OtherTrainers, len(p.Trainers)}, {"area", v.Areas, v.OtherAreas, len(p.Areas)}, {"gate", v.Gates, nil, len(p.Gates)}} {
		seen := map[int]bool{}
		for _, x := range c.list {
			if x.Of < 0 || x.Of >= c.of || x.Points < 0 || x.Points > mostPoints || seen[x.Of] {
				return invalid("visit %d: %s %d for %d points is not of the site, stands there twice, or has points outside 0 to %d", i, c.what, x.Of, x.Points, mostPoints)
			}
			seen[x.Of] = true
		}
		for _, n := range c.others {
			if n < 0 || n >= c.of || seen[n] {
				return invalid("visit %d: other %s %d is not of the site, stands there twice, or is among the choices", i, c.what, n)
			}
			seen[n] = true
		}
	}
	if len(v.Windows) > mostSpans {
		return invalid("visit %d: %d windows; %d at most", i, len(v.Windows), mostSpans)
	}
	for _, w := range v.Windows {
		if err := p.validateSpan("visit", i, "window", w.Span); err != nil {
			return err
		}
		if w.Points < 0 || w.Points > mostPoints {
			return invalid("visit %d: a window of %d points; give 0 to %d", i, w.Points, mostPoints)
		}
	}
	return nil
}
