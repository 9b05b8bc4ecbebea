package mail

import (
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/jobs"
)

// Letterhead is who letters come from, and when none is sent. Its zero value is not used: until one is set, that is ImpliedLetterhead.
type Letterhead struct {
	SetAt   time.Time `db:"set_at"`
	SetBy   string    `db:"set_by"`
	Name    string    `db:"name"`
	Address string    `db:"address"`
	Phone   string    `db:"phone"`
	// QuietFrom and QuietUntil are the hours of the owner's clock in which nothing is sent; they may go over midnight. Equal times: none.
	QuietFrom  calendar.Clock `db:"quiet_from"`
	QuietUntil calendar.Clock `db:"quiet_until"`
}

// ImpliedLetterhead stands in until the school has set its own. Its domain cannot exist (RFC 6761 section 6.4), so a letter from it goes to a
// folder and is refused to a server.
func ImpliedLetterhead() Letterhead {
	return Letterhead{Name: "The school", Address: "office@school.invalid", QuietFrom: 21 * 60, QuietUntil: 8 * 60}
}

// check refuses what letters could not come from.
func (h Letterhead) check() error {
	if oneLine(h.Name) != h.Name || h.Name == "" || len([]rune(h.Name)) > 100 {
		return apperr.InvalidField("name", "must be one line of 1 to 100 characters", "write the school's name as owners know it")
	}
	if fault := plainAddress(h.Address); fault != "" {
		return apperr.InvalidField("address", fault, "write the address that owners may answer to, such as office@school.example")
	}
	if oneLine(h.Phone) != h.Phone || len(h.Phone) > 40 {
		return apperr.InvalidField("phone", "must be one line of at most 40 characters", "write the number that owners may call")
	}
	if !h.QuietFrom.IsValid() || !h.QuietUntil.IsValid() {
		return apperr.InvalidField("quiet", "is no time of a day", "write it like 21:00-08:00")
	}
	return nil
}

// wakes returns the end of the quiet hours that an instant lies in, by a zone's clock; ok is false when it lies in none.
func (h Letterhead) wakes(now time.Time, zone *time.Location) (until time.Time, ok bool) {
	if h.QuietFrom == h.QuietUntil {
		return time.Time{}, false
	}
	at := calendar.ClockIn(now, zone)
	quiet := at >= h.QuietFrom && at < h.QuietUntil
	if h.QuietFrom > h.QuietUntil { // over midnight
		quiet = at >= h.QuietFrom || at < h.QuietUntil
	}
	if !quiet {
		return time.Time{}, false
	}
	until = jobs.Daily{At: h.QuietUntil, Zone: zone}.Next(now)
	return until, !until.IsZero()
}
