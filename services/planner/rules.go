package planner

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/workload"
)

// leastOwnDaysPercent is the least share of the days of a stay on which its trainer must work at the site: a trainer on long
// leave is no trainer for the dog. Our own setting, no source; five working days in seven are 71 percent.
const leastOwnDaysPercent = 50

// candidate is a request that the plan may place, with every choice that passes the hard rules and the reasons against the
// others.
type candidate struct {
	enrollment.Case
	choices  []choice
	refusals []Refusal
	// held is the pin that left it no other choices; nil without one.
	held *hold
}

// choice is one site and arrival day with the run groups and trainers that suit.
type choice struct {
	site, arrival, leaves int
	need                  workload.Need
	groups                []int
	trainers              []int
}

// ruling is what a hard rule says against a choice; the zero value says nothing.
type ruling struct {
	reason, remedy string
	// lasting is true when no other choice of placements could lift it. Only promises made before can be moved.
	passing bool
}

func (r ruling) against() bool { return r.reason != "" }

// findChoices runs the hard rules over every site and arrival day of a case. Days of one site that are refused for the same
// reason are told once.
func (b *board) findChoices(c enrollment.Case, days calendar.Span, onlySite int) candidate {
	found := candidate{Case: c}
	if len(c.Request.Sites) == 0 {
		found.refuse("", days, ruling{reason: "the request names no site", remedy: "ask the owner which sites would do and add them to request-sites"})
	}
	for _, accepted := range c.Request.Sites {
		site, known := b.siteAt[accepted.SiteID]
		if !known || (onlySite >= 0 && site != onlySite) {
			continue
		}
		for arrival := range days.Dates() {
			one, against := b.rule(c, site, arrival)
			if against.against() {
				found.refuse(b.sites[site].site.Code, calendar.Span{From: arrival, To: arrival.AddDays(1)}, against)
				continue
			}
			found.choices = append(found.choices, one)
		}
	}
	return found
}

// refuse notes a ruling, joined to the one before when only the day differs.
func (c *candidate) refuse(site string, days calendar.Span, r ruling) {
	if n := len(c.refusals); n > 0 {
		last := &c.refusals[n-1]
		if last.Site == site && last.Reason == r.reason && last.Last == days.From.AddDays(-1).String() {
			last.Last = days.To.AddDays(-1).String()
			return
		}
	}
	c.refusals = append(c.refusals, Refusal{Site: site, First: days.From.String(), Last: days.To.AddDays(-1).String(),
		Reason: r.reason, Remedy: r.remedy, Hard: !r.passing})
}

// rule holds one site and arrival day against the hard rules, from those about the dog to those about the place.
func (b *board) rule(c enrollment.Case, site int, arrival calendar.Date) (choice, ruling) {
	stay := c.Stay(arrival)
	need, err := c.Need(arrival)
	if err != nil {
		return choice{}, ruling{reason: "what the dog takes cannot be worked out from its record", remedy: "look at the dog's answers and program: " + err.Error()}
	}
	one := choice{site: site, arrival: b.day(stay.From), leaves: b.day(stay.To), need: need}
	for _, rule := range []func() ruling{
		func() ruling { return ruleOnDog(c, stay) },
		func() ruling { return b.ruleOnVaccines(c, site, stay) },
		func() ruling { return b.ruleOnPlaces(one) },
		func() ruling { return b.ruleOnRuns(c, &one) },
		func() ruling { return b.ruleOnTrainers(&one) },
	} {
		if against := rule(); against.against() {
			return choice{}, against
		}
	}
	return one, ruling{}
}

// ruleOnDog: age, season and bite record.
func ruleOnDog(c enrollment.Case, stay calendar.Span) ruling {
	switch {
	case !c.OldEnough(stay.From):
		return ruling{reason: fmt.Sprintf("the dog is under %d months, the least age of its program", c.Program.LeastAgeMonths),
			remedy: "a later arrival, or a program for younger dogs"}
	case c.InSeason(stay):
		season := calendar.Span{From: c.Dog.SeasonStarted, To: c.Dog.SeasonStarted.AddDays(enrollment.SeasonDays)}
		return ruling{reason: fmt.Sprintf("the dog is in season from %s to about %s", season.From, season.To.AddDays(-1)),
			remedy: "an arrival after the season; a veterinarian can say when it is over"}
	case adviseAgainst(c.Dog.BiteLevel) && c.Override == nil:
		return ruling{reason: fmt.Sprintf("bite level %s: the advice is not to take the dog in without a person's decision", c.Dog.BiteLevel),
			remedy: "ask a qualified behaviour professional; a decision to take it is entered as an override with its reason"}
	}
	return ruling{}
}

