package calendar

import (
	"errors"
	"fmt"
	"time"
)

// SkippedError is returned by At for a local time that never happens because clocks jump over it, as 02:30 does on the
// night when summer time begins.
type SkippedError struct {
	Date  Date
	Clock Clock
	// Zone is the IANA name of the zone.
	Zone string
	// Resumes is the instant (UTC) at which the clocks jump: the first moment after the missing hour.
	Resumes time.Time
	// ResumesAt is what the local clock shows at that moment, such as 03:00. After a missing day it is on a later date.
	ResumesAt Clock
}

// Error names the time, the zone and the first time that exists again.
func (e *SkippedError) Error() string {
	return fmt.Sprintf("%s %s does not exist in %s: clocks jump ahead there; choose %s or later, or a time before the jump",
		e.Date, e.Clock, e.Zone, e.ResumesAt)
}

// LoadZone returns the IANA zone of a name such as America/New_York. It refuses the empty name and "Local": both would make
// a plan depend on the machine that computes it.
func LoadZone(name string) (*time.Location, error) {
	if name == "" || name == "Local" {
		return nil, fmt.Errorf("time zone %q: name the zone of the site, such as America/New_York or Europe/London", name)
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("time zone %q: not a known IANA zone, such as America/New_York: %w", name, err)
	}
	return loc, nil
}

// At returns the instant, in UTC, at which the clocks of a zone show c on day d. It is the only maker of instants from local
// times.
//
// A time that the clocks skip is refused with a *SkippedError. A time that happens twice, because clocks are set back, means
// its first occurrence: whoever is asked to come at 01:30 on that night comes the first time the clock says so.
func At(d Date, c Clock, loc *time.Location) (time.Time, error) {
	if err := checkLocal(d, c, loc); err != nil {
		return time.Time{}, err
	}
	want := wall(d, c)
	var first time.Time
	for _, offset := range offsetsNear(want, loc) {
		t := want.Add(-offset)
		if showsAt(t, loc).Equal(want) && (first.IsZero() || t.Before(first)) {
			first = t
		}
	}
	if !first.IsZero() {
		return first, nil
	}
	resumes := jumpOver(want, loc)
	local := resumes.In(loc)
	return time.Time{}, &SkippedError{
		Date: d, Clock: c, Zone: loc.String(),
		Resumes: resumes, ResumesAt: Clock(local.Hour()*minutesPerHour + local.Minute()),
	}
}

// DayBounds returns the instants (UTC) at which day d begins and ends in a zone: end is where the next day begins. Their
// distance is 23, 24 or 25 hours in most zones. Where clocks skip midnight the day begins after the jump, and a day that a
// zone left out altogether begins and ends at the same instant.
func DayBounds(d Date, loc *time.Location) (start, end time.Time, err error) {
	if start, err = dayStart(d, loc); err != nil {
		return time.Time{}, time.Time{}, err
	}
	if end, err = dayStart(d.AddDays(1), loc); err != nil {
		return time.Time{}, time.Time{}, err
	}
	return start, end, nil
}

func dayStart(d Date, loc *time.Location) (time.Time, error) {
	t, err := At(d, 0, loc)
	if skipped, ok := errors.AsType[*SkippedError](err); ok {
		return skipped.Resumes, nil
	}
	return t, err
}

// DateIn returns the civil date that the calendar on the wall shows in a zone at an instant: "today" of a site is
// DateIn(now, zone of the site). A nil zone or an instant outside the years 1 to 9999 answers the absent date.
func DateIn(t time.Time, loc *time.Location) Date {
	if loc == nil {
		return Date{}
	}
	return fromTime(t.In(loc))
}

// ClockIn returns the time of day that clocks show in a zone at an instant, whole minutes, seconds dropped. loc must not be
// nil.
func ClockIn(t time.Time, loc *time.Location) Clock {
	local := t.In(loc)
	return Clock(local.Hour()*minutesPerHour + local.Minute())
}

func checkLocal(d Date, c Clock, loc *time.Location) error {
	switch {
	case loc == nil:
		return fmt.Errorf("time %s on %s: the time zone is missing", c, d)
	case d.IsZero():
		return fmt.Errorf("time %s: the date is missing", c)
	case !c.IsValid():
		return fmt.Errorf("time of %d minutes on %s: use 00:00 to 23:59", int(c), d)
	}
	return nil
}

// wall writes a local date and time as if it were UTC, so that wall clock readings can be compared and subtracted.
func wall(d Date, c Clock) time.Time {
	return d.midnightUTC().Add(time.Duration(c) * time.Minute)
}

// showsAt returns the reading of the wall clock at t, written like wall.
func showsAt(t time.Time, loc *time.Location) time.Time {
	_, seconds := t.In(loc).Zone()
	return t.Add(time.Duration(seconds) * time.Second)
}

// offsetsNear lists the offsets from UTC that a zone uses around a wall clock reading. No zone has ever been more than 26
// hours away from UTC, so every instant that could show the reading lies within that distance, and so does every change of
// offset that matters. time.Date is not used for this: it does not promise which of two possible offsets it picks.
func offsetsNear(wallTime time.Time, loc *time.Location) []time.Duration {
	var offsets []time.Duration
	last := wallTime.Add(maxOffset)
	for t := wallTime.Add(-maxOffset); ; {
		_, seconds := t.In(loc).Zone()
		offsets = append(offsets, time.Duration(seconds)*time.Second)
		_, next := t.In(loc).ZoneBounds()
		if next.IsZero() || next.After(last) {
			return offsets
		}
		t = next
	}
}

// jumpOver returns the instant at which clocks jump over a wall clock reading that never happens: the first change of
// offset after which the clock shows more than the reading.
func jumpOver(wallTime time.Time, loc *time.Location) time.Time {
	t := wallTime.Add(-maxOffset)
	for {
		_, next := t.In(loc).ZoneBounds()
		if next.IsZero() || showsAt(next, loc).After(wallTime) {
			return next.UTC()
		}
		t = next
	}
}

const maxOffset = 26 * time.Hour
