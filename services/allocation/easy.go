package allocation

import "fmt"

// mostOfLevel is the most points that running over one soft level could cost in all, so that no sum over the levels overflows.
const mostOfLevel = 1 << 40

// units is how many units of the level some minutes count for, to the nearest.
func (e *Easy) units(minutes int) int {
	unit := max(1, e.Unit)
	return (minutes + unit/2) / unit
}

// validate checks a level of a capacity that lasts for some days. nil is valid.
func (e *Easy) validate(what string, days int, capacity []int, units bool) error {
	switch {
	case e == nil:
		return nil
	case e.Over < 0 || e.Over > MaxNumber:
		return invalid("%s: over is %d; give the points for each unit over the level, from 0 to %d", what, e.Over, MaxNumber)
	case !units && (e.Unit < 0 || e.Unit > 1):
		return invalid("%s: unit is %d; only a trainer's level may have a unit, so leave it out", what, e.Unit)
	case e.Unit < 0 || e.Unit > MaxNumber:
		return invalid("%s: unit is %d; give the minutes that count as one, from 1 to %d", what, e.Unit, MaxNumber)
	}
	if err := series(what+", upto", e.Upto, days); err != nil {
		return err
	}
	var most float64
	for _, n := range capacity[:days] {
		most += float64(n) * float64(e.Over)
	}
	if most > mostOfLevel {
		return invalid("%s: %d points for each of so many units is more than can be counted; lower over", what, e.Over)
	}
	return nil
}

func (p *Problem) validateEasySite(i int) error {
	s := &p.Sites[i]
	if s.EasyMinutes != nil && s.Minutes == nil {
		return invalid("site %d has easy_minutes but no minutes; give the minutes there are, or leave the level out", i)
	}
	what := fmt.Sprintf("site %d, easy_", i)
	if err := s.EasyIntake.validate(what+"intake", p.Days-1, s.Intake, false); err != nil {
		return err
	}
	if err := s.EasyHandover.validate(what+"handover", p.Days, s.Handover, false); err != nil {
		return err
	}
	return s.EasyMinutes.validate(what+"minutes", p.Days-1, s.Minutes, false)
}

// Over is how far a plan runs over one soft level on one day: by Units above it, which cost Points in all.
type Over struct {
	Resource
	Units  int
	Points int64
}

// Overflow lists where a plan runs over soft levels: site by site and then trainer by trainer, in order of days. The points add up to
// what Check takes off the worth of the placements.
func Overflow(p *Problem, placements []Placement) []Over { return Usage(p, placements).Overflow(p) }

// Overflow is the function of the same name, for a use that is counted already.
func (u Use) Overflow(p *Problem) (out []Over) {
	list := func(e *Easy, used []int, r Resource) {
		if e == nil || e.Over == 0 {
			return
		}
		for k := range min(len(used), len(e.Upto)) {
			if units := used[k] - e.Upto[k]; units > 0 {
				r.Day = k
				out = append(out, Over{Resource: r, Units: units, Points: int64(units) * int64(e.Over)})
			}
		}
	}
	for i := range p.Sites {
		s, use := &p.Sites[i], &u.Sites[i]
		list(s.EasyIntake, use.Intake.Used, Resource{Kind: IntakePlace, Site: i, Class: -1, Trainer: -1})
		list(s.EasyHandover, use.Handover.Used, Resource{Kind: HandoverPlace, Site: i, Class: -1, Trainer: -1})
		list(s.EasyMinutes, use.Minutes.Used, Resource{Kind: SiteMinutes, Site: i, Class: -1, Trainer: -1})
	}
	for i := range p.Trainers {
		t := &p.Trainers[i]
		list(t.Easy, u.Trainers[i].Easy.Used, Resource{Kind: TrainerMinutes, Site: t.Site, Class: -1, Trainer: i})
	}
	return out
}

// adds is what one placement more would cost in points for soft levels.
func (u *Use) adds(p *Problem, pl Placement, minutes, cover int) (points int64) {
	site, trainer := &p.Sites[pl.Site], &p.Trainers[pl.Trainer]
	use := &u.Sites[pl.Site]
	leave := pl.Arrival + p.Dogs[pl.Dog].Nights
	add := func(e *Easy, used []int, day, units int) {
		if e != nil {
			before := max(0, used[day]-e.Upto[day])
			points += int64(max(0, used[day]+units-e.Upto[day])-before) * int64(e.Over)
		}
	}
	add(site.EasyIntake, use.Intake.Used, pl.Arrival, 1)
	add(site.EasyHandover, use.Handover.Used, leave, 1)
	for k := pl.Arrival; k < leave; k++ {
		if !trainer.Works[k] {
			add(site.EasyMinutes, use.Minutes.Used, k, cover)
			continue
		}
		add(site.EasyMinutes, use.Minutes.Used, k, minutes)
		if trainer.Easy != nil {
			add(trainer.Easy, u.Trainers[pl.Trainer].Easy.Used, k, trainer.Easy.units(minutes))
		}
	}
	return points
}

// mostOver is what an option would cost in points if all that it uses were over soft levels.
func (p *Problem) mostOver(d *Dog, g *Group, t TrainerOption) (points int64) {
	site, trainer := &p.Sites[g.Site], &p.Trainers[t.Trainer]
	add := func(e *Easy, units int) {
		if e != nil {
			points += int64(units) * int64(e.Over)
		}
	}
	add(site.EasyIntake, 1)
	add(site.EasyHandover, 1)
	for k := g.Arrival; k < g.Arrival+d.Nights; k++ {
		if !trainer.Works[k] {
			add(site.EasyMinutes, t.Cover)
			continue
		}
		add(site.EasyMinutes, t.Minutes)
		if trainer.Easy != nil {
			add(trainer.Easy, trainer.Easy.units(t.Minutes))
		}
	}
	return points
}

// EvenLoad gives every trainer of p a soft level at the same share, in percent, of its minutes on each day, counted in units of some
// minutes, each unit over it costing some points. A plan then loses points for every trainer above that share while another is below
// it, which makes load even up to there.
func EvenLoad(p *Problem, percent, unit, over int) {
	for i := range p.Trainers {
		t := &p.Trainers[i]
		t.Easy = &Easy{Over: over, Unit: unit, Upto: make([]int, len(t.Minutes))}
		for k, n := range t.Minutes {
			t.Easy.Upto[k] = n * percent / 100 / max(1, unit)
		}
	}
}
