package jobs

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
)

// Local is a Schedule by what the clocks of a zone show: a cron line of five fields, read as local times. Where clocks do not change it is
// the line with CRON_TZ in front. Where they do it has the turns that people mean: a time that clocks skip comes when they jump, once however
// many turns were skipped, and a time that they repeat comes at its first occurrence only. Make it with ParseLocal.
type Local struct {
	line cron.Schedule
	zone *time.Location
}

var _ cron.Schedule = Local{}

const localRemedy = `write minute, hour, day of month, month and day of week, such as "30 9 * * *" for half past nine every day or "0 17 * * MON-FRI"`

// ParseLocal reads a cron line for a zone. The error is Invalid and about the field; no text makes this function panic.
func ParseLocal(field, text string, zone *time.Location) (l Local, err error) {
	invalid := func(rule string) error {
		return apperr.InvalidField(field, fmt.Sprintf("%q %s", text, rule), localRemedy)
	}
	// The parser panics on some malformed lines.
	defer func() {
		if p := recover(); p != nil {
			l, err = Local{}, invalid("is no cron line")
		}
	}()
	fields := strings.Fields(text)
	switch {
	case len(fields) > 0 && strings.Contains(fields[0], "TZ="):
		return Local{}, invalid("names a zone: times are those of the site's clocks")
	case len(fields) != 5:
		return Local{}, invalid(fmt.Sprintf("has %d fields and a cron line has five", len(fields)))
	}
	parsed, err := cron.ParseStandard("CRON_TZ=UTC " + strings.Join(fields, " "))
	if err != nil {
		return Local{}, invalid("is no cron line: " + err.Error())
	}
	if parsed.Next(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return Local{}, invalid("names a day that no calendar has")
	}
	return Local{parsed, zone}, nil
}

// mostSkipped is more than clocks of any zone have ever been set ahead at once.
const mostSkipped = 26 * time.Hour

// Next returns the first turn after t; the zero time where there is none.
func (l Local) Next(t time.Time) time.Time {
	_, offset := t.In(l.zone).Zone()
	// Wall clock readings are written as if they were UTC, in which no reading is skipped or comes twice. Turns come in the order of their
	// readings, so the first one after t is the answer.
	reading := t.UTC().Truncate(time.Minute).Add(time.Duration(offset)*time.Second - mostSkipped)
	for {
		if reading = l.line.Next(reading); reading.IsZero() {
			return time.Time{}
		}
		at, err := l.at(reading)
		if err != nil {
			return time.Time{}
		}
		if at.After(t) {
			return at
		}
	}
}

func (l Local) at(reading time.Time) (time.Time, error) {
	at, err := calendar.At(calendar.DateIn(reading, time.UTC), calendar.ClockIn(reading, time.UTC), l.zone)
	if skipped, ok := errors.AsType[*calendar.SkippedError](err); ok {
		return skipped.Resumes, nil
	}
	return at, err
}

// Latest returns the last turn after one instant and not after another; false where there is none.
func (l Local) Latest(after, until time.Time) (last time.Time, ok bool) {
	for at := l.Next(after); !at.IsZero() && !at.After(until); at = l.Next(at) {
		last, ok = at, true
	}
	return last, ok
}
