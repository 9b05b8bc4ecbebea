package allocation

import "time"

// Problem is one month (or any horizon) to plan. Days counts day indices 0 … Days-1; a stay may leave on day Days-1 at the
// latest, so there are Days-1 nights. The zero value is a valid problem with nothing to plan once Days is at least 1.
//
// A Problem is read-only to this package: Solve, Check, Usage and Blockers never change it, and lists inside it may be
// shared between groups.
type Problem struct {
	Name     string
	Days     int
	Sites    []Site
	Trainers []Trainer
	Dogs     []Dog
	// Together lists households: the dogs of one are placed all, at one site and on one arrival day, or none of them.
	Together [][]int
}

// Site is a place with runs. Runs, Intake and Minutes are indexed by day and hold at least Days-1 numbers, Handover at
// least Days.
type Site struct {
	Name string
	Runs []RunClass
	// Intake and Handover are how many dogs can arrive, and how many can be handed over, on each day.
	Intake, Handover []int
	// Minutes is all trainer time at the site by day, cover included; nil means no limit.
	Minutes []int
	// EasyIntake, EasyHandover and EasyMinutes are soft levels of those three; nil means none. EasyMinutes needs Minutes.
	EasyIntake, EasyHandover, EasyMinutes *Easy
	// CleanDown is how many nights a run stays unusable after each stay: a stay holds its run for the nights
	// [arrival, departure+CleanDown), cut off at the end of the horizon.
	CleanDown int
}

// RunClass is a kind of run at a site and how many there are on each night.
type RunClass struct {
	Class    string
	Capacity []int
}

// Trainer works at one site. On days with Works the dogs of this trainer use Minutes and Dogs (dogs in hand); on the other
// days they use neither, but the site's cover minutes.
type Trainer struct {
	Site          int
	Works         []bool
	Minutes, Dogs []int
	// Easy is a soft level of the trainer's minutes on working days; nil means none.
	Easy *Easy
}

// Easy is a soft level of a capacity. Use up to Upto[k] on day k costs nothing; every unit above it costs Over points, up to the
// capacity, which stays a rule. What is over is taken off the plan's value, not off any one option's. An Over of 0 is no level.
//
// A unit of places is one place. A unit of minutes is one minute, unless a trainer's Unit is above 1: then each stay counts for
// its minutes in units, rounded to the nearest, so that a price may be "a point for each quarter of an hour". Unit is 0 or 1 for a site's levels.
type Easy struct {
	Upto []int
	Over int
	Unit int
}

// Dog is a wish for one stay of Nights nights, with every way in which it could be granted.
type Dog struct {
	Nights     int
	Placements []Group
}

// Group is a site and an arrival day, with the run classes and trainers that suit. An option is a group, one of its runs
// and one of its trainers, and is worth Value less the two penalties.
type Group struct {
	Site, Arrival, Value int
	Runs                 []RunOption
	Trainers             []TrainerOption
}

// RunOption is a run class of the group's site and what choosing it costs in points.
type RunOption struct{ Class, Penalty int }

// TrainerOption is a trainer of the group's site: what choosing it costs in points, the minutes the dog needs on each day
// the trainer works, and the site minutes it needs on each day the trainer does not.
type TrainerOption struct{ Trainer, Penalty, Minutes, Cover int }

// Placement is one dog's place in a plan. Run is the index of the run class at the site, Trainer the trainer's index.
type Placement struct{ Dog, Site, Arrival, Run, Trainer int }

// Status says what is known about a plan.
type Status string

const (
	// Feasible: the plan keeps every rule; a better one may exist, worth at most Bound.
	Feasible Status = "feasible"
	// Optimal: the plan keeps every rule and no plan is worth more.
	Optimal Status = "optimal"
)

// StopReason says why Solve returned.
type StopReason string

const (
	// StopProven: the plan was proven optimal.
	StopProven StopReason = "proven"
	// StopLimit: Options.Limit had passed.
	StopLimit StopReason = "limit"
	// StopIterations: Options.Iterations were done.
	StopIterations StopReason = "iterations"
	// StopCancelled: Options.Cancel or Options.Enough was closed.
	StopCancelled StopReason = "cancelled"
)

// Solution is a plan and what is proven about it. Value is counted from the placements by Check: their worth less what runs over
// soft levels costs. Bound is an integer that
// no plan's value can exceed. Placements are sorted by dog.
type Solution struct {
	Status       Status
	Value, Bound int64
	Placements   []Placement
	Seconds      float64
	Seed         uint64
	Prices       Prices
	Stopped      StopReason
}

// Gap is how far Bound lies above Value, in percent of Value; 0 when they are equal, and 100 when Value is not positive.
func (s Solution) Gap() float64 { return GapPercent(s.Value, s.Bound) }

// GapPercent is how far a bound lies above a value, in percent of the value; 100 where the value is not positive and the bound is above it.
func GapPercent(value, bound int64) float64 {
	switch {
	case bound <= value:
		return 0
	case value <= 0:
		return 100
	}
	return 100 * float64(bound-value) / float64(value)
}

// Prices say, in points, what one more unit of each resource would be worth near the relaxed optimum: zero where there is
// room to spare. They guide a manager; they are not exact for whole dogs.
type Prices struct {
	Sites    []SitePrices
	Trainers []TrainerPrices
}

// SitePrices holds a site's prices: Runs by class and night, the others by day. Minutes is nil where the site has no limit. Prices
// are those of capacities; what is over a soft level is not in them.
type SitePrices struct {
	Runs                      [][]float64
	Intake, Handover, Minutes []float64
}

// TrainerPrices holds a trainer's prices by day: of one minute and of one dog in hand.
type TrainerPrices struct{ Minutes, Dogs []float64 }

// Options steer Solve. The zero value solves on one thread with seed 0 until the plan is proven optimal or the search has
// nothing left to try; set Limit, Iterations or Cancel for anything but small problems.
type Options struct {
	Seed    uint64
	Threads int // at most this many goroutines; below 1 means 1
	// Iterations limits the search by work done, so that a run can be repeated exactly: same problem, seed, threads and
	// iterations give the same plan, as long as Limit and Cancel did not stop it. 0 means no such limit.
	Iterations int
	// Limit is the time after which the best plan so far is returned. 0 means no limit.
	Limit time.Duration
	// Cancel, when closed, makes Solve return soon with a valid plan. nil never cancels.
	Cancel <-chan struct{}
	// Enough, when closed, makes Solve return the best plan so far, like Cancel, but not before each part has a first plan. nil never
	// does.
	Enough <-chan struct{}
	// Warm is a plan to start from: the result is never worth less. Placements that break a rule are left out of the start.
	Warm []Placement
	// Progress, when set, is called from one goroutine at a time, at least every half second. Value never falls and Bound
	// never rises between calls.
	Progress func(Progress)
}

// Progress is a glance at a running search. Gap is in percent, Placed counts placed dogs of the best plan so far.
type Progress struct {
	Value, Bound int64
	Gap          float64
	Seconds      float64
	Placed       int
	Phase        string
}
