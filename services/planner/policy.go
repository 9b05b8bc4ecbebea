package planner

import (
	"fmt"
	"maps"

	"github.com/longlead/longlead/services/apperr"
)

// Policy is the preferences in points, by term. It is written down with every plan that it made.
type Policy map[string]int

// Terms of the policy. Points are whole numbers; a plan's value is their sum over all placements and long days. The defaults are our own
// setting, no source: a manager changes them to what the school wants.
const (
	TermPlaced     = "placed"
	TermNight      = "night"
	TermPriority   = "priority"
	TermDeposit    = "deposit"
	TermWaiting    = "waiting"
	TermLate       = "late"
	TermEarly      = "early"
	TermTravel     = "travel"
	TermLargerRun  = "larger run"
	TermSpareSkill = "spare skill"
	TermDaysApart  = "days apart"
	TermLoad       = "load"
	TermLongDay    = "long day"
	TermEasyDay    = "easy day"
	TermPromise    = "promise"
	TermSameDay    = "same day"
	TermSameHands  = "same trainer"
	TermPinned     = "pinned"
)

// Term describes one term.
type Term struct {
	Name    string
	Default int
	About   string
}

// Terms lists every term in the order in which they are shown.
func Terms() []Term {
	return []Term{
		{TermPlaced, 60, "given for each request that is placed"},
		{TermNight, 4, "given for each night of a stay, so that long programs are not pushed aside by short ones"},
		{TermPriority, 15, "given for each step of priority above 5"},
		{TermDeposit, 20, "given when a deposit is paid"},
		{TermWaiting, 3, "given for each week that the owner has waited, 12 weeks at most"},
		{TermLate, 2, "taken for each day after the wished arrival day"},
		{TermEarly, 2, "taken for each day before the wished arrival day"},
		{TermTravel, 2, "taken for each full 15 minutes of travel"},
		{TermLargerRun, 4, "taken for each class that the run is larger than the smallest that fits"},
		{TermSpareSkill, 1, "taken for each level of skill that the trainer has beyond what the dog needs"},
		{TermDaysApart, 2, "taken for each day of the stay beyond two in seven on which the trainer does not work"},
		{TermLoad, 1, "taken for each full 10 percent of the trainer's days that earlier promises fill already"},
		{TermLongDay, 1, "taken for each quarter of an hour that a trainer's day runs beyond its easy share"},
		{TermEasyDay, 85, "not points: the easy share of every trainer's minutes on a day, in percent"},
		{TermPromise, 200, "given for placing a request that was promised a place before"},
		{TermSameDay, 60, "given when a promised request keeps its site and arrival day"},
		{TermSameHands, 20, "given when a promised request keeps its trainer"},
		{TermPinned, 1000, "given for placing a request where a person pinned it, so that others give way to it"},
	}
}

// Limits of the points of one term; beyond them sums might not fit the solver's numbers.
const (
	leastPoints = -10000
	mostPoints  = 10000
)

// DefaultPolicy returns the default points of every term.
func DefaultPolicy() Policy {
	p := Policy{}
	for _, t := range Terms() {
		p[t.Name] = t.Default
	}
	return p
}

// With returns a copy of the policy with some terms changed. Unknown terms and points out of range are refused.
func (p Policy) With(changes Policy) (Policy, error) {
	known := DefaultPolicy()
	out := maps.Clone(p)
	for term, points := range changes {
		if _, ok := known[term]; !ok {
			return nil, apperr.InvalidField("terms", fmt.Sprintf("%q is no term of the policy", term), "`longlead export policy` lists the terms")
		}
		if least, most := limits(term); points < least || points > most {
			return nil, apperr.InvalidField("terms", fmt.Sprintf("%d for %q is out of range", points, term), fmt.Sprintf("give %d to %d", least, most))
		}
		out[term] = points
	}
	return out, nil
}

// limits are the least and the most that a term may be. Long days cannot be worth points: then the bound of a plan would not hold.
func limits(term string) (least, most int) {
	switch term {
	case TermLongDay:
		return 0, mostPoints
	case TermEasyDay:
		return 0, 100
	}
	return leastPoints, mostPoints
}
