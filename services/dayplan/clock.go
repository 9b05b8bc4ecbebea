package dayplan

import (
	"errors"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
)

// dayClock turns local times of one day into minutes since the site's midnight, and back. Minutes are elapsed ones: on the day on which
// clocks are set ahead, 08:00 is minute 420.
type dayClock struct {
	day     calendar.Date
	zone    *time.Location
	start   time.Time
	minutes int
}

func newClock(day calendar.Date, zone string) (dayClock, error) {
	loc, err := calendar.LoadZone(zone)
	if err != nil {
		return dayClock{}, err
	}
	start, end, err := calendar.DayBounds(day, loc)
	if err != nil {
		return dayClock{}, fmt.Errorf("find the bounds of %s: %w", day, err)
	}
	return dayClock{day: day, zone: loc, start: start, minutes: int(end.Sub(start).Minutes())}, nil
}

// at is the minute at which clocks show a time. For a time that clocks skip it is the first minute after the jump.
func (c dayClock) at(t calendar.Clock) (int, error) {
	when, err := calendar.At(c.day, t, c.zone)
	if skipped, ok := errors.AsType[*calendar.SkippedError](err); ok {
		when, err = skipped.Resumes, nil
	}
	return c.minute(when), err
}

// minute is the minute of an instant; it may lie outside the day.
func (c dayClock) minute(t time.Time) int { return int(t.Sub(c.start).Minutes()) }

// minuteUp is the first minute that is not before an instant.
func (c dayClock) minuteUp(t time.Time) int { return c.minute(t.Add(time.Minute - time.Nanosecond)) }

// instant is when a minute is.
func (c dayClock) instant(minute int) time.Time {
	return c.start.Add(time.Duration(minute) * time.Minute)
}

// span is the minutes from one time to another, on the grid and within the day: an end that is not after its start is on the next day, and
// cut. cut says so.
func (c dayClock) span(from, to calendar.Clock) (s dayblocks.Span, cut bool, err error) {
	if s.From, err = c.at(from); err != nil {
		return s, false, err
	}
	if to <= from {
		s.To, cut = c.minutes, to != 0
	} else if s.To, err = c.at(to); err != nil {
		return s, false, err
	}
	s.From, s.To = roundUp(s.From), s.To/step*step
	s.To = max(s.From, s.To)
	return s, cut, nil
}

func roundUp(minute int) int { return (minute + step - 1) / step * step }

// local shows an instant as clocks at the site do; the end of the day is 24:00.
func (c dayClock) local(t time.Time) string {
	if c.minute(t) == c.minutes {
		return "24:00"
	}
	return calendar.ClockIn(t, c.zone).String()
}
