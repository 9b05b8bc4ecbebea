package dayplan

import (
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/workload"
)

// task is a day as the solver takes it, with the way back from its indices: dogs are in the order of the guests, areas in that of the
// inputs.
type task struct {
	in    Inputs
	clock dayClock
	day   dayblocks.Day
	// redo is set when the rest of the day is planned anew.
	redo *anew

	trainers  []roster.Trainer
	trainerAt map[ids.TrainerID]int
	// handles says which trainers work with dogs on the day.
	handles []bool
	kinds   [][]string // of breaks
	duties  []duty
	needs   []workload.Need
	skills  [][]ids.SkillID
	// closed is when areas are out of use, by area, quiet when a dog is handed over there, and hot when work outdoors is closed, by guest.
	closed [][]dayblocks.Span
	quiet  [][]dayblocks.Span
	hot    [][]dayblocks.Span
	notes  []string
}

// peopleDecide goes with every plan.
const peopleDecide = "Look at the cautions of each dog. A person, and where it is about health a veterinarian, decides before this plan does."

// buildTask lays a day out. redo may be nil.
func buildTask(in Inputs, redo *anew) (*task, error) {
	t := &task{in: in, redo: redo, trainerAt: map[ids.TrainerID]int{}, notes: []string{peopleDecide}}
	var err error
	if t.clock, err = newClock(in.Day, in.Site.Zone); err != nil {
		return nil, err
	}
	t.day = dayblocks.Day{Step: step, Minutes: t.clock.minutes / step * step, Changeover: changeover, Policy: dayblocks.Policy{Drop: pointsDrop,
		Change: pointsChange, Near: pointsNear, Spread: spread, Late: pointsLate, Idle: pointsIdle}}
	for _, g := range in.Guests {
		need, err := g.Case.Need(g.Stay.Nights.From)
		if err != nil {
			return nil, err
		}
		t.needs = append(t.needs, need)
	}
	if redo != nil {
		redo.setOut(t.clock)
	}
	for _, part := range []func() error{t.addTrainers, t.addDuties, t.addBreaks, t.addAreas, t.addClosures, t.addHeat, t.addQuiet, t.addDogs, t.addApart} {
		if err := part(); err != nil {
			return nil, err
		}
	}
	return t, nil
}

func (t *task) note(format string, args ...any) {
	t.notes = append(t.notes, fmt.Sprintf(format, args...))
}

func (t *task) addTrainers() error {
	for _, s := range t.in.Shifts {
		hours, cut, err := t.clock.span(s.Day.Starts, s.Day.Ends)
		if err != nil {
			return err
		}
		if cut {
			t.note("%s works past midnight; what lies after it is not planned here.", s.Trainer.Code)
		}
		if t.redo.isGone(s.Trainer.ID) {
			hours.To = max(hours.From, min(hours.To, t.redo.leaves))
		}
		t.addTrainer(s.Trainer, hours, s.Day.Minutes > 0)
	}
	if t.redo == nil || t.redo.trainer.ID.IsZero() {
		return nil
	}
	if _, known := t.trainerAt[t.redo.trainer.ID]; !known { // the roster knows of the absence already
		t.addTrainer(t.redo.trainer, dayblocks.Span{To: t.redo.leaves}, true)
	}
	return nil
}

func (t *task) addTrainer(trainer roster.Trainer, hours dayblocks.Span, handles bool) {
	t.trainerAt[trainer.ID] = len(t.trainers)
	t.trainers = append(t.trainers, trainer)
	t.handles = append(t.handles, handles)
	x := dayblocks.Trainer{Hours: []dayblocks.Span{hours}}
	if hours.To-hours.From > finishEarly {
		x.Finish = hours.To - finishEarly
	}
	t.day.Trainers = append(t.day.Trainers, x)
}

func (t *task) addBreaks() error {
	for i := range t.day.Trainers {
		x := &t.day.Trainers[i]
		var kinds []string
		since := 0
		if t.redo != nil && t.redo.knows(t.trainers[i].ID) {
			x.Breaks, kinds = t.redo.breaksOf(t.trainers[i].ID, x)
			since = t.redo.since
		} else if shift := t.shiftOf(i); shift != nil {
			x.Breaks, kinds = wantBreaks(x.Hours[0], shift.Meal)
		}
		kinds, lost := roomForBreaks(&t.day, x, kinds, since)
		if lost > 0 {
			t.note("%s has no room for %d of the day's breaks beside arrivals and handovers: give one of those to somebody else. Law and agreements on breaks go before this plan.",
				t.trainers[i].Code, lost)
		}
		t.kinds = append(t.kinds, kinds)
	}
	return nil
}

// shiftOf is the shift of a trainer; nil for one who has none at the site.
func (t *task) shiftOf(i int) *roster.TrainerDay {
	for k := range t.in.Shifts {
		if t.in.Shifts[k].Trainer.ID == t.trainers[i].ID {
			return &t.in.Shifts[k].Day
		}
	}
	return nil
}

func (t *task) addAreas() error {
	open, _, err := t.clock.span(areasOpen, areasClose)
	for _, a := range t.in.Areas {
		t.day.Areas = append(t.day.Areas, dayblocks.Area{Dogs: a.DogsAtOnce, Open: []dayblocks.Span{open}})
	}
	return err
}

