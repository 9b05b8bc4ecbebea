// Package graduation brings the end of a stay together: it finds a time for the handover of each graduating dog, keeps appointments with the
// stays that they end, says which letters to owners are due, and puts them. Promises are package planner's, appointments handover's, letters
// mail's and the search for times package slots'; what this one knows is how they belong together.
//
//	inputs.go    one snapshot of all that the handovers of some days depend on
//	problem.go   a day of it as a slots.Problem, with the way back
//	arrange.go   finds times and places them, each in a transaction of its own; follow.go moves and cancels what its stay left behind
//	letters.go   an appointment, or an arrival, as a letter; changed.go what is put when an appointment changes
//	due.go       which reminders are due, and when they go
//	job.go       the looks that do all this every minute
//	store.go     when owners can come, when reminders go, whom no time was found for
//	fits.go      whether a time that an owner chooses still suits the site
//	server.go    the calls; ports.go owners' times as a list
//
// Every look computes from tables what is to be done, so a look that was missed, or died, leaves all of it to the next one. A letter is put in
// the transaction that is the reason for it, and mail knows each by what it is about: whatever is repeated, it is put once.
package graduation

import (
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

// OwnerTime is when an owner can be at the site.
type OwnerTime struct {
	RequestID ids.RequestID `db:"request_id" json:"request_id"`
	// Weekday is 1 (Monday) to 7, or 0 for any day.
	Weekday int `db:"weekday" json:"weekday"`
	// Starts and Ends are local times of the site, on one day.
	Starts calendar.Clock `db:"starts" json:"starts"`
	Ends   calendar.Clock `db:"ends" json:"ends"`
	// Liked says that the time suits best.
	Liked bool `db:"liked" json:"liked"`
}

// Unplaced is a graduating dog for whose handover no time was found.
type Unplaced struct {
	RequestID ids.RequestID `db:"request_id"`
	SiteID    ids.SiteID    `db:"site_id"`
	Day       calendar.Date `db:"day"`
	Reason    string        `db:"reason"`
	Remedy    string        `db:"remedy"`
	FoundAt   time.Time     `db:"found_at"`
}

// Outcome says what became of a graduating dog's handover.
type Outcome string

// The outcomes.
const (
	Placed  Outcome = "placed"
	Moved   Outcome = "moved"
	Kept    Outcome = "kept"
	Missing Outcome = "missing"
)
