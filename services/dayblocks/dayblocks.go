// Package dayblocks plans one site's day: which dog is worked by whom, where and at what time. Its input and output know nothing of the
// rest of the program: dogs, trainers and areas are numbers, and times are minutes since the day began at the site (elapsed minutes, so
// that days of 23 and 25 hours are right).
//
// Solve finds a plan and a proven bound on what any plan can be worth, Check recounts a plan on its own, and what could not be fitted in is
// listed with the reason.
package dayblocks

import (
	"errors"
	"fmt"
)

// ErrInvalid is wrapped by every error about a day that cannot be planned as it is given.
var ErrInvalid = errors.New("invalid day")

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrInvalid, fmt.Sprintf(format, args...))
}

// Span is the minutes [From, To) since the day began.
type Span struct{ From, To int }

// Day is what is to be planned.
type Day struct {
	// Step is the grid in minutes: blocks and breaks begin on it, and all lengths and times must be multiples of it. 5 is usual.
	Step int
	// Minutes is how long the day is; nothing is planned after it. At most 2,000 steps.
	Minutes int
	// Changeover is the time after each block in which its trainer takes the dog back and fetches the next; it belongs to the trainer's hours.
	Changeover int
	Trainers   []Trainer
	Areas      []Area
	Dogs       []Dog
	// Apart are pairs of dogs that must not meet: they are never in one area at once.
	Apart  [][2]int
	Policy Policy
}

// Trainer is somebody who works with dogs on the day.
type Trainer struct {
	Hours  []Span  // at work
	Fixed  []Span  // within the hours, but taken already: arrivals, handovers
	Breaks []Break // each must be taken
	Finish int     // blocks should be over by then, changeover included; 0: no such wish
}

// Break is a meal or rest that a trainer takes within a span, at a time that the plan chooses.
type Break struct {
	Minutes int
	Within  Span
}

// Area is a place for training.
type Area struct {
	Dogs int    // how many may be worked there at once
	Open []Span // when
}

// Dog is a dog that is present.
type Dog struct {
	Sessions []Session
	Away     []Span // no work then: meals and the hour after them, the veterinarian
	Rest     int    // minutes between two of its sessions, at least
	Alone    bool   // no other dog may be in the area meanwhile
	Two      bool   // needs a second trainer throughout
	Weight   int    // how much its sessions matter: 1 is usual, 0 is taken for 1
}

// Session is one block of work that a dog should have on the day.
type Session struct {
	Minutes  int
	Skill    int // never three sessions of a dog in a row on the same skill, in the order in which they are held
	Handlers []Choice
	Areas    []Place
	Seconds  []Choice // who may be the second trainer, of a dog that needs two; nil: any who is free, for no points
	Extra    int      // points that leaving this very session out costs, besides Policy.Drop
	Kept     Kept     // where it was in an earlier plan of the day
}

// Kept is a start in minutes, and what any other start costs in points. The zero value asks for nothing.
type Kept struct{ Start, Points int }

// Choice is a trainer who may hold a session, and what that costs in points.
type Choice struct{ Trainer, Points int }

// Place is an area where a session may be held, what that costs in points, and when this dog may not be there although it is open, as
// outdoors in the heat.
type Place struct {
	Area, Points int
	Closed       []Span
}

// Policy is what matters, in points.
type Policy struct {
	Drop   int // the first session of a dog that is left out; the second costs twice as much, the third three times, so that it is shared evenly
	Change int // each area of a dog beyond the first
	Near   int // each pause between two sessions of a dog that is shorter than Spread
	Spread int // minutes
	Late   int // each block that ends after its trainer's Finish, changeover included
	Idle   int // each step in which a trainer waits between its first and its last block of the day
}

// Block is a session that is held.
type Block struct {
	Dog, Session int
	Trainer      int
	Second       int // the second trainer, -1 for none
	Area         int
	Start        int // minutes
}

// Plan is the outcome of Solve.
type Plan struct {
	Blocks []Block
	Breaks [][]int // by trainer and break: start in minutes
	// Value is what the plan is worth: the cost of leaving out everything, less the cost of this plan. No plan is worth more than Bound.
	Value, Bound int
	Dropped      []Dropped
}

// Dropped is a session that is not held, and why.
type Dropped struct {
	Dog, Session int
	Reason       Reason
}

// Reason says what keeps a session out of a plan.
type Reason int

const (
	// NeverPossible: not even on a day with no other dog.
	NeverPossible Reason = iota
	// DogFull: what the dog has on the day already leaves no room: its rest, or three sessions in a row on one skill.
	DogFull
	// NoTrainer: nobody who may hold it is free when the dog is.
	NoTrainer
	// NoArea: no area is free when dog and trainer are.
	NoArea
	// NoSecond: no second trainer is free then.
	NoSecond
	// NotWorthIt: there is room, but holding it would cost more points than it is worth.
	NotWorthIt
)

// Worth is the cost of leaving out every session of a day.
func (d *Day) Worth() (sum int) {
	for i := range d.Dogs {
		dog := &d.Dogs[i]
		sum += d.dropCost(dog, len(dog.Sessions))
		for _, s := range dog.Sessions {
			sum += s.Extra
		}
	}
	return sum
}

// dropCost is what leaving out n sessions of a dog costs, without what the very sessions cost.
func (d *Day) dropCost(dog *Dog, n int) int {
	return max(1, dog.Weight) * d.Policy.Drop * n * (n + 1) / 2
}
