package rpc

import (
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
)

// The functions here read fields that requests of several services have, with the same words for the same mistake.

// Month reads the field month, written 2027-03. The first and the last month that can be written are refused: they lack a
// neighbour, which spans and checks need.
func Month(text string) (calendar.Month, error) {
	month, err := calendar.ParseMonth(text)
	if err != nil {
		return month, apperr.InvalidField("month", err.Error(), "write it as 2027-03")
	}
	if month.Prev().IsZero() || month.Next().IsZero() {
		return month, apperr.InvalidField("month", "lies at the end of all months that can be written", "name a month of these years, such as 2027-03")
	}
	return month, nil
}

// Day reads a day, written 2027-03-14, of a field.
func Day(field, text string) (calendar.Date, error) {
	day, err := calendar.ParseDate(text)
	if err != nil {
		return day, apperr.InvalidField(field, err.Error(), "write it as 2027-03-14")
	}
	return day, nil
}

// Days reads the fields first_day and last_day, which are both meant, as a span.
func Days(first, last string) (calendar.Span, error) {
	from, err := Day("first_day", first)
	if err != nil {
		return calendar.Span{}, err
	}
	to, err := Day("last_day", last)
	if err != nil {
		return calendar.Span{}, err
	}
	if to.Before(from) {
		return calendar.Span{}, apperr.InvalidField("last_day", "must not be before the first day", "write the last day, or the first day again for one day")
	}
	days := calendar.Span{From: from, To: to.AddDays(1)}
	if days.IsEmpty() {
		return calendar.Span{}, apperr.InvalidField("last_day", "is the last one that can be written", "name an earlier day")
	}
	return days, nil
}
