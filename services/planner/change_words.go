package planner

import (
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"
)

// change tells an admission in words.
func (t *task) change(dog int, a *allocation.Admission) Change {
	p := a.Placements[0]
	for _, one := range a.Placements {
		if one.Dog == dog {
			p = one
		}
	}
	arrival := t.board.date(p.Arrival)
	out := Change{Kind: ChangeCapacity, Site: t.board.sites[p.Site].site.Code, Arrival: arrival.String(), Trainer: t.board.trainers[p.Trainer].trainer.Code, Points: a.Value}
	var texts []string
	switch offered := t.offeredKind(dog, p); {
	case a.Offer < 0:
	case offered == offerWindow:
		out.Kind = ChangeWindow
		texts = append(texts, t.windowWords(a.Placements, arrival, out.Site))
	default:
		out.Kind = ChangeSite
		texts = append(texts, fmt.Sprintf("accepting %s too, with arrival on %s", out.Site, arrival))
	}
	dated := a.Offer >= 0
	for _, l := range a.Lacks {
		texts = append(texts, t.lackWords(l, t.neededSkills(a.Placements, l.Trainer)))
		dated = dated || l.Kind == allocation.IntakePlace
		out.Adds = append(out.Adds, t.added(l))
	}
	if out.Text = strings.Join(texts, " together with "); out.Text == "" {
		out.Kind, out.Text = ChangeNone, "a longer search"
	}
	if !dated && len(a.Lacks) > 0 {
		out.Text += fmt.Sprintf(" (arrival on %s)", arrival)
	}
	return out
}

// offeredKind tells a placement by a wider window from one at another site.
func (t *task) offeredKind(dog int, p allocation.Placement) int {
	if t.accepts([]int{dog}, p.Site) && daysOutside(t.candidates[dog].Request.Window, t.board.date(p.Arrival)) > 0 {
		return offerWindow
	}
	return offerSite
}

// windowWords says how much longer the windows would have to be: of the dog, or of those of its household that need it.
func (t *task) windowWords(placements []allocation.Placement, arrival calendar.Date, site string) string {
	most, from := 0, false
	for _, p := range placements {
		window := t.candidates[p.Dog].Request.Window
		if n := daysOutside(window, arrival); n > most {
			most, from = n, arrival.Before(window.From)
		}
	}
	open := "open until"
	if from {
		open = "open from"
	}
	return fmt.Sprintf("an arrival window %s %s (%s longer, at %s)", open, arrival, counted(most, "day"), site)
}

var useOfKind = map[allocation.ResourceKind]string{allocation.RunNight: UseRuns, allocation.IntakePlace: UseIntake, allocation.HandoverPlace: UseHandover,
	allocation.SiteMinutes: UseSiteMinutes, allocation.TrainerMinutes: UseTrainerMinutes, allocation.TrainerDogs: UseTrainerDogs}

func (t *task) added(l allocation.Lack) Added {
	out := Added{Site: t.board.sites[l.Site].site.Code, Resource: useOfKind[l.Kind], First: t.board.date(l.Day).String(), Last: t.board.date(l.Last).String(), Amount: l.Amount}
	switch {
	case l.Kind == allocation.RunNight:
		out.Unit = string(t.board.sites[l.Site].groups[l.Class].class)
	case l.Trainer >= 0:
		out.Unit = t.board.trainers[l.Trainer].trainer.Code
	}
	return out
}

// neededSkills lists what those placed with a trainer need.
func (t *task) neededSkills(placements []allocation.Placement, trainer int) string {
	needed := map[workload.Skill]int{}
	for _, p := range placements {
		if p.Trainer != trainer {
			continue
		}
		need, err := t.candidates[p.Dog].Need(t.board.date(p.Arrival))
		if err != nil {
			continue // the hard rules have refused such a dog
		}
		for skill, level := range need.Skills {
			needed[skill] = max(needed[skill], level)
		}
	}
	return skillWords(needed)
}

// lackWords names what would have to be added; skills are those that a trainer needs for it.
func (t *task) lackWords(l allocation.Lack, skills string) string {
	site := t.board.sites[l.Site].site.Code
	first, last := t.board.date(l.Day), t.board.date(l.Last)
	when := "on " + first.String()
	if l.Last > l.Day {
		when = fmt.Sprintf("from %s to %s", first, last)
	}
	switch l.Kind {
	case allocation.RunNight:
		nights := "for the night of " + first.String()
		if l.Last > l.Day {
			nights = "for the nights " + when
		}
		return fmt.Sprintf("%s of class %s at %s %s", more(l.Amount, "run"), t.board.sites[l.Site].groups[l.Class].class, site, nights)
	case allocation.IntakePlace:
		return fmt.Sprintf("%s at %s %s", more(l.Amount, "intake place"), site, when)
	case allocation.HandoverPlace:
		return fmt.Sprintf("%s at %s %s", more(l.Amount, "handover place"), site, when)
	case allocation.SiteMinutes:
		return fmt.Sprintf("%s a day of trainer time at %s %s", more(l.Amount, "minute"), site, when)
	}
	name := "trainer " + t.board.trainers[l.Trainer].trainer.Code
	if skills != "" {
		name += " (" + skills + " needed)"
	}
	if l.Last > l.Day {
		when = "on the working days " + when
	}
	if l.Kind == allocation.TrainerMinutes {
		return fmt.Sprintf("%s a day of %s at %s %s", more(l.Amount, "minute"), name, site, when)
	}
	return fmt.Sprintf("%s in hand for %s at %s %s", more(l.Amount, "dog"), name, site, when)
}

// more writes "1 more run", "20 more minutes".
func more(n int, noun string) string {
	number, rest, _ := strings.Cut(counted(n, noun), " ")
	return number + " more " + rest
}

// words tells a displacement in a clause.
func (d *Displaced) words() string {
	const named = 4
	list := func(codes []string) string {
		if len(codes) > named {
			return fmt.Sprintf("%s and %d more", strings.Join(codes[:named], ", "), len(codes)-named)
		}
		return strings.Join(codes, ", ")
	}
	var does []string
	if len(d.GivenUp) > 0 {
		does = append(does, "take the place of "+list(d.GivenUp))
	}
	if len(d.Moved) > 0 {
		does = append(does, "move "+list(d.Moved))
	}
	text := fmt.Sprintf("letting it in at %s from %s would ", d.Site, d.Arrival)
	if len(does) > 0 {
		text += strings.Join(does, " and ") + " and "
	}
	if d.Points < 0 {
		return text + fmt.Sprintf("gain %s, which a longer search may find", counted(int(-d.Points), "point"))
	}
	return text + fmt.Sprintf("cost %s at most", counted(int(d.Points), "point"))
}

// heldWords lists the skills that a trainer holds, with their levels.
func heldWords(held map[string]int) string {
	levels := map[workload.Skill]int{}
	for skill, level := range held {
		levels[workload.Skill(skill)] = level
	}
	return skillWords(levels)
}
