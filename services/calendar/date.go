// Package calendar holds civil dates, months, spans of nights and clock times, and the one function (At) that turns a
// local date and time into an instant.
//
// A training day is a civil date: it belongs to a site, has no zone of its own and does not always last 24 hours. Code
// adds days to dates and never hours to instants. The package is pure: it reads no clock and no environment.
package calendar

import (
	"cmp"
	"fmt"
	"slices"
	"time"
)

// Date is a civil date in the Gregorian calendar, from 0001-01-01 to 9999-12-31. Dates compare with == and work as map
// keys. The zero value means "absent": it prints as the empty string, is stored as NULL, sorts before every real date, and
// stays absent whatever is added to it.
type Date struct {
	// n counts days from 0001-01-01, which is 1, so that the zero value is no date at all.
	n int32
}

const (
	minYear = 1
	maxYear = 9999
	// maxDay is the number of 9999-12-31. A test checks it against the standard library.
	maxDay = 3652059
	// unixDay is the number of 1970-01-01, where the time package starts counting.
	unixDay       = 719163
	secondsPerDay = 24 * 60 * 60
)

// NewDate returns the date of a year (1 to 9999), a month and a day of that month. Unlike time.Date it does not roll an
// impossible date over into the next month: it says what is wrong.
func NewDate(year int, month time.Month, day int) (Date, error) {
	if year < minYear || year > maxYear {
		return Date{}, fmt.Errorf("year %d: use a year from %d to %d", year, minYear, maxYear)
	}
	if month < time.January || month > time.December {
		return Date{}, fmt.Errorf("month %d: use a month from 1 to 12", int(month))
	}
	if last := daysIn(year, month); day < 1 || day > last {
		return Date{}, fmt.Errorf("day %d: %s %d has days 1 to %d", day, month, year, last)
	}
	return fromTime(time.Date(year, month, day, 0, 0, 0, 0, time.UTC)), nil
}

// MustDate is ParseDate for tests and tables written by hand: it panics on a text that is not a date.
func MustDate(text string) Date {
	d, err := ParseDate(text)
	if err != nil {
		panic("calendar: " + err.Error())
	}
	return d
}

// ParseDate reads a date written as 2027-03-14 (ISO 8601, four, two and two digits) and nothing else: a date written
// 3/4/2027 means different days to different readers. The empty text is an error here; UnmarshalText reads it as absent.
func ParseDate(text string) (Date, error) {
	// The length is tested first so that the slices below cannot go out of range.
	if len(text) != len(time.DateOnly) || text[4] != '-' || text[7] != '-' {
		return Date{}, dateShapeError(text)
	}
	year, okYear := digits(text[:4])
	month, okMonth := digits(text[5:7])
	day, okDay := digits(text[8:])
	if !okYear || !okMonth || !okDay {
		return Date{}, dateShapeError(text)
	}
	d, err := NewDate(year, time.Month(month), day)
	if err != nil {
		return Date{}, fmt.Errorf("date %q: %w", text, err)
	}
	return d, nil
}

func dateShapeError(text string) error {
	return fmt.Errorf("date %q: write the date as year-month-day, such as 2027-03-14", text)
}

// digits reads a text made only of ASCII digits. It is kept short by its callers, so it cannot overflow.
func digits(text string) (int, bool) {
	n := 0
	for _, c := range []byte(text) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, len(text) > 0
}

// IsZero reports whether the date is absent.
func (d Date) IsZero() bool { return d == Date{} }

// Parts returns the year, the month and the day of the month; three zeros when the date is absent.
func (d Date) Parts() (year int, month time.Month, day int) {
	if d.IsZero() {
		return 0, 0, 0
	}
	return d.midnightUTC().Date()
}

// Year returns the year, 0 when the date is absent.
func (d Date) Year() int { y, _, _ := d.Parts(); return y }

// Day returns the day of the month, 0 when the date is absent.
func (d Date) Day() int { _, _, day := d.Parts(); return day }

// Month returns the month that holds the date; the absent month when the date is absent.
func (d Date) Month() Month {
	y, m, _ := d.Parts()
	return Month{n: int32(y*12 + int(m))}
}

