package calendar

import (
	"cmp"
	"fmt"
	"time"
)

// Month is one month of one year, such as March 2027. Months compare with ==. The zero value means "absent"; it prints as
// the empty string.
type Month struct {
	// n is year*12 + month, with months from 1 to 12, so that the zero value is no month.
	n int32
}

const (
	minMonth = minYear*12 + 1
	maxMonth = maxYear*12 + 12
)

// NewMonth returns a month of a year from 1 to 9999.
func NewMonth(year int, month time.Month) (Month, error) {
	first, err := NewDate(year, month, 1)
	if err != nil {
		return Month{}, err
	}
	return first.Month(), nil
}

// ParseMonth reads a month written as 2027-03 and nothing else.
func ParseMonth(text string) (Month, error) {
	if len(text) == len("2027-03") && text[4] == '-' {
		year, okYear := digits(text[:4])
		month, okMonth := digits(text[5:])
		if okYear && okMonth {
			m, err := NewMonth(year, time.Month(month))
			if err != nil {
				return Month{}, fmt.Errorf("month %q: %w", text, err)
			}
			return m, nil
		}
	}
	return Month{}, fmt.Errorf("month %q: write the month as year-month, such as 2027-03", text)
}

// MustMonth is ParseMonth for tests and tables written by hand: it panics on a text that is not a month.
func MustMonth(text string) Month {
	m, err := ParseMonth(text)
	if err != nil {
		panic("calendar: " + err.Error())
	}
	return m
}

// IsZero reports whether the month is absent.
func (m Month) IsZero() bool { return m == Month{} }

// Parts returns the year and the month of the year; zeros when the month is absent.
func (m Month) Parts() (year int, month time.Month) {
	if m.IsZero() {
		return 0, 0
	}
	return int(m.n-1) / 12, time.Month((m.n-1)%12 + 1)
}

// First returns the first day of the month, the absent date of an absent month.
func (m Month) First() Date {
	if m.IsZero() {
		return Date{}
	}
	y, mon := m.Parts()
	return fromTime(time.Date(y, mon, 1, 0, 0, 0, 0, time.UTC))
}

// Last returns the last day of the month, the absent date of an absent month.
func (m Month) Last() Date { return m.First().AddDays(m.Days() - 1) }

// Days returns how many days the month has, 0 when it is absent.
func (m Month) Days() int {
	if m.IsZero() {
		return 0
	}
	return daysIn(m.Parts())
}

// Span returns all days of the month: from its first day up to, not including, the first day of the next one. December 9999
// has no next month and answers the empty span.
func (m Month) Span() Span {
	if m.Next().IsZero() {
		return Span{}
	}
	return Span{From: m.First(), To: m.Next().First()}
}

// Add returns the month n months later, or earlier when n is negative. A result outside the years 1 to 9999 is the absent
// month, and so is anything added to the absent month.
func (m Month) Add(n int) Month {
	if m.IsZero() || n > maxMonth || n < -maxMonth {
		return Month{}
	}
	sum := int(m.n) + n
	if sum < minMonth || sum > maxMonth {
		return Month{}
	}
	return Month{n: int32(sum)}
}

// Next returns the following month.
func (m Month) Next() Month { return m.Add(1) }

// Prev returns the month before.
func (m Month) Prev() Month { return m.Add(-1) }

// Compare returns -1, 0 or +1, for slices.SortFunc. The absent month sorts first.
func (m Month) Compare(other Month) int { return cmp.Compare(m.n, other.n) }

// Format prints the month with a layout of the time package, such as "January 2006"; the absent month prints as the empty
// string.
func (m Month) Format(layout string) string { return m.First().Format(layout) }

// String prints the month as 2027-03, the empty string when it is absent.
func (m Month) String() string { return m.Format("2006-01") }
