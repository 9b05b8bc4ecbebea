package calendar

import (
	"database/sql/driver"
	"fmt"
	"strings"
	"time"
)

// The methods here let JSON, CSV and SQL carry the types of this package. All of them write an absent value as an empty
// text or NULL and read it back as the zero value.

// MarshalText writes 2027-03-14, or nothing for an absent date.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads 2027-03-14; the empty text is the absent date.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Date{}
		return nil
	}
	parsed, err := ParseDate(string(text))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// Value stores the date in an SQL date column; absent is NULL.
func (d Date) Value() (driver.Value, error) {
	if d.IsZero() {
		return nil, nil
	}
	return d.midnightUTC(), nil
}

// Scan reads an SQL date: a time at midnight, a text or NULL. A time of day other than midnight is refused, because then
// the column is not a date and the zone would decide which day it is.
func (d *Date) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*d = Date{}
		return nil
	case time.Time:
		if v.Hour() != 0 || v.Minute() != 0 || v.Second() != 0 || v.Nanosecond() != 0 {
			return fmt.Errorf("scan a date: %s has a time of day", v.Format(time.RFC3339Nano))
		}
		got := fromTime(v)
		if got.IsZero() {
			return fmt.Errorf("scan a date: year %d is outside %d to %d", v.Year(), minYear, maxYear)
		}
		*d = got
		return nil
	case string:
		return d.UnmarshalText([]byte(v))
	case []byte:
		return d.UnmarshalText(v)
	}
	return fmt.Errorf("scan a date: cannot read a %T", src)
}

// MarshalText writes 2027-03, or nothing for an absent month.
func (m Month) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads 2027-03; the empty text is the absent month.
func (m *Month) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*m = Month{}
		return nil
	}
	parsed, err := ParseMonth(string(text))
	if err != nil {
		return err
	}
	*m = parsed
	return nil
}

// Value stores the month in an SQL date column as its first day; absent is NULL.
func (m Month) Value() (driver.Value, error) { return m.First().Value() }

// Scan reads an SQL date that is the first day of a month, or NULL. Any other day is refused: it would be cut off unseen.
func (m *Month) Scan(src any) error {
	var first Date
	if err := first.Scan(src); err != nil {
		return fmt.Errorf("scan a month: %w", err)
	}
	if first.Day() > 1 {
		return fmt.Errorf("scan a month: %s is not the first day of a month", first)
	}
	*m = first.Month()
	return nil
}

// Value stores the span in an SQL daterange column. The zero span is NULL; a span that holds no day but has dates is refused,
// because the range would lose them. The value is a text, which suits query parameters; a binary COPY wants the two dates.
func (s Span) Value() (driver.Value, error) {
	if s == (Span{}) {
		return nil, nil
	}
	if s.IsEmpty() {
		return nil, fmt.Errorf("store dates from %q to %q: the second date must be after the first", s.From, s.To)
	}
	return s.String(), nil
}

// Scan reads an SQL daterange, or NULL as the zero span. Postgres always hands out dateranges in the half-open form.
func (s *Span) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*s = Span{}
		return nil
	case string:
		return s.parse(v)
	case []byte:
		return s.parse(string(v))
	}
	return fmt.Errorf("scan a span of dates: cannot read a %T", src)
}

func (s *Span) parse(text string) error {
	parsed, err := ParseSpan(text)
	if err != nil {
		return err
	}
	*s = parsed
	return nil
}

// MarshalText writes 09:30.
func (c Clock) MarshalText() ([]byte, error) {
	if !c.IsValid() {
		return nil, fmt.Errorf("time of %d minutes: use 00:00 to 23:59", int(c))
	}
	return []byte(c.String()), nil
}

// UnmarshalText reads 09:30. An empty text is an error: a clock has no absent value.
func (c *Clock) UnmarshalText(text []byte) error {
	parsed, err := ParseClock(string(text))
	if err != nil {
		return err
	}
	*c = parsed
	return nil
}

// Value stores the time in an SQL column of type time.
func (c Clock) Value() (driver.Value, error) {
	if !c.IsValid() {
		return nil, fmt.Errorf("store a time of %d minutes: use 00:00 to 23:59", int(c))
	}
	return c.String() + ":00", nil
}

// Scan reads an SQL time whose seconds are zero. NULL is refused; scan it into a *Clock.
func (c *Clock) Scan(src any) error {
	var text string
	switch v := src.(type) {
	case string:
		text = v
	case []byte:
		text = string(v)
	default:
		return fmt.Errorf("scan a time of day: cannot read a %T", src)
	}
	clock, seconds := text, ""
	if len(text) > len("09:30") {
		clock, seconds = text[:len("09:30")], text[len("09:30"):]
	}
	// What follows the minutes may only be zero seconds, such as ":00" or ":00.000000".
	if strings.Trim(seconds, ":.0") != "" {
		return fmt.Errorf("scan a time of day: %q has seconds", text)
	}
	return c.UnmarshalText([]byte(clock))
}
