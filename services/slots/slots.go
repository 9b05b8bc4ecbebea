// Package slots appoints the handovers of a site: at what time each owner comes, which trainer shows the dog, in which area, and through which
// gate dog and owner leave. Its input and output know nothing of the rest of the program: visits, trainers, areas and gates are numbers, and
// times are minutes since a beginning that the caller chooses (elapsed minutes, so that days of 23 and 25 hours are right). An owner's drive
// and zone are turned into windows by the caller.
//
// Solve finds a plan and a proven bound on what any plan can be worth: visits that do not touch each other are planned apart, what is an
// assignment is solved as a flow, and the rest by branch and bound over prices (Lagrangian relaxation of the time-indexed programme), while parts
// of the best plan are placed anew. Check recounts a plan on its own, without the solver's code. A visit that has no slot is listed with what is
// in its way, Remedies finds the smallest changes that would help, each tried by solving again, and Alternatives lists other slots for a visit
// while all else is kept.
//
// A slot is good when all of these hold:
//   - it begins on the grid and lies wholly within one of the owner's windows and within the opening time of one day;
//   - on that day handover places are left;
//   - its trainer is free throughout and has a pause before the next visit;
//   - its area is open throughout and has room;
//   - at its gate no two visits begin, and no two end, within the gate's spacing, and none begins within the gate's passing time of another's end.
package slots

import (
	"errors"
	"fmt"
)

// ErrInvalid is wrapped by every error about a problem that cannot be solved as it is given.
var ErrInvalid = errors.New("invalid visits")

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...))
}

// Span is the minutes [From, To) since the beginning.
type Span struct{ From, To int }

// Problem is what is to be appointed, and with what.
type Problem struct {
	// Step is the grid in minutes: visits begin on its multiples. 15 is usual. All other times may be any minute.
	Step int
	// Minutes is how much time is looked at, from 0; at most 62 days.
	Minutes int
	// Pause is what a trainer needs between two visits, in minutes.
	Pause    int
	Days     []Day // in order, without overlap
	Trainers []Trainer
	Areas    []Area
	Gates    []Gate
	// Fixed is what stands already: arrivals, and handovers that owners have confirmed. It may break rules among itself; nothing is added that
	// breaks one with it.
	Fixed  []Fixed
	Visits []Visit
}

// Day is a day on which handovers can be.
type Day struct {
	Open   Span // a handover begins and ends within; its end is closing time
	Places int  // handovers that can be, with the fixed ones
}

// Trainer is somebody who holds handovers. Where free spans touch, they are one.
type Trainer struct{ Free []Span }

// Area is where dogs are shown.
type Area struct {
	Room int    // visits at once
	Open []Span // when; spans that touch are one
}

// Gate is where owners come and go.
type Gate struct {
	// Spacing is the least time in minutes between the beginnings of two visits, and between their ends.
	Spacing int
	// Passing is the least time in minutes between the end of one visit and the beginning of another; at most Spacing.
	Passing int
}

// Fixed is a visit that stands. Trainer, Area and Gate are -1 where it takes none.
type Fixed struct {
	Span
	Trainer, Area, Gate int
	Handover            bool // takes a handover place of the day on which it begins
}

// Visit is a handover that is to be appointed.
type Visit struct {
	Minutes int // how long it takes
	Least   int // how short it could be made if there is no other way; for Remedies only, 0: no shorter
	// Who may hold it, where, and through which gate, and what each costs in points.
	Trainers, Areas, Gates []Choice
	// OtherTrainers and OtherAreas are not among the choices but could be asked for; for Remedies only. Who or what must not be used, because
	// a trainer may not handle the dog or an area is not safe for it, stands in neither list and is never proposed.
	OtherTrainers, OtherAreas []int
	// Windows are when the owner can be there. The visit lies wholly within one of them; of several the cheapest counts.
	Windows []Window
	Kept    Kept
	Miss    int // points that appointing no time at all costs; it should be more than any slot costs
}

// Choice is a trainer, area or gate by number, and what it costs in points.
type Choice struct{ Of, Points int }

// Window is a time that an owner can make, and what it costs in points.
type Window struct {
	Span
	Points int
}

// Kept is a slot that was promised earlier, and what giving it up costs. The zero value asks for nothing.
type Kept struct {
	Slot    Slot
	Moved   int // points for beginning at another time
	Changed int // points for the same beginning but another trainer, area or gate
}

// Slot is when a visit begins (in minutes), who holds it, where, and through which gate.
type Slot struct{ Begin, Trainer, Area, Gate int }

// None is the slot of a visit that has none.
var None = Slot{-1, -1, -1, -1}

// Plan is the outcome of Solve.
type Plan struct {
	Slots []Slot // by visit; None for those without
	// Value is what the plan is worth: the points of missing every visit, less what this plan costs. No plan is worth more than Bound.
	Value, Bound int
	Missing      []Missing // in the order of the visits
}

// Missing is a visit without a slot.
type Missing struct {
	Visit  int
	Reason Reason
	// Alone says that the reason holds even if no other visit is appointed: only what is given and fixed is in the way.
	Alone bool
}

// Reason says what keeps a visit without a slot: the first of these, in this order, that leaves no beginning possible.
type Reason int

const (
	// NoTime: the owner's windows and the days' opening times have no stretch in common that is long enough.
	NoTime Reason = iota
	// NoPlace: at those times no handover place is left.
	NoPlace
	// NoTrainer: nobody who may hold it is free then.
	NoTrainer
	// NoArea: no area is open and free when a trainer is.
	NoArea
	// NoGate: others begin or end too near at every gate whenever trainer and area are free.
	NoGate
	// NotWorthIt: there are slots, but none costs fewer points than missing the visit.
	NotWorthIt
)

// String says the reason in words.
func (r Reason) String() string {
	switch r {
	case NoTime:
		return "the owner's times and the opening hours have no stretch in common that is long enough"
	case NoPlace:
		return "no handover place is left on the days that the owner can make"
	case NoTrainer:
		return "no trainer who may hold it is free then"
	case NoArea:
		return "no area is open and free when a trainer is"
	case NoGate:
		return "others come or go at the gate too near in time"
	case NotWorthIt:
		return "no slot that is left costs less than appointing none"
	}
	return fmt.Sprintf("reason %d", int(r))
}

// Worth is the points of missing every visit.
func (p *Problem) Worth() (sum int) {
	for i := range p.Visits {
		sum += p.Visits[i].Miss
	}
	return sum
}
