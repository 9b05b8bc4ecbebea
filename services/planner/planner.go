// Package planner decides a month: which requests are placed at which site, from which day, in which run and with whom, and
// why the others wait. It is the one service that reads from the others (facility, roster, enrollment); they do not know it.
//
// A month plan takes this way, file by file:
//
//	server.go    DraftPlan stores a plan in state drafting and a job, in one transaction
//	job.go       a worker takes the job and does the rest, with progress
//	region.go    regions that share nothing are solved by jobs of their own, and joined
//	rescue.go    drafts and regions whose worker died get another
//	inputs.go    one snapshot of everything the plan depends on, and its fingerprint
//	rules.go     the hard rules: which site, day, run and trainer a request may have, or why not
//	policy.go    the preferences in points
//	problem.go   the choices that are left, as an allocation.Problem, with a way back from its indices
//	plan.go      the solution as a plan: placements, physical runs, wait list with reasons, use of every resource
//	store.go     one transaction that keeps it
//	pin.go       a person's word that holds a request to a site and day
//	publish.go   a second, short transaction that turns a plan into promises
//
// A month without room is a plan with a long wait list, not an error.
package planner

import (
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// SolverVersion is kept with each plan, so that a plan can be told from one that a later solver would make.
const SolverVersion = "allocation 1"

// States of a plan.
const (
	StateDrafting   = "drafting"
	StateDraft      = "draft"
	StatePublished  = "published"
	StateSuperseded = "superseded"
	StateCancelled  = "cancelled"
	StateFailed     = "failed"
)

// States of a stay. The first four are live: they hold their run.
const (
	StayPublished   = "published"
	StayConfirmed   = "confirmed"
	StayInResidence = "in residence"
	StayGoneHome    = "gone home"
	StayCancelled   = "cancelled"
	StayReplaced    = "replaced"
)

// Standings of a placement: what it is to the promises there were before.
const (
	StandingConfirmed   = "confirmed"
	StandingInResidence = "in residence"
	StandingKept        = "kept"
	StandingMoved       = "moved"
	StandingNew         = "new"
)

// Plan is a month plan without its parts. Value, Bound and Placed are those found so far while it is drafting.
type Plan struct {
	ID     ids.PlanID     `db:"id"`
	Month  calendar.Month `db:"month"`
	Number int            `db:"number"`
	State  string         `db:"state"`
	MadeAt time.Time      `db:"made_at"`
	MadeBy string         `db:"made_by"`
	// SecondsLimit and IterationsLimit bound the search; 0 iterations means no limit but time.
	SecondsLimit    int    `db:"seconds_limit"`
	IterationsLimit int    `db:"iterations_limit"`
	Seed            int64  `db:"seed"`
	JobID           *int64 `db:"job_id"`
	// Attempt counts the workers that took it up.
	Attempt int    `db:"attempt"`
	Phase   string `db:"phase"`
	Value   int64  `db:"value"`
	// Bound is absent until one is proven.
	Bound         *int64     `db:"bound"`
	Requests      int        `db:"requests"`
	Placed        int        `db:"placed"`
	Seconds       float64    `db:"seconds"`
	SolverVersion string     `db:"solver_version"`
	Fingerprint   string     `db:"fingerprint"`
	Policy        Policy     `db:"policy"`
	Cautions      []string   `db:"cautions"`
	Failure       string     `db:"failure"`
	PublishedAt   *time.Time `db:"published_at"`
	PublishedBy   string     `db:"published_by"`
	// FinishAskedAt and FinishAskedBy say when somebody asked to stop the search and keep what was found; absent when nobody did.
	FinishAskedAt *time.Time `db:"finish_asked_at"`
	FinishAskedBy string     `db:"finish_asked_by"`
}

// GapPercent is how far the bound lies above the value, in percent of the value; 100 while there is no bound.
func (p Plan) GapPercent() float64 {
	if p.Bound == nil {
		return 100
	}
	return allocation.GapPercent(p.Value, *p.Bound)
}

// Placement is one request placed by a plan.
type Placement struct {
	PlanID    ids.PlanID    `db:"plan_id"`
	RequestID ids.RequestID `db:"request_id"`
	// RequestCode is the request's code when the plan was made: plans are listed by it.
	RequestCode string        `db:"request_code"`
	SiteID      ids.SiteID    `db:"site_id"`
	RunID       ids.RunID     `db:"run_id"`
	TrainerID   ids.TrainerID `db:"trainer_id"`
	// Nights are those slept; To is the graduation day.
	Nights calendar.Span `db:"nights"`
	Value  int64         `db:"value"`
	Points []Points      `db:"points"`
	// Minutes is what the dog takes on a day its trainer works, CoverMinutes on the others.
	Minutes      int    `db:"minutes"`
	CoverMinutes int    `db:"cover_minutes"`
	Standing     string `db:"standing"`
}

// Points is what one term of the policy gave or took.
type Points struct {
	Term   string `json:"term"`
	Points int64  `json:"points"`
	Text   string `json:"text"`
}

// Wait is a request that a plan did not place.
type Wait struct {
	PlanID    ids.PlanID    `db:"plan_id"`
	RequestID ids.RequestID `db:"request_id"`
	// RequestCode is the request's code when the plan was made.
	RequestCode string `db:"request_code"`
	// Hard is true when no plan of the month could have placed it.
	Hard   bool   `db:"hard"`
	Reason string `db:"reason"`
	Remedy string `db:"remedy"`
	// Refusals say for each site and run of days why it was not open.
	Refusals Refusals `db:"refusals"`
}

// Refusals are the ways to place a request that were not open, and how many were.
type Refusals struct {
	OpenChoices int       `json:"open_choices"`
	List        []Refusal `json:"list"`
	// Changes would have admitted the request, the smallest first; Displaced is what letting it in without any would do.
	Changes   []Change   `json:"changes,omitempty"`
	Displaced *Displaced `json:"displaced,omitempty"`
}

// Refusal is one reason, at one site, for arrival days that share it.
type Refusal struct {
	Site   string `json:"site"`
	First  string `json:"first"`
	Last   string `json:"last"`
	Reason string `json:"reason"`
	Remedy string `json:"remedy"`
	Hard   bool   `json:"hard"`
	// HeldBy are the codes of requests whose stays hold the place.
	HeldBy []string `json:"held_by,omitempty"`
}

// Stay is a promise.
type Stay struct {
	ID        ids.StayID    `db:"id" json:"id"`
	RequestID ids.RequestID `db:"request_id" json:"request_id"`
	SiteID    ids.SiteID    `db:"site_id" json:"site_id"`
	RunID     ids.RunID     `db:"run_id" json:"run_id"`
	TrainerID ids.TrainerID `db:"trainer_id" json:"trainer_id"`
	Nights    calendar.Span `db:"nights" json:"nights"`
	State     string        `db:"state" json:"state"`
}

// Use is how much of a resource a plan and earlier promises use on one day.
type Use struct {
	SiteID   ids.SiteID    `db:"site_id"`
	Resource string        `db:"resource"`
	Unit     string        `db:"unit"`
	Day      calendar.Date `db:"day"`
	Used     int           `db:"used"`
	Capacity int           `db:"capacity"`
	// Price is what one more would be worth, in points.
	Price float64 `db:"price"`
}

// Names of resources in Use.
const (
	UseRuns           = "runs"
	UseTrainerMinutes = "trainer minutes"
	UseTrainerDogs    = "trainer dogs"
	UseIntake         = "intake places"
	UseHandover       = "handover places"
	UseSiteMinutes    = "site minutes"
)
