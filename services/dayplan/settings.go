package dayplan

import "github.com/longlead/longlead/services/calendar"

// Lengths in minutes, counts and times of the day. All of them are common practice, or our own, with no source, unless they say
// otherwise. Law, contracts and agreements on working time go before them, and a veterinarian's word before those about dogs.
const (
	step       = 5
	changeover = 5
	// dogRest lies between two sessions of a dog.
	dogRest = 60
	// spread is the pause between two sessions of a dog below which the plan costs points.
	spread = 120
	// mealMinutes is what a dog's meal takes; no work follows for mealRest: common practice, no source. Ask a veterinarian for
	// deep-chested dogs.
	mealMinutes = 15
	mealRest    = 60
	// intakeMinutes and handoverMinutes are what an arrival and a handover take of a trainer.
	intakeMinutes   = 60
	handoverMinutes = 90
	// settleMinutes are left to a dog after its arrival.
	settleMinutes = 60
	// A trainer rests restMinutes for every restEvery minutes of work.
	restMinutes = 10
	restEvery   = 240
	// finishEarly is how long before the end of a shift the last block should be over, for notes.
	finishEarly = 15
	// loneReactivity is the level of the skill from which a dog gets an area alone; so does every dog of care class restricted.
	loneReactivity = 2
	// quietDays is how long a dog is in its first weeks: quiet ones, then middling ones up to busyDays, then busy ones.
	quietDays = 7
	busyDays  = 14
)

// dogMeals are when dogs are fed.
var dogMeals = []calendar.Clock{7 * 60, 17 * 60}

// Areas are used, and arrivals and handovers are, within these hours; intakes and handovers are put at these times where they can be.
const (
	areasOpen   = calendar.Clock(7 * 60)
	areasClose  = calendar.Clock(20 * 60)
	dutiesOpen  = calendar.Clock(8 * 60)
	dutiesClose = calendar.Clock(18 * 60)
	intakeAt    = calendar.Clock(9 * 60)
	handoverAt  = calendar.Clock(15 * 60)
	dutyEvery   = 30
)

// Points; see dayblocks.Policy. Leaving out a dog's second session costs twice pointsDrop.
const (
	pointsDrop   = 100
	pointsChange = 3
	pointsNear   = 4
	pointsLate   = 6
	pointsIdle   = 1
	// pointsCover is what a session with another trainer costs while the dog's own is at work.
	pointsCover = 30
	// When a day is planned anew: what another time, another trainer and another area cost, of people who are not absent.
	pointsOtherTime    = 10
	pointsOtherTrainer = 20
	pointsOtherArea    = 5
	// pointsPast holds what has been already.
	pointsPast = 100_000
)

// areaPoints is what a kind of area costs a dog in its quiet days, middling days and busy days: the first week is for places with few
// distractions, later weeks for busier ones.
var areaPoints = map[string][3]int{
	"quiet room": {0, 3, 6},
	"hall":       {2, 0, 3},
	"yard":       {10, 2, 0},
	"field":      {15, 4, 0},
}
