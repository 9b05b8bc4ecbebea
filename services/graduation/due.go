package graduation

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
)

// Letters that go by a line of their site.
const (
	LetterEnrolment  = "enrolment"
	LetterArrival    = "arrival"
	LetterWeekBefore = "week-before"
	LetterDayBefore  = "day-before"
)

// Letters lists them in the order in which an owner gets them.
func Letters() []string {
	return []string{LetterEnrolment, LetterArrival, LetterWeekBefore, LetterDayBefore}
}

// Reminder says when letters of a kind go at a site.
type Reminder struct {
	SiteID ids.SiteID `db:"site_id"`
	Letter string     `db:"letter"`
	// Line is a cron line of five fields by the site's clocks; empty for never.
	Line string `db:"line"`
	// Days is how many days ahead letters go; 0 for those that go at once.
	Days      int       `db:"days"`
	ChangedAt time.Time `db:"changed_at"`
	ChangedBy string    `db:"changed_by"`
}

// usual is what counts where a site has set nothing: common practice, no source.
func usual(site ids.SiteID, letter string) Reminder {
	r := Reminder{SiteID: site, Letter: letter, Line: "0 10 * * *"}
	switch letter {
	case LetterEnrolment:
		r.Line = "*/10 * * * *"
	case LetterArrival, LetterWeekBefore:
		r.Days = 7
	case LetterDayBefore:
		r.Days = 1
	}
	return r
}

// check refuses what cannot be.
func (r Reminder) check(zone *time.Location) error {
	if !slices.Contains(Letters(), r.Letter) {
		return apperr.InvalidField("letter", fmt.Sprintf("%q is none that goes by a line", r.Letter), "write one of "+strings.Join(Letters(), ", "))
	}
	if r.Letter != LetterEnrolment && r.Days == 0 {
		return apperr.InvalidField("days", "must be 1 or more for letters that go ahead of a day", "write how many days ahead they go")
	}
	if r.Letter == LetterEnrolment && r.Days != 0 {
		return apperr.InvalidField("days", "makes no sense for letters that go at once", "leave it out")
	}
	if r.Line == "" {
		return nil
	}
	_, err := jobs.ParseLocal("line", r.Line, zone)
	return err
}

// firstLook is how far back a site's first look sees: a daily line has had one turn by then.
const firstLook = 25 * time.Hour

// turnDue returns the turn of a reminder that is to be seen to at an instant; false where none is. Of turns that were missed the latest stands
// for all: what was due at the earlier ones is due at it as well, unless it is past.
func (r Reminder) turnDue(last, now time.Time, zone *time.Location) (time.Time, bool, error) {
	if r.Line == "" {
		return time.Time{}, false, nil
	}
	line, err := jobs.ParseLocal("line", r.Line, zone)
	if err != nil {
		return time.Time{}, false, err
	}
	if earliest := now.Add(-firstLook); last.IsZero() {
		last = earliest
	}
	at, ok := line.Latest(last, now)
	return at, ok, nil
}

// next is when letters go next; the zero time for never.
func (r Reminder) next(now time.Time, zone *time.Location) (time.Time, error) {
	if r.Line == "" {
		return time.Time{}, nil
	}
	line, err := jobs.ParseLocal("line", r.Line, zone)
	if err != nil {
		return time.Time{}, err
	}
	return line.Next(now), nil
}

// quietAfter is how long after a letter about an appointment no reminder a week ahead goes: its owner has just read of it.
const quietAfter = 24 * time.Hour

// remindOf reports whether the owner of an appointment is due to be reminded at a turn, looked at an instant. Days are the site's.
func (r Reminder) remindOf(a handover.Appointment, dayBefore int, turn, now time.Time, zone *time.Location) bool {
	on, from := calendar.DateIn(a.Begins, zone), calendar.DateIn(turn, zone)
	ahead := on.Sub(from)
	if !a.State.Live() || a.Purpose != handover.PurposeHandover || !a.Begins.After(now) || ahead < 1 || ahead > r.Days {
		return false
	}
	if r.Letter == LetterDayBefore {
		return true
	}
	return ahead > dayBefore && !a.ChangedAt.After(turn.Add(-quietAfter))
}
