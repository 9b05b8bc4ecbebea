package jobs

import (
	"fmt"
	"strings"
	"time"

	"github.com/riverqueue/river"
	"github.com/robfig/cron/v3"

	"github.com/longlead/longlead/services/apperr"
)

// Periodic is a job that is inserted again and again.
//
// The schedule runs on one client at a time. When that client is lost another takes over within about half a minute,
// and does not catch up what was due meanwhile. So a job that must not be missed is inserted every minute and looks in
// the tables for what is due.
type Periodic struct {
	// ID names the schedule; each needs its own. "" means the kind of Args.
	ID string
	// Schedule is read by ParseSchedule.
	Schedule string
	// Args are the arguments of every job.
	Args Args
	// Opts adjust every job. OneAtATime keeps slow jobs from piling up.
	Opts InsertOpts
	// RunOnStart inserts one job as well whenever a client takes the schedule over.
	RunOnStart bool
}

func (p Periodic) river() (*river.PeriodicJob, error) {
	if p.Args == nil {
		return nil, fmt.Errorf("periodic job %q has no arguments", p.ID)
	}
	if p.ID == "" {
		p.ID = p.Args.Kind()
	}
	schedule, err := ParseSchedule(p.Schedule)
	if err != nil {
		return nil, fmt.Errorf("periodic job %q: %w", p.ID, err)
	}
	create := func() (river.JobArgs, *river.InsertOpts) { return p.Args, p.Opts.river() }
	return river.NewPeriodicJob(schedule, create, &river.PeriodicJobOpts{ID: p.ID, RunOnStart: p.RunOnStart}), nil
}

// Schedule tells when something is due next.
type Schedule interface {
	// Next returns the first time after t.
	Next(t time.Time) time.Time
}

// ParseSchedule reads a cron line of five fields (minute, hour, day of month, month, day of week), "@daily" and the
// like, or "@every 90s". Times are UTC unless the line starts with a zone: "CRON_TZ=Europe/Berlin 0 3 * * *". A local
// time that a clock change skips or repeats is missed or comes twice: schedule nothing between 01:00 and 03:00 there.
// The error is Invalid; no text makes this function panic.
func ParseSchedule(text string) (s Schedule, err error) {
	invalid := func(rule string) error {
		return apperr.InvalidField("schedule", fmt.Sprintf("%q %s", text, rule),
			`write it like "30 4 * * *" or "CRON_TZ=America/New_York 0 5 * * MON"`)
	}
	// The parser panics on some malformed lines, such as a zone without fields.
	defer func() {
		if p := recover(); p != nil {
			s, err = nil, invalid("is no schedule")
		}
	}()
	line := strings.TrimSpace(text)
	if !strings.HasPrefix(line, "TZ=") && !strings.HasPrefix(line, "CRON_TZ=") && line != "" {
		line = "CRON_TZ=UTC " + line
	}
	parsed, err := cron.ParseStandard(line)
	if err != nil {
		return nil, invalid("is no schedule: " + err.Error())
	}
	// The parser takes every shorter time, also a negative one, for a second.
	if _, every, ok := strings.Cut(line, " @every "); ok {
		if d, err := time.ParseDuration(strings.TrimSpace(every)); err != nil || d < time.Second {
			return nil, invalid("repeats in less than a second")
		}
	}
	if parsed.Next(time.Now()).IsZero() {
		return nil, invalid("names a day that no calendar has")
	}
	return parsed, nil
}