func (t *task) addDogs() error {
	for i := range t.in.Guests {
		away, err := t.awayOf(i)
		if err != nil {
			return err
		}
		need := t.needs[i]
		dog := dayblocks.Dog{Rest: dogRest, Weight: 1, Away: away,
			Alone: need.Care == workload.Restricted || need.Skills[workload.Reactivity] >= loneReactivity, Two: t.needsTwo(i)}
		n := t.sessionsOf(i)
		skills := t.in.Guests[i].skillsFor(t.in.Day, n)
		t.skills = append(t.skills, skills)
		handlers, seconds := t.handlersOf(i), t.secondsOf(i)
		for j := range n {
			s := dayblocks.Session{Minutes: roundUp(t.in.Guests[i].Case.Program.SessionMinutes), Skill: t.skillAt(skills, j),
				Handlers: slices.Clone(handlers), Seconds: slices.Clone(seconds), Areas: t.placesOf(i)}
			if t.redo != nil {
				t.redo.hold(t, i, j, &s)
			}
			dog.Sessions = append(dog.Sessions, s)
		}
		t.day.Dogs = append(t.day.Dogs, dog)
	}
	return nil
}

// skillAt numbers the skill of a session. Sessions on no certain skill count as different ones.
func (t *task) skillAt(skills []ids.SkillID, j int) int {
	if skills == nil {
		return len(t.in.Skills) + j
	}
	for n, s := range t.in.Skills {
		if s.ID == skills[j] {
			return n
		}
	}
	return len(t.in.Skills) + j
}

// awayOf is when a dog does no work: meals and the rest after them, before its arrival and a while after it, from its handover on.
func (t *task) awayOf(i int) (away []dayblocks.Span, err error) {
	if t.in.Guests[i].Isolated != "" {
		return t.awayIsolated(i), nil
	}
	for _, meal := range dogMeals {
		from, err := t.clock.at(meal)
		if err != nil {
			return nil, err
		}
		away = append(away, t.within(from/step*step, from+mealMinutes+mealRest))
	}
	for _, d := range t.duties {
		switch {
		case d.dog != i:
		case d.kind == KindIntake:
			away = append(away, t.within(0, d.span.To+settleMinutes))
		default:
			away = append(away, t.within(d.span.From, t.day.Minutes))
		}
	}
	return away, nil
}

// within is a span of the day on the grid.
func (t *task) within(from, to int) dayblocks.Span {
	s := dayblocks.Span{From: min(max(0, from), t.day.Minutes), To: min(roundUp(max(0, to)), t.day.Minutes)}
	s.To = max(s.From, s.To)
	return s
}

// sessionsOf is how many sessions a dog should have on the day.
func (t *task) sessionsOf(i int) int {
	g := &t.in.Guests[i]
	n := g.Case.Program.SessionsADay
	if t.in.Day == g.Stay.Nights.From || t.in.Day == g.Stay.Nights.To {
		return min(n, workload.EndSessions)
	}
	if !t.ownWorks(i) {
		return min(n, workload.CoverSessions)
	}
	return n
}

// ownWorks reports whether a dog's own trainer is at work on the day, or was to be.
func (t *task) ownWorks(i int) bool {
	own := t.in.Guests[i].Stay.TrainerID
	at, known := t.trainerAt[own]
	return known && t.handles[at]
}

// may lists the trainers at work who may work with a dog.
func (t *task) may(i int) (found []int) {
	for n, trainer := range t.trainers {
		if ok, _ := planner.Suits(trainer, t.needs[i]); ok && t.handles[n] {
			found = append(found, n)
		}
	}
	return found
}

// handlersOf says what it costs that a dog is worked by each who may.
func (t *task) handlersOf(i int) (choices []dayblocks.Choice) {
	own := t.in.Guests[i].Stay.TrainerID
	if n, known := t.trainerAt[own]; known {
		if ok, lacking := planner.Suits(t.trainers[n], t.needs[i]); !ok {
			t.note("%s may not work with %s any more: it lacks %s.", t.trainers[n].Code, t.in.Guests[i].Case.Dog.Code, lacking)
		}
	}
	for _, n := range t.may(i) {
		points := 0
		if t.trainers[n].ID != own && t.ownWorks(i) && !t.redo.isGone(own) {
			points = pointsCover
		}
		choices = append(choices, dayblocks.Choice{Trainer: n, Points: points})
	}
	return choices
}

// placesOf lists the areas for a dog, and what each costs.
func (t *task) placesOf(i int) (places []dayblocks.Place) {
	phase := phaseOf(t.in.Guests[i].Stay.Nights.From, t.in.Day)
	for n, a := range t.in.Areas {
		places = append(places, dayblocks.Place{Area: n, Points: areaPoints[a.Kind][phase], Closed: t.closedFor(i, n)})
	}
	return places
}

func phaseOf(arrival, day calendar.Date) int {
	switch n := day.Sub(arrival); {
	case n < quietDays:
		return 0
	case n < busyDays:
		return 1
	}
	return 2
}

// suitable names the trainers who may work with a dog and stay.
func (t *task) suitable(i int) string {
	var codes []string
	for _, n := range t.may(i) {
		if !t.redo.isGone(t.trainers[n].ID) {
			codes = append(codes, t.trainers[n].Code)
		}
	}
	return strings.Join(codes, ", ")
}

// area is an area by its index.
func (t *task) area(n int) *facility.Area { return &t.in.Areas[n] }