func adviseAgainst(level string) bool {
	return slices.ContainsFunc(workload.Bites(), func(b workload.BiteLevel) bool { return b.Level == level && b.AdviseAgainst })
}

// ruleOnVaccines: each required one valid from arrival through graduation.
func (b *board) ruleOnVaccines(c enrollment.Case, site int, stay calendar.Span) ruling {
	faults := enrollment.CheckVaccines(c.Shots, b.sites[site].rules, stay.From, stay.To)
	if len(faults) == 0 {
		return ruling{}
	}
	texts := make([]string, len(faults))
	for i, f := range faults {
		texts[i] = vaccineWords(f)
	}
	return ruling{reason: strings.Join(texts, "; "), remedy: faults[0].Remedy}
}

// vaccineWords says what is wrong without naming the days of one stay, so that it holds for a run of days.
func vaccineWords(f enrollment.VaccineFault) string {
	switch f.Kind {
	case enrollment.FaultMissing:
		return "no " + f.Vaccine + " vaccination is on record"
	case enrollment.FaultIncomplete:
		return "the first course of " + f.Vaccine + " is not complete"
	case enrollment.FaultTooRecent:
		return fmt.Sprintf("%s counts from %s only", f.Vaccine, f.ValidFrom)
	case enrollment.FaultOverdue:
		return fmt.Sprintf("%s lapsed after %s", f.Vaccine, f.ValidUntil)
	default:
		return fmt.Sprintf("%s lapses after %s, before the graduation day", f.Vaccine, f.ValidUntil)
	}
}

// ruleOnPlaces: an intake place on arrival and a handover place on graduation.
func (b *board) ruleOnPlaces(one choice) ruling {
	s := &b.sites[one.site]
	if one.leaves >= b.days {
		return ruling{reason: "the stay would end beyond the days that are known", remedy: "plan a later month"}
	}
	if against := b.ruleOnPlace(one.arrival, s.intake, s.intakeLeft, s.note, "intake"); against.against() {
		return against
	}
	return b.ruleOnPlace(one.leaves, s.handover, s.handoverLeft, s.note, "handover")
}

// ruleOnPlace: a place of one kind on a day.
func (b *board) ruleOnPlace(day int, all, left []int, note []string, what string) ruling {
	switch {
	case all[day] == 0 && note[day] != "":
		return ruling{reason: fmt.Sprintf("no %s places: %s", what, note[day]), remedy: "another arrival day"}
	case all[day] == 0:
		return ruling{reason: fmt.Sprintf("no %s places on a %s", what, b.date(day).Weekday()), remedy: "another arrival day"}
	case left[day] == 0:
		return ruling{reason: fmt.Sprintf("all %s places are promised", what), remedy: "another arrival day, or one more place on that day"}
	}
	return ruling{}
}

// ruleOnRuns: a run that is large enough and free on all nights. It fills in the groups.
func (b *board) ruleOnRuns(c enrollment.Case, one *choice) ruling {
	s := &b.sites[one.site]
	dog := facility.DogSize{LengthMM: c.Dog.LengthMM, HeightMM: c.Dog.HeightMM}
	large, held, why := false, false, ""
	for g, group := range s.groups {
		fits, reason := facility.FitsDog(group.runs[0].Size(), dog, s.site.FloorRule())
		if !fits {
			why = reason
			continue
		}
		large = true
		switch free := group.freeThrough(one.arrival, min(b.days, one.leaves+s.site.CleanDownDays)); {
		case free && group.held != nil && group.held[one.arrival]:
			held = true
		case free:
			one.groups = append(one.groups, g)
		}
	}
	switch {
	case !large:
		return ruling{reason: "no run at " + s.site.Code + " is large enough: " + why, remedy: "another site with larger runs"}
	case len(one.groups) == 0 && held:
		return ruling{reason: "the runs at " + s.site.Code + " that are large enough and free stand in a row that takes nobody in, because a dog there is ill", remedy: "an arrival day after the intake hold, or another site"}
	case len(one.groups) == 0:
		return ruling{reason: "every run at " + s.site.Code + " that is large enough is promised or closed on some night of the stay", remedy: "another arrival day or another site"}
	}
	return ruling{}
}

