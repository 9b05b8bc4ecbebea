// Package readiness reckons how likely each dog is to meet the targets of its program by graduation day. It reads promises from
// package planner, logs from training, dogs and programs from enrollment; the mathematics is package workload, which knows only
// numbers. It flags and proposes, and decides nothing: trainer and manager choose.
//
// One reckoning takes this way, file by file:
//
//	server.go    reads what is asked for
//	inputs.go    one snapshot of the dogs, their programs, logs and trainers' days
//	logs.go      the sessions of the stay, counted skill by skill
//	days.go      the sessions that are still to come, by program and roster
//	assess.go    all of it as a workload.Course, and what comes of it in words
//	convert.go   on the way out
//	pace.go      the pace that is typical of a program: measured when somebody asks, in use when somebody sets it
//
// The chance counts every trial alike. Whether a skill was shown at the distance and distraction that a target asks for is counted
// apart: where it was not shown often enough a dog is never said to be on course.
package readiness

import (
	"cmp"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/services/workload"
)

// NoTargets is the flag of a dog whose program asks for no skill.
const NoTargets workload.Flag = "no targets"

// Settings. All are our own, no source.
const (
	// heldPercent is the share of planned sessions that must be in the logs for no warning, once leastPlanned were planned.
	heldPercent, leastPlanned = 80, 4
	// leastObserved is the number of scored sessions from which the pace says something about handling minutes, and leastChange the
	// minutes below which nothing is said.
	leastObserved, leastChange = 8, 3
)

// Report is what is known of a dog.
type Report struct {
	Guest guest
	// DaysLeft are whole training days until graduation, SessionsLeft all sessions until then.
	DaysLeft, SessionsLeft int
	// Sessions are those of the stay that count.
	Sessions int
	Flag     workload.Flag
	// Outlook is the zero value where Flag is NoTargets.
	Outlook workload.Outlook
	// Skills are those that the program asks for, by rung, then the others that were logged.
	Skills []Skill
	// Reasons, Warnings and Proposals are those of Outlook and our own.
	Reasons, Warnings []string
	Proposals         []Proposal
	// Minutes is nil where the pace suggests nothing.
	Minutes *Minutes
	// PaceSet says that a typical pace was set for the program; the built-in default stands for it otherwise.
	PaceSet bool
}

// Skill is one skill of a dog.
type Skill struct {
	Skill training.Skill
	// Target is nil where the program does not ask for the skill, and so is Outlook.
	Target  *training.Target
	Outlook *workload.SkillOutlook
	Tally
}

// Proposal is a proposal with the day that it leads to.
type Proposal struct {
	workload.Proposal
	// Graduation is the first possible graduation day of a longer stay; absent for other proposals, and where the roster that was read
	// does not reach so far.
	Graduation calendar.Date
}

// Minutes is what the observed pace suggests about handling minutes a day.
type Minutes struct {
	Now, Suggested int
	Factor         float64
	// Sessions is how many scored sessions it rests on.
	Sessions int
	// Care is the care class of the override that stands, which the next one should repeat; empty for none.
	Care workload.Care
	Text string
}

// flagOrder is the order in which people should look.
var flagOrder = []workload.Flag{workload.AtRisk, workload.TooFewData, NoTargets, workload.OnCourse}

// sortByRisk puts the dogs at risk first, those with the lowest chance before others.
func sortByRisk(reports []Report) {
	slices.SortFunc(reports, func(a, b Report) int {
		return cmp.Or(slices.Index(flagOrder, a.Flag)-slices.Index(flagOrder, b.Flag), cmp.Compare(a.Outlook.All.Mean, b.Outlook.All.Mean),
			cmp.Compare(a.Guest.Case.Dog.Code, b.Guest.Case.Dog.Code))
	})
}

// guest is a dog that is there, with what a reckoning needs.
type guest struct {
	Stay planner.Stay
	Case enrollment.Case
	// Site and Zone are of the site, Trainer is the code of the dog's own trainer.
	Site, Zone, Trainer string
	// Isolated are the days on which the dog is isolated and has no sessions.
	Isolated []calendar.Span
	// Targets are what the program asks, by rung.
	Targets []training.Target
	// Sessions are those of this stay that count, by day and time, up to the day that is asked for.
	Sessions []training.Session
}
