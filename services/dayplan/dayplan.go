// Package dayplan plans the day of a site: which dog is worked by whom, where, when and on which skill. It reads the promises of
// package planner and the records of the leaf services; the planning itself is package dayblocks, which knows only numbers.
//
// A plan takes this way, file by file:
//
//	server.go    reads what is asked for
//	inputs.go    one snapshot of everything that a day depends on, and its fingerprint
//	clock.go     local times as minutes since the site's midnight, and back
//	duties.go    who sees to the arrivals and handovers; appointed.go those that have an appointment with the owner
//	breaks.go    meals and short breaks
//	skills.go    what each dog works on
//	heat.go      when work outdoors is closed for which dog, and what people should know of it
//	conditions.go  closed areas, dogs that must not meet, dogs that need two people
//	day.go       all of it as a dayblocks.Day, with a way back from its indices
//	solve.go     the search, the recount and the way back
//	words.go     what is dropped, in words
//	store.go     one transaction that keeps it
//	anew.go      the rest of a day once more: a trainer gone, an area closed, heat; differ.go says what is otherwise
//	trial.go     a change that is looked at before it counts: what was seen is what is kept, or nothing
//	server_repair.go, server_absence.go  the calls that do so; appointed_job.go does it when an appointment was moved
//
// A shift belongs to the day on which it begins. Heat closes areas by a forecast that a person entered; on a day without one, or in an hour
// without one, it closes none, and Notes say so. Two dogs that must not meet are never in one area at once; on the way there people see to it.
package dayplan

import (
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// States of a plan.
const (
	StateLive     = "live"
	StateReplaced = "replaced"
)

// Kinds of pauses and duties.
const (
	KindMeal     = "meal"
	KindRest     = "rest"
	KindIntake   = "intake"
	KindHandover = "handover"
)

// Plan is the plan of a site's day. The zero ID stands for one that is not kept.
type Plan struct {
	ID          ids.DayPlanID `db:"id"`
	SiteID      ids.SiteID    `db:"site_id"`
	Day         calendar.Date `db:"day"`
	Number      int           `db:"number"`
	State       string        `db:"state"`
	MadeAt      time.Time     `db:"made_at"`
	MadeBy      string        `db:"made_by"`
	Seed        int64         `db:"seed"`
	Seconds     float64       `db:"seconds"`
	Fingerprint string        `db:"fingerprint"`
	// Value and Bound are in points; no plan of the day is worth more than Bound.
	Value int64 `db:"value"`
	Bound int64 `db:"bound"`
	// Dogs is how many are there on the day.
	Dogs  int      `db:"dogs"`
	Notes []string `db:"notes"`

	Blocks []Block `db:"-"`
	Pauses []Pause `db:"-"`
	Duties []Duty  `db:"-"`
	Drops  []Drop  `db:"-"`
}

// Block is a session that is held.
type Block struct {
	DogID ids.DogID `db:"dog_id"`
	// Session is which of the dog's sessions of the day it is, from 1.
	Session   int           `db:"session"`
	TrainerID ids.TrainerID `db:"trainer_id"`
	// SecondID is the second person, of a dog that two must be with; absent for any other.
	SecondID ids.TrainerID `db:"second_trainer_id"`
	// Own says that the trainer is the one whom the dog was promised.
	Own    bool       `db:"own"`
	AreaID ids.AreaID `db:"area_id"`
	// SkillID is absent where the program asks for no skill.
	SkillID ids.SkillID `db:"skill_id"`
	// From and To are instants in UTC; the changeover comes after To.
	From time.Time `db:"starts_at"`
	To   time.Time `db:"ends_at"`
}

// Pause is a break of a trainer.
type Pause struct {
	TrainerID ids.TrainerID `db:"trainer_id"`
	Kind      string        `db:"kind"`
	From      time.Time     `db:"starts_at"`
	To        time.Time     `db:"ends_at"`
}

// Duty is the arrival or handover of a dog.
type Duty struct {
	DogID ids.DogID `db:"dog_id"`
	Kind  string    `db:"kind"`
	// TrainerID is absent where nobody can see to it.
	TrainerID ids.TrainerID `db:"trainer_id"`
	From      time.Time     `db:"starts_at"`
	To        time.Time     `db:"ends_at"`
}

// Drop is a session that is not held.
type Drop struct {
	DogID   ids.DogID   `db:"dog_id"`
	Session int         `db:"session"`
	SkillID ids.SkillID `db:"skill_id"`
	Reason  string      `db:"reason"`
	Remedy  string      `db:"remedy"`
}

// begins returns when the first block or duty of a plan begins; false for a plan without any.
func (p *Plan) begins() (first time.Time, ok bool) {
	for _, b := range p.Blocks {
		if !ok || b.From.Before(first) {
			first, ok = b.From, true
		}
	}
	for _, d := range p.Duties {
		if !ok || d.From.Before(first) {
			first, ok = d.From, true
		}
	}
	return first, ok
}
