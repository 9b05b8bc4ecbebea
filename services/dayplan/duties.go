package dayplan

import (
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
)

// duty is an arrival or handover, with the trainer who sees to it; -1 for nobody.
type duty struct {
	dog     int
	kind    string
	trainer int
	span    dayblocks.Span
}

// addDuties gives each arrival and handover of the day to the dog's own trainer, or to whoever may cover, at its usual time or the next
// that is free. What was agreed with owners comes first.
func (t *task) addDuties() error {
	t.addAppointed()
	for _, kind := range []string{KindIntake, KindHandover} {
		for i, g := range t.in.Guests {
			on, usual, minutes := g.Stay.Nights.From, intakeAt, intakeMinutes
			if kind == KindHandover {
				on, usual, minutes = g.Stay.Nights.To, handoverAt, handoverMinutes
			}
			if on != t.in.Day || t.hasDuty(i, kind) {
				continue
			}
			times, err := t.dutyTimes(usual, minutes)
			if err != nil {
				return err
			}
			d := t.place(i, kind, minutes, t.gateFirst(kind, minutes, times))
			if d.trainer < 0 {
				t.note("Nobody is free for the %s of %s: ask the owner for another time, or somebody to come in.", kind, g.Case.Dog.Code)
			}
			if other := t.atGate(d.span); kind == KindIntake && d.trainer >= 0 && other != "" {
				t.note("%s arrives when %s goes home, or about then: let one of them come through another gate.", g.Case.Dog.Code, other)
			}
			t.takeDuty(d)
		}
	}
	return nil
}

// hasDuty reports whether a guest's arrival or handover has its time already.
func (t *task) hasDuty(guest int, kind string) bool {
	return slices.ContainsFunc(t.duties, func(d duty) bool { return d.dog == guest && d.kind == kind })
}

// dutyTimes are the minutes at which a duty may begin, the best first: at its time or later, else earlier.
func (t *task) dutyTimes(usual calendar.Clock, minutes int) (times []int, err error) {
	hours, _, err := t.clock.span(dutiesOpen, dutiesClose)
	if err != nil {
		return nil, err
	}
	first, err := t.clock.at(usual)
	if err != nil {
		return nil, err
	}
	first = roundUp(first)
	for at := first; at+minutes <= hours.To; at += dutyEvery {
		times = append(times, at)
	}
	for at := first - dutyEvery; at >= hours.From; at -= dutyEvery {
		times = append(times, at)
	}
	if t.redo != nil {
		times = slices.DeleteFunc(times, func(at int) bool { return at < t.redo.since })
	}
	return times, nil
}

// place finds a trainer and a time for a duty.
func (t *task) place(dog int, kind string, minutes int, times []int) duty {
	d := duty{dog: dog, kind: kind, trainer: -1, span: dayblocks.Span{From: t.day.Minutes - minutes, To: t.day.Minutes}}
	if len(times) > 0 {
		d.span = dayblocks.Span{From: times[0], To: times[0] + minutes}
	}
	if t.redo != nil {
		if before, ok := t.redo.dutyOf(t.in.Guests[dog].Case.Dog.ID, kind); ok {
			d.span = before.span
			n, known := t.trainerAt[before.trainer]
			if known && t.freeFor(n, before.span) {
				d.trainer = n
				return d
			}
			if before.span.From < t.redo.since && !t.redo.isGone(before.trainer) {
				return d // over already
			}
			times = slices.Insert(slices.Clone(times), 0, max(before.span.From, t.redo.since))
			times = slices.DeleteFunc(times, func(at int) bool { return at+minutes > t.day.Minutes })
		}
	}
	own := t.trainersFor(dog)
	for _, byTime := range []bool{t.redo != nil, false} {
		for _, n := range own {
			for k, at := range times {
				if byTime && k > 0 {
					break
				}
				if span := (dayblocks.Span{From: at, To: at + minutes}); t.freeFor(n, span) {
					d.trainer, d.span = n, span
					return d
				}
			}
		}
	}
	return d
}

// trainersFor lists who may see to a dog's arrival or handover: its own trainer, then those who have fewest such duties.
func (t *task) trainersFor(dog int) (found []int) {
	own := t.in.Guests[dog].Stay.TrainerID
	found = t.may(dog)
	rank := func(n int) int {
		if t.trainers[n].ID == own {
			return -1
		}
		return len(t.day.Trainers[n].Fixed)
	}
	slices.SortStableFunc(found, func(a, b int) int { return rank(a) - rank(b) })
	return found
}

// freeFor reports whether a trainer has time for a duty, beside what was before and stays.
func (t *task) freeFor(n int, s dayblocks.Span) bool {
	if !free(&t.day.Trainers[n], s) {
		return false
	}
	return t.redo == nil || !slices.ContainsFunc(t.redo.busy[t.trainers[n].ID], func(b dayblocks.Span) bool { return b.From < s.To && s.From < b.To })
}
