package handover

import (
	"cmp"
	"slices"

	"github.com/longlead/longlead/services/apperr"
)

// State is where an appointment stands.
type State string

// The states. The empty state is that of an appointment that does not exist yet.
const (
	// Offered waits for the owner's answer.
	Offered State = "offered"
	// Confirmed is agreed with the owner.
	Confirmed State = "confirmed"
	// Asked means that the owner asks for another time. The time is kept until there is one.
	Asked State = "asked"
	// Late means that the owner will be late.
	Late State = "late"
	// Missed means that the owner did not come and the next time is to be found.
	Missed State = "missed"
	// Held and Cancelled are ends.
	Held      State = "held"
	Cancelled State = "cancelled"
)

// States are all of them, in the order in which an appointment may pass through them.
var States = []State{Offered, Confirmed, Asked, Late, Missed, Held, Cancelled}

// Live reports whether the appointment is to come: its trainer, area and gate are taken.
func (s State) Live() bool { return s == Offered || s == Confirmed || s == Asked || s == Late }

// Open reports whether the appointment is neither held nor cancelled. A stay has one open handover at most.
func (s State) Open() bool { return s.Live() || s == Missed }

// Act is what is done with an appointment.
type Act string

// The acts of the table in the package comment, and one that changes no state.
const (
	ActPlaced    Act = "placed"
	ActBooked    Act = "booked"
	ActMoved     Act = "moved"
	ActNotReady  Act = "not ready"
	ActChosen    Act = "chosen"
	ActConfirmed Act = "confirmed"
	ActAsked     Act = "asked"
	ActLate      Act = "late"
	ActMissed    Act = "missed"
	ActHeld      Act = "held"
	ActCancelled Act = "cancelled"
	ActOffers    Act = "offers"
	// ActStay notes that the stay was replaced by another of the same request. Nobody is told of it.
	ActStay Act = "stay"
)

// step is a row of the table in the package comment.
type step struct {
	from []State
	// to is the state after it; the empty state leaves it as it is.
	to State
	// noticed says that the version rises, and noticedFrom that it does from these states alone.
	noticed     bool
	noticedFrom []State
	// after says that the act makes sense only once the appointment has begun.
	after bool
}

var steps = map[Act]step{
	ActPlaced:    {from: []State{""}, to: Offered, noticed: true},
	ActBooked:    {from: []State{""}, to: Confirmed, noticed: true},
	ActMoved:     {from: []State{Offered, Confirmed, Asked, Late, Missed}, to: Offered, noticed: true},
	ActNotReady:  {from: []State{Offered, Confirmed, Asked, Late, Missed}, to: Offered, noticed: true},
	ActChosen:    {from: []State{Offered, Confirmed, Asked, Missed}, to: Confirmed, noticed: true},
	ActConfirmed: {from: []State{Offered, Asked}, to: Confirmed},
	ActAsked:     {from: []State{Offered, Confirmed, Asked}, to: Asked},
	ActLate:      {from: []State{Offered, Confirmed, Asked, Late}, to: Late},
	ActMissed:    {from: []State{Offered, Confirmed, Asked, Late}, to: Missed, noticed: true, after: true},
	ActHeld:      {from: []State{Offered, Confirmed, Asked, Late}, to: Held, after: true},
	ActCancelled: {from: []State{Offered, Confirmed, Asked, Late, Missed}, to: Cancelled, noticed: true},
	// Who asked for another time, or has to choose one, is told of those that there are.
	ActOffers: {from: []State{Offered, Confirmed, Asked, Late, Missed}, noticedFrom: []State{Asked, Missed}},
}

// stateWords say how an appointment stands, after "the appointment ".
var stateWords = map[State]string{Offered: "waits for the owner's answer", Confirmed: "is confirmed", Asked: "waits for another time that the owner asked for",
	Late: "waits for an owner who is late", Missed: "was missed", Held: "was held", Cancelled: "was cancelled", "": "does not exist yet"}

// actWords say what cannot be done, after "cannot be ".
var actWords = map[Act]string{ActPlaced: "placed", ActBooked: "booked", ActMoved: "moved", ActNotReady: "moved", ActChosen: "moved to an offered time", ActConfirmed: "confirmed",
	ActAsked: "asked to be at another time", ActOffers: "given other times to choose", ActLate: "noted as late", ActMissed: "noted as missed", ActHeld: "noted as held", ActCancelled: "cancelled"}

// allows reports whether an act may follow on a state.
func allows(from State, act Act) bool { return slices.Contains(steps[act].from, from) }

// Allows reports whether an act may follow on a state, for those who show what can be done. begun says that the appointment's time has come.
func Allows(from State, act Act, begun bool) bool {
	return allows(from, act) && (begun || !steps[act].after)
}

// Tells reports whether the owner is written to when an act follows on a state.
func Tells(from State, act Act) bool {
	return steps[act].noticed || slices.Contains(steps[act].noticedFrom, from)
}

// apply does an act with an appointment: it sets state, version and revision. What else the act changes is set before, in after. An act
// that the state does not allow is a Precondition, and so is one that comes before its time.
func apply(before, after Appointment, act Act) (Appointment, error) {
	step, known := steps[act]
	switch {
	case !known, !slices.Contains(step.from, before.State):
		return before, apperr.Preconditionf("APPOINTMENT_STATE", "The appointment %s, so it cannot be %s.", stateWords[before.State], actWords[act])
	case step.after && after.ChangedAt.Before(before.Begins):
		return before, apperr.Preconditionf("APPOINTMENT_TO_COME", "The appointment has not begun yet, so it cannot be %s: move or cancel it instead.", actWords[act])
	}
	after.State = cmp.Or(step.to, before.State)
	after.Revision = before.Revision + 1
	after.Version = before.Version
	if step.noticed || slices.Contains(step.noticedFrom, before.State) {
		after.Version++
	}
	if after.State != Asked {
		after.Wish = ""
	}
	if after.State != Late {
		after.LateMinutes = 0
	}
	return after, nil
}
