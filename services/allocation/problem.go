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
	// StopCancelled: Options.Cancel was closed.
	StopCancelled StopReason = "cancelled"
)

// Solution is a plan and what is proven about it. Value is counted from the placements by Check; Bound is an integer that
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
func (s Solution) Gap() float64 { return gapPercent(s.Value, s.Bound) }

func gapPercent(value, bound int64) float64 {
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

// SitePrices holds a site's prices: Runs by class and night, the others by day. Minutes is nil where the site has no limit.
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