// freeThrough reports whether some run of the group might be free on all nights from first up to end.
func (g runGroup) freeThrough(first, end int) bool {
	for night := first; night < end; night++ {
		if g.capacity[night] == 0 {
			return false
		}
	}
	return true
}

// ruleOnTrainers: skill, care class, there on the graduation day and on most days. It fills in the trainers.
func (b *board) ruleOnTrainers(one *choice) ruling {
	site := b.sites[one.site].site.Code
	var mayHandle, skilled, present bool
	for i := range b.trainers {
		t := &b.trainers[i]
		if t.site != one.site || !slices.Contains(t.trainer.CareClasses, string(one.need.Care)) {
			continue
		}
		mayHandle = true
		if lacksSkill(t.trainer.Skills, one.need.Skills) != "" {
			continue
		}
		skilled = true
		if !t.works[one.leaves] || !t.worksEnough(one.arrival, one.leaves) {
			continue
		}
		present = true
		if t.hasTime(one.arrival, one.leaves, one.need.Minutes) {
			one.trainers = append(one.trainers, i)
		}
	}
	switch {
	case !mayHandle:
		return ruling{reason: fmt.Sprintf("no trainer at %s may handle a dog of care class %s", site, one.need.Care), remedy: "another site, or a trainer cleared for the class"}
	case !skilled:
		return ruling{reason: fmt.Sprintf("no trainer at %s who may handle the dog holds %s", site, skillWords(one.need.Skills)), remedy: "another site, or a trainer with these skills on loan"}
	case !present:
		return ruling{reason: fmt.Sprintf("no suitable trainer at %s works on the graduation day and on at least %d percent of the days", site, leastOwnDaysPercent),
			remedy: "another arrival day"}
	case len(one.trainers) == 0:
		return ruling{reason: fmt.Sprintf("no suitable trainer at %s has %d minutes left on every working day of the stay", site, one.need.Minutes), remedy: "another arrival day, or more trainer time"}
	}
	return ruling{}
}

// worksEnough reports whether the trainer works on enough of the days from first up to end.
func (t *trainerBoard) worksEnough(first, end int) bool {
	return 100*t.ownDays(first, end) >= leastOwnDaysPercent*(end-first)
}

func (t *trainerBoard) ownDays(first, end int) int {
	n := 0
	for day := first; day < end; day++ {
		if t.works[day] {
			n++
		}
	}
	return n
}

// hasTime reports whether promises leave the trainer time for one more dog on each working day.
func (t *trainerBoard) hasTime(first, end, minutes int) bool {
	for day := first; day < end; day++ {
		if t.works[day] && (t.minutesLeft[day] < minutes || t.dogsLeft[day] < 1) {
			return false
		}
	}
	return true
}

// lacksSkill names the first skill that a trainer holds at too low a level, or nothing.
func lacksSkill(held map[string]int, needed map[workload.Skill]int) string {
	for _, skill := range workload.Skills() {
		if held[string(skill)] < needed[skill] {
			return string(skill)
		}
	}
	return ""
}

// spareSkill adds up the levels that a trainer holds beyond what is needed.
func spareSkill(held map[string]int, needed map[workload.Skill]int) int {
	spare := 0
	for skill, level := range held {
		spare += max(0, level-needed[workload.Skill(skill)])
	}
	return spare
}

// skillWords writes needs in a fixed order: "heel 2, recall 3".
func skillWords(needed map[workload.Skill]int) string {
	var words []string
	for _, skill := range workload.Skills() {
		if level := needed[skill]; level > 0 {
			words = append(words, fmt.Sprintf("%s %d", skill, level))
		}
	}
	return strings.Join(words, ", ")
}