// Weekday returns the day of the week. The absent date has none; it answers Sunday, so ask IsZero first.
func (d Date) Weekday() time.Weekday {
	// 0001-01-01, day 1, was a Monday in the Gregorian calendar carried backwards.
	return time.Weekday(d.n % 7)
}

// ISOWeek returns the ISO 8601 year and week. Days around New Year may belong to a week of the neighbouring year; some
// years (2026 is one) have 53 weeks. The absent date answers 0, 0.
func (d Date) ISOWeek() (year, week int) {
	if d.IsZero() {
		return 0, 0
	}
	return d.midnightUTC().ISOWeek()
}

// AddDays returns the date n days later, or earlier when n is negative. A result outside the years 1 to 9999 is the absent
// date, and so is anything added to the absent date.
func (d Date) AddDays(n int) Date {
	if d.IsZero() || n > maxDay || n < -maxDay {
		return Date{}
	}
	sum := int(d.n) + n
	if sum < 1 || sum > maxDay {
		return Date{}
	}
	return Date{n: int32(sum)}
}

// AddMonths returns the same day of the month n months later. Where that month is too short the answer is its last day:
// 2024-02-29 and 36 months is 2027-02-28. For a validity that must not be overstated this is the safe reading. A result
// outside the years 1 to 9999 is the absent date.
func (d Date) AddMonths(n int) Date {
	m := d.Month().Add(n)
	if m.IsZero() {
		return Date{}
	}
	return m.First().AddDays(min(d.Day(), m.Days()) - 1)
}

// Sub returns the number of days from other to d: positive when d is later. Ask it only of two dates that are present.
func (d Date) Sub(other Date) int { return int(d.n) - int(other.n) }

// Before reports whether d is an earlier day than other.
func (d Date) Before(other Date) bool { return d.n < other.n }

// After reports whether d is a later day than other.
func (d Date) After(other Date) bool { return d.n > other.n }

// Compare returns -1, 0 or +1, for slices.SortFunc. The absent date sorts first.
func (d Date) Compare(other Date) int { return cmp.Compare(d.n, other.n) }

// Format prints the date with a layout of the time package, such as "Monday 2 January 2006". The absent date prints as the
// empty string. Do not ask for hours or a zone: a date has none.
func (d Date) Format(layout string) string {
	if d.IsZero() {
		return ""
	}
	return d.midnightUTC().Format(layout)
}

// String prints the date as 2027-03-14, the empty string when it is absent.
func (d Date) String() string { return d.Format(time.DateOnly) }

// midnightUTC lends the calendar arithmetic of the time package. It stays private: as an instant it would be wrong.
func (d Date) midnightUTC() time.Time {
	return time.Unix((int64(d.n)-unixDay)*secondsPerDay, 0).UTC()
}

// fromTime keeps the year, month and day that t shows in its own location; absent outside the years 1 to 9999.
func fromTime(t time.Time) Date {
	y, m, day := t.Date()
	if y < minYear || y > maxYear {
		return Date{}
	}
	seconds := time.Date(y, m, day, 0, 0, 0, 0, time.UTC).Unix()
	// Midnights in UTC divide exactly, also before 1970, so no rounding is involved.
	return Date{n: int32(seconds/secondsPerDay + unixDay)}
}

// daysIn returns the number of days of a month.
func daysIn(year int, month time.Month) int {
	// Day 0 of the following month is the last day of this one.
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// ISOWeekday returns the day of the week as ISO 8601 counts it, 1 for Monday to 7 for Sunday.
func (d Date) ISOWeekday() int {
	if d.Weekday() == time.Sunday {
		return 7
	}
	return int(d.Weekday())
}

// Weekdays returns the names of the days of the week in small letters, in the order of ISO 8601.
func Weekdays() []string {
	return []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}
}

// WeekdayNumber returns the ISO number, 1 to 7, of a name that Weekdays has, and 0 for any other text.
func WeekdayNumber(name string) int { return slices.Index(Weekdays(), name) + 1 }
