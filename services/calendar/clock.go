package calendar

import "fmt"

// Clock is a time of day as a wall clock shows it, in minutes since midnight, 0 (00:00) to 1439 (23:59). It has no date and
// no zone. The zero value is midnight; use a pointer where a time may be absent.
type Clock int16

const (
	minutesPerHour = 60
	minutesPerDay  = 24 * minutesPerHour
)

// NewClock returns the time of an hour (0 to 23) and a minute (0 to 59).
func NewClock(hour, minute int) (Clock, error) {
	if hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return 0, fmt.Errorf("time %02d:%02d: use 00:00 to 23:59", hour, minute)
	}
	return Clock(hour*minutesPerHour + minute), nil
}

// ParseClock reads a time written as 09:30, two digits each, from 00:00 to 23:59. There is no 24:00: write 00:00 of the next
// day.
func ParseClock(text string) (Clock, error) {
	if len(text) == len("09:30") && text[2] == ':' {
		hour, okHour := digits(text[:2])
		minute, okMinute := digits(text[3:])
		if okHour && okMinute {
			c, err := NewClock(hour, minute)
			if err != nil {
				return 0, fmt.Errorf("read %q: %w", text, err)
			}
			return c, nil
		}
	}
	return 0, fmt.Errorf("time %q: write the time on a 24-hour clock, such as 09:30", text)
}

// MustClock is ParseClock for tests and tables written by hand: it panics on a text that is not a time.
func MustClock(text string) Clock {
	c, err := ParseClock(text)
	if err != nil {
		panic("calendar: " + err.Error())
	}
	return c
}

// IsValid reports whether the value lies on the clock face, 00:00 to 23:59.
func (c Clock) IsValid() bool { return c >= 0 && c < minutesPerDay }

// Hour returns the hour, 0 to 23.
func (c Clock) Hour() int { return int(c) / minutesPerHour }

// Minute returns the minute of the hour, 0 to 59.
func (c Clock) Minute() int { return int(c) % minutesPerHour }

// String prints the time as 09:30.
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", c.Hour(), c.Minute()) }
