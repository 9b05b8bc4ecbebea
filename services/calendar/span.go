package calendar

import (
	"fmt"
	"iter"
	"strings"
)

// Span is a run of days from From up to, not including, To. Read as a stay it is the nights slept: a dog that arrives on
// the 1st and goes home on the 15th stays 14 nights, and another dog may arrive in the same run on the 15th. The zero value,
// and any span whose To is not after its From, is empty.
type Span struct {
	From Date `json:"from"`
	To   Date `json:"to"`
}

// NewSpan returns the span [from, to). It refuses an absent end and a to before from; from equal to to is an empty span.
func NewSpan(from, to Date) (Span, error) {
	switch {
	case from.IsZero() || to.IsZero():
		return Span{}, fmt.Errorf("dates from %q to %q: give both dates", from, to)
	case to.Before(from):
		return Span{}, fmt.Errorf("dates from %s to %s: the second date is before the first", from, to)
	}
	return Span{From: from, To: to}, nil
}

// IsEmpty reports whether the span holds no day.
func (s Span) IsEmpty() bool {
	return s.From.IsZero() || s.To.IsZero() || !s.From.Before(s.To)
}

// Nights returns how many days (nights) the span holds; 0 when it is empty, never negative.
func (s Span) Nights() int {
	if s.IsEmpty() {
		return 0
	}
	return s.To.Sub(s.From)
}

// Contains reports whether d is one of the days of the span. To itself is not.
func (s Span) Contains(d Date) bool {
	return !s.IsEmpty() && !d.Before(s.From) && d.Before(s.To)
}

// Overlaps reports whether the two spans share a day. Spans that only touch do not.
func (s Span) Overlaps(other Span) bool {
	_, shared := s.Intersect(other)
	return shared
}

// Intersect returns the days that both spans hold, and whether there are any. Without any it returns the zero Span.
func (s Span) Intersect(other Span) (Span, bool) {
	if s.IsEmpty() || other.IsEmpty() {
		return Span{}, false
	}
	both := s
	if other.From.After(both.From) {
		both.From = other.From
	}
	if other.To.Before(both.To) {
		both.To = other.To
	}
	if both.IsEmpty() {
		return Span{}, false
	}
	return both, true
}

// Dates yields the days of the span in order.
func (s Span) Dates() iter.Seq[Date] {
	return func(yield func(Date) bool) {
		for i := range s.Nights() {
			if !yield(s.From.AddDays(i)) {
				return
			}
		}
	}
}

// String prints the span in the notation of intervals, [2027-03-01,2027-03-15), which is also what Postgres reads and
// writes for a daterange. An empty span prints as "empty", as in Postgres.
func (s Span) String() string {
	if s.IsEmpty() {
		return "empty"
	}
	return "[" + s.From.String() + "," + s.To.String() + ")"
}

// ParseSpan reads what String prints. Only the half-open form is accepted: a text with other brackets means other days.
func ParseSpan(text string) (Span, error) {
	if text == "empty" {
		return Span{}, nil
	}
	inner, opened := strings.CutPrefix(text, "[")
	inner, closed := strings.CutSuffix(inner, ")")
	from, to, two := strings.Cut(inner, ",")
	if !opened || !closed || !two {
		return Span{}, fmt.Errorf("span %q: write it as [2027-03-01,2027-03-15)", text)
	}
	first, err := ParseDate(from)
	if err != nil {
		return Span{}, fmt.Errorf("span %q: %w", text, err)
	}
	end, err := ParseDate(to)
	if err != nil {
		return Span{}, fmt.Errorf("span %q: %w", text, err)
	}
	s, err := NewSpan(first, end)
	if err != nil {
		return Span{}, fmt.Errorf("span %q: %w", text, err)
	}
	if s.IsEmpty() {
		return Span{}, nil
	}
	return s, nil
}
