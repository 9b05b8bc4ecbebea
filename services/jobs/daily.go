package jobs

import (
	"errors"
	"time"

	"github.com/robfig/cron/v3"

	"github.com/longlead/longlead/services/calendar"
)

// Daily is a Schedule that is due at a local time, once on every date of a zone. On days on which clocks do not change it is the cron line
// "CRON_TZ=zone minute hour * * *". It differs from that line where clocks do: a time that they skip is due when they jump, and a time that
// they repeat is due at its first occurrence only.
type Daily struct {
	At   calendar.Clock
	Zone *time.Location
}

var _ cron.Schedule = Daily{}

// On returns the instant at which a date's turn comes.
func (d Daily) On(day calendar.Date) (time.Time, error) {
	when, err := calendar.At(day, d.At, d.Zone)
	if skipped, ok := errors.AsType[*calendar.SkippedError](err); ok {
		return skipped.Resumes, nil
	}
	return when, err
}

// Next returns the first time after t; the zero time at the end of all dates that can be written.
func (d Daily) Next(t time.Time) time.Time {
	// A time that was skipped comes later than the clock says, by days where a zone left days out: begin early.
	for day := calendar.DateIn(t, d.Zone).AddDays(-2); ; day = day.AddDays(1) {
		when, err := d.On(day)
		if err != nil {
			return time.Time{}
		}
		if when.After(t) {
			return when
		}
	}
}
