package dayplan

import (
	"slices"
	"time"

	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// Appointed is when and with whom a dog's owner was asked to come. A day is planned around it: the time is the owner's, and is never moved here.
type Appointed struct {
	TrainerID ids.TrainerID
	// AreaID is where the dog is shown; nobody else works there meanwhile. It is absent where none is kept.
	AreaID ids.AreaID
	// Gate is where the owner comes in.
	Gate string
	From time.Time
	To   time.Time
}

// appointedSpan is an appointment's minutes on the grid of the day; false for one that lies outside the day, or that the dog has not.
func (t *task) appointedSpan(i int) (dayblocks.Span, bool) {
	a := t.in.Guests[i].Appointed
	if a == nil {
		return dayblocks.Span{}, false
	}
	s := t.within(max(0, t.clock.minute(a.From))/step*step, t.clock.minuteUp(a.To))
	return s, s.From < s.To
}

// addAppointed gives each handover that has an appointment to the trainer whom the owner expects, or to somebody else who may and can at that
// very time.
func (t *task) addAppointed() {
	for i := range t.in.Guests {
		span, ok := t.appointedSpan(i)
		if !ok || t.handedOver(i, span) {
			continue
		}
		t.takeDuty(t.appoint(i, span))
	}
}

// handedOver reports whether a handover has begun by the plan before, and the appointment is no later one: what has begun stays as it was.
func (t *task) handedOver(i int, span dayblocks.Span) bool {
	if t.redo == nil || span.From >= t.redo.since {
		return false
	}
	before, ok := t.redo.dutyOf(t.in.Guests[i].Case.Dog.ID, KindHandover)
	return ok && before.span.From < t.redo.since
}

// appoint finds who holds a handover at its time; nobody is -1.
func (t *task) appoint(i int, span dayblocks.Span) duty {
	d := duty{dog: i, kind: KindHandover, trainer: -1, span: span}
	dog, wanted := t.in.Guests[i].Case.Dog.Code, t.in.Guests[i].Appointed.TrainerID
	expected, known := t.trainerAt[wanted]
	if known && t.handles[expected] && t.canHold(expected, span) {
		d.trainer = expected
		return d
	}
	at := t.clock.local(t.clock.instant(span.From))
	for _, n := range t.trainersFor(i) {
		if t.canHold(n, span) {
			d.trainer = n
			t.note("The owner of %s was asked to come at %s, and the trainer of that appointment cannot be there: %s hands over. Tell the owner.", dog, at, t.trainers[n].Code)
			return d
		}
	}
	t.note("Nobody is free for the handover of %s at %s, when its owner was asked to come: ask the owner for another time, or somebody to come in.", dog, at)
	return d
}

// canHold reports whether a trainer can be at an appointment. Breaks that have not begun make room for it; where law or an agreement says
// when a break must be, that goes before.
func (t *task) canHold(n int, s dayblocks.Span) bool {
	if !free(&t.day.Trainers[n], s) {
		return false
	}
	return t.redo == nil || !slices.ContainsFunc(t.redo.busy[t.trainers[n].ID], func(b dayblocks.Span) bool {
		return b.From < t.redo.since && b.From < s.To && s.From < b.To
	})
}

// takeDuty takes a duty's time from its trainer.
func (t *task) takeDuty(d duty) {
	if d.trainer >= 0 {
		x := &t.day.Trainers[d.trainer]
		x.Fixed = append(x.Fixed, d.span)
	}
	t.duties = append(t.duties, d)
}

// gateFirst puts the times first at which an arrival meets nobody at the gate: owners who bring a dog come through the site's first one.
func (t *task) gateFirst(kind string, minutes int, times []int) []int {
	if kind != KindIntake {
		return times
	}
	out := slices.Clone(times)
	rank := func(at int) int {
		if t.atGate(dayblocks.Span{From: at, To: at + minutes}) != "" {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b int) int { return rank(a) - rank(b) })
	return out
}

// atGate is the code of a dog whose handover begins, or ends, at the first gate at about the same time as a span; empty for none.
func (t *task) atGate(s dayblocks.Span) string {
	near := func(a, b int) bool { return max(a-b, b-a) < t.in.GateMinutes }
	for i, g := range t.in.Guests {
		span, ok := t.appointedSpan(i)
		if ok && g.Appointed.Gate == t.in.Gate && (near(span.From, s.From) || near(span.To, s.To)) {
			return g.Case.Dog.Code
		}
	}
	return ""
}

// addQuiet keeps the areas of appointments quiet: nobody else works there meanwhile. Heat that closes work outdoors closes a handover there
// as well, which a person has to settle.
func (t *task) addQuiet() error {
	for i, g := range t.in.Guests {
		span, ok := t.appointedSpan(i)
		n := slices.IndexFunc(t.in.Areas, func(x facility.Area) bool { return ok && x.ID == g.Appointed.AreaID })
		if n < 0 {
			continue
		}
		t.quiet[n] = append(t.quiet[n], span)
		hot := t.in.Areas[n].Outdoors && slices.ContainsFunc(t.hot[i], func(h dayblocks.Span) bool { return h.From < span.To && span.From < h.To })
		shut := slices.ContainsFunc(t.closed[n], func(c dayblocks.Span) bool { return c.From < span.To && span.From < c.To })
		if hot || shut {
			t.note("The handover of %s is in %s at %s, which is closed then: show the dog somewhere else, and tell its owner where.", g.Case.Dog.Code, t.in.Areas[n].Code,
				t.clock.local(t.clock.instant(span.From)))
		}
	}
	return nil
}
