package dayplan

import (
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
)

// Every evening the schedule plans each site's next day:
//
//	evening.go          when a day is due, and what is to be done about it
//	evening_job.go      the jobs: look what is due, plan it, look what has changed
//	store_evening.go    one row for each site and day
//	server_evening.go   the times, and what came of each day
//
// A day is due once, when clocks at the site show the time on the day before. Its row is inserted in the same transaction as its job; the
// job plans outside of any transaction and keeps the plan, and the row's end, in one. So whatever is repeated or killed on the way, a day has
// one plan. The schedule never replaces a plan that somebody made, nor one whose day has begun: it says that it should be looked at.

// Outcomes of a day that the schedule plans.
const (
	// OutcomeWaiting is a day whose job has not come to an end.
	OutcomeWaiting = "waiting"
	// OutcomePlanned is a day with a plan of the schedule's, made from what is recorded now.
	OutcomePlanned = "planned"
	// OutcomeKept is a day with somebody's plan, made from what is recorded now.
	OutcomeKept = "kept"
	// OutcomeAsk is a day with a plan that stands although the records have changed, until somebody decides.
	OutcomeAsk = "ask"
	// OutcomeLate is a day that had begun before it could be planned.
	OutcomeLate = "late"
	// OutcomeFailed is a day that cannot be planned as it is recorded.
	OutcomeFailed = "failed"
)

// usualEvening is when days are planned at a site that has set no time: common practice, no source.
const usualEvening = calendar.Clock(18*60 + 30)

// Schedule says when the next day of a site is planned.
type Schedule struct {
	SiteID ids.SiteID `db:"site_id"`
	// At is a local time; nil where no day is planned by itself.
	At        *calendar.Clock `db:"at"`
	ChangedAt time.Time       `db:"changed_at"`
	ChangedBy string          `db:"changed_by"`
}

// Evening is a day that the schedule plans, and what came of it.
type Evening struct {
	SiteID   ids.SiteID    `db:"site_id"`
	Day      calendar.Date `db:"day"`
	DueAt    time.Time     `db:"due_at"`
	Outcome  string        `db:"outcome"`
	Note     string        `db:"note"`
	QueuedAt time.Time     `db:"queued_at"`
	// Attempts is how many workers have taken the day up since its inputs changed.
	Attempts int `db:"attempts"`
	// DoneAt is absent while the day waits.
	DoneAt *time.Time `db:"done_at"`
	// PlanID is the latest plan that the schedule kept; absent where it kept none.
	PlanID ids.DayPlanID `db:"plan_id"`
	// Fingerprint is that of the inputs when the day last came to an end.
	Fingerprint string `db:"fingerprint"`
}

// due is a day whose turn has come.
type due struct {
	site ids.SiteID
	day  calendar.Date
	at   time.Time
}

// dueAt lists what is due of a site at an instant: tomorrow from the evening on, and today where its evening was missed. Days before today are
// over. A day that a zone leaves out is none.
func dueAt(site ids.SiteID, daily jobs.Daily, now time.Time) (found []due, err error) {
	today := calendar.DateIn(now, daily.Zone)
	for _, day := range []calendar.Date{today, today.AddDays(1)} {
		at, err := daily.On(day.AddDays(-1))
		if err != nil {
			return nil, err
		}
		start, end, err := calendar.DayBounds(day, daily.Zone)
		if err != nil {
			return nil, err
		}
		if !now.Before(at) && start.Before(end) {
			found = append(found, due{site: site, day: day, at: at})
		}
	}
	return found, nil
}

// dailyOf is when a site's days are due; ok is false where none is. No set time is the usual one.
func dailyOf(site facility.Site, set *Schedule) (daily jobs.Daily, ok bool, err error) {
	daily.At = usualEvening
	if set != nil {
		if set.At == nil {
			return daily, false, nil
		}
		daily.At = *set.At
	}
	daily.Zone, err = calendar.LoadZone(site.Zone)
	return daily, err == nil, err
}

// verdict is what is to be done about a day: plan it, or end it with an outcome.
type verdict struct {
	plan    bool
	outcome string
	note    string
}

// mostAttempts is how many workers may take a day up before it is given up, until its inputs change.
const mostAttempts = 4

// judge compares a day's row and its live plan (nil for none) with the fingerprint of the inputs now.
func judge(row Evening, live *Plan, print string, now time.Time) verdict {
	if live != nil {
		return judgePlan(row, live, print, now)
	}
	if row.Outcome == OutcomeLate || row.Outcome == OutcomeFailed && print == row.Fingerprint {
		return verdict{outcome: row.Outcome, note: row.Note}
	}
	return verdict{plan: true}
}

func judgePlan(row Evening, live *Plan, print string, now time.Time) verdict {
	own := live.ID == row.PlanID
	first, any := live.begins()
	switch {
	case live.Fingerprint == print && own:
		return verdict{outcome: OutcomePlanned}
	case live.Fingerprint == print:
		return verdict{outcome: OutcomeKept, note: fmt.Sprintf("plan %d, which somebody made, stands", live.Number)}
	case any && !now.Before(first):
		return ask(live, "it has begun, and people work by it: plan the rest of the day with `longlead day absent`, or replace it all with `longlead day plan --anew`")
	case !own:
		return ask(live, "somebody made it, and may have had reasons that no record holds: look at it, and plan the day with `longlead day plan` if it is to change")
	case print == row.Fingerprint && (row.Outcome == OutcomeFailed || row.Outcome == OutcomeAsk):
		return verdict{outcome: row.Outcome, note: row.Note} // this change was tried already
	}
	return verdict{plan: true}
}

func ask(live *Plan, why string) verdict {
	return verdict{outcome: OutcomeAsk, note: fmt.Sprintf("the records have changed since plan %d was made, which stands because %s", live.Number, why)}
}

// tooLate is the verdict on a plan that begins before it could be kept.
func tooLate(live *Plan) verdict {
	if live != nil {
		return ask(live, "a new one would begin in the past: plan the rest of the day with `longlead day absent`, or replace it all with `longlead day plan --anew`")
	}
	return verdict{outcome: OutcomeLate, note: "the day had begun before it could be planned: `longlead day plan` plans it all the same"}
}

// failing turns an error of planning into a verdict, where it is about the day as it is recorded.
func failing(err error) (verdict, bool) {
	known, ok := apperr.From(err)
	if !ok || known.Kind != apperr.Precondition && known.Kind != apperr.Invalid {
		return verdict{}, false
	}
	return verdict{outcome: OutcomeFailed, note: known.Because(nil).Error()}, true
}

// givenUp is the verdict on a day that every worker has failed at.
func givenUp(attempts int) verdict {
	return verdict{outcome: OutcomeFailed, note: fmt.Sprintf("%d attempts did not come to an end, for a reason of the program's own that is in its log: plan the day with `longlead day plan`", attempts)}
}
