package calendar_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
)

// anyDate draws a date of the years 1 to 9999.
func anyDate(t *rapid.T, label string) calendar.Date {
	return calendar.MustDate("0001-01-01").AddDays(rapid.IntRange(0, 3652058).Draw(t, label))
}

// standard is what the time package says; it is the oracle of the tests below.
func standard(d calendar.Date) time.Time {
	y, m, day := d.Parts()
	return time.Date(y, m, day, 0, 0, 0, 0, time.UTC)
}

func TestParseDate(t *testing.T) {
	t.Parallel()
	tests := []struct{ text, wantErr string }{
		{"2027-03-14", ""},
		{"0001-01-01", ""},
		{"9999-12-31", ""},
		{"2024-02-29", ""},
		{"2000-02-29", ""},
		{"2027-02-29", "day 29: February 2027 has days 1 to 28"},
		{"1900-02-29", "February 1900 has days 1 to 28"},
		{"2027-04-31", "April 2027 has days 1 to 30"},
		{"2027-00-10", "use a month from 1 to 12"},
		{"2027-13-10", "use a month from 1 to 12"},
		{"2027-03-00", "March 2027 has days 1 to 31"},
		{"0000-03-01", "use a year from 1 to 9999"},
		{"", "write the date as year-month-day"},
		{"3/4/2027", "write the date as year-month-day"},
		{"2027-3-4", "write the date as year-month-day"},
		{"20270304", "write the date as year-month-day"},
		{"2027-03-14T00:00:00Z", "write the date as year-month-day"},
		{" 2027-03-14", "write the date as year-month-day"},
		{"+027-03-14", "write the date as year-month-day"},
		{"2027-03-1٤", "write the date as year-month-day"},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			t.Parallel()
			d, err := calendar.ParseDate(tt.text)
			if tt.wantErr != "" {
				require.ErrorContains(t, err, tt.wantErr)
				require.True(t, d.IsZero())
				return
			}
			require.NoError(t, err)
			require.Equal(t, tt.text, d.String())
		})
	}
	require.Panics(t, func() { calendar.MustDate("soon") })
}

func TestAbsentDate(t *testing.T) {
	t.Parallel()
	var none calendar.Date
	require.True(t, none.IsZero())
	require.Empty(t, none.String())
	require.True(t, none.AddDays(5).IsZero())
	require.True(t, none.AddMonths(5).IsZero())
	require.True(t, none.Month().IsZero())
	require.True(t, none.Before(calendar.MustDate("0001-01-01")))
	year, week := none.ISOWeek()
	require.Equal(t, [2]int{0, 0}, [2]int{year, week})
	require.Equal(t, [2]int{0, 0}, [2]int{none.Year(), none.Day()})
}

func TestAddDaysLeavesTheCalendar(t *testing.T) {
	t.Parallel()
	first, last := calendar.MustDate("0001-01-01"), calendar.MustDate("9999-12-31")
	require.True(t, first.AddDays(-1).IsZero())
	require.True(t, last.AddDays(1).IsZero())
	require.Equal(t, last, first.AddDays(last.Sub(first)))
	for _, huge := range []int{1 << 31, -1 << 31, 1<<63 - 1, -1 << 63, 1 << 40} {
		require.True(t, first.AddDays(huge).IsZero(), huge)
		require.True(t, first.AddMonths(huge).IsZero(), huge)
	}
}

func TestAddMonths(t *testing.T) {
	t.Parallel()
	tests := []struct {
		from   string
		months int
		want   string
	}{
		{"2026-03-01", 12, "2027-03-01"},
		{"2024-02-29", 12, "2025-02-28"},
		{"2024-02-29", 36, "2027-02-28"},
		{"2024-02-29", 48, "2028-02-29"},
		{"2027-01-31", 1, "2027-02-28"},
		{"2027-03-31", -1, "2027-02-28"},
		{"2027-10-31", 6, "2028-04-30"},
		{"2027-12-15", 1, "2028-01-15"},
	}
	for _, tt := range tests {
		require.Equal(t, tt.want, calendar.MustDate(tt.from).AddMonths(tt.months).String(), tt)
	}
}

// TestDateAgreesWithTimePackage compares our day count with the standard library over the whole calendar.
func TestDateAgreesWithTimePackage(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t, "date")
		n := rapid.IntRange(-3000, 3000).Draw(t, "days")
		std := standard(d)
		require.Equal(t, std.Format(time.DateOnly), d.String())
		require.Equal(t, std.Weekday(), d.Weekday())
		require.Equal(t, std.Year(), d.Year())
		require.Equal(t, std.Day(), d.Day())
		wantYear, wantWeek := std.ISOWeek()
		year, week := d.ISOWeek()
		require.Equal(t, [2]int{wantYear, wantWeek}, [2]int{year, week})

		later := d.AddDays(n)
		moved := std.AddDate(0, 0, n)
		if moved.Year() < 1 || moved.Year() > 9999 {
			require.True(t, later.IsZero())
			return
		}
		require.Equal(t, moved.Format(time.DateOnly), later.String())
		require.Equal(t, n, later.Sub(d))
		require.Equal(t, d, later.AddDays(-n))
		require.Equal(t, n < 0, later.Before(d))
		require.Equal(t, n > 0, later.After(d))
		require.Equal(t, -later.Compare(d), d.Compare(later))
		require.Equal(t, n == 0, d.Compare(later) == 0)

		again, err := calendar.ParseDate(d.String())
		require.NoError(t, err)
		require.Equal(t, d, again)
		y, m, day := d.Parts()
		made, err := calendar.NewDate(y, m, day)
		require.NoError(t, err)
		require.Equal(t, d, made)
	})
}

func TestAddMonthsProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t, "date")
		n := rapid.IntRange(-600, 600).Draw(t, "months")
		got := d.AddMonths(n)
		if got.IsZero() {
			require.True(t, d.Month().Add(n).IsZero())
			return
		}
		require.Equal(t, d.Month().Add(n), got.Month())
		require.LessOrEqual(t, got.Day(), d.Day())
		if got.Day() < d.Day() {
			require.Equal(t, got.Month().Last(), got, "only the end of a short month moves the day")
		}
	})
}

func TestOutsideISOWeeks(t *testing.T) {
	t.Parallel()
	const source = "ISO 8601 week dates, computed independently from the definition (the week of the year's first Thursday)"
	tests := []struct{ date, want string }{
		{"2025-12-29", "2026-W01-1"},
		{"2026-12-31", "2026-W53-4"},
		{"2027-01-03", "2026-W53-7"},
		{"2027-01-04", "2027-W01-1"},
		{"2024-12-30", "2025-W01-1"},
		{"2028-01-02", "2027-W52-7"},
	}
	for _, tt := range tests {
		d := calendar.MustDate(tt.date)
		year, week := d.ISOWeek()
		day := (int(d.Weekday())+6)%7 + 1
		outside.Check(t, "ISO week of "+tt.date, source, tt.want, fmt.Sprintf("%d-W%02d-%d", year, week, day))
	}

	weeks := map[int]map[int]bool{}
	for d := calendar.MustDate("2025-12-29"); d.Before(calendar.MustDate("2028-01-03")); d = d.AddDays(1) {
		year, week := d.ISOWeek()
		if weeks[year] == nil {
			weeks[year] = map[int]bool{}
		}
		weeks[year][week] = true
	}
	outside.Check(t, "number of ISO weeks in 2026", source, 53, len(weeks[2026]))
	outside.Check(t, "number of ISO weeks in 2027", source, 52, len(weeks[2027]))
}

func TestMonth(t *testing.T) {
	t.Parallel()
	m := calendar.MustMonth("2027-02")
	require.Equal(t, "2027-02", m.String())
	require.Equal(t, "2027-02-01", m.First().String())
	require.Equal(t, "2027-02-28", m.Last().String())
	require.Equal(t, 28, m.Days())
	require.Equal(t, "[2027-02-01,2027-03-01)", m.Span().String())
	require.Equal(t, "February 2027", m.Format("January 2006"))
	require.Equal(t, "2028-01", calendar.MustMonth("2027-12").Next().String())
	require.Equal(t, "2026-12", calendar.MustMonth("2027-01").Prev().String())
	require.Equal(t, 29, calendar.MustMonth("2028-02").Days())
	require.True(t, calendar.MustMonth("9999-12").Next().IsZero())
	require.True(t, calendar.MustMonth("9999-12").Span().IsEmpty())
	require.True(t, calendar.MustMonth("0001-01").Prev().IsZero())

	var none calendar.Month
	require.True(t, none.IsZero())
	require.Empty(t, none.String())
	require.Zero(t, none.Days())
	require.True(t, none.First().IsZero())
	require.True(t, none.Last().IsZero())
	require.True(t, none.Next().IsZero())
	year, month := none.Parts()
	require.Zero(t, year+int(month))
}

func TestParseMonth(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "2027", "2027-3", "2027-13", "2027-00", "0000-01", "2027/03", "2027-03-01", "abcd-ef"} {
		_, err := calendar.ParseMonth(bad)
		require.ErrorContains(t, err, bad)
	}
	require.Panics(t, func() { calendar.MustMonth("May") })
}

func TestMonthProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t, "date")
		m := d.Month()
		require.False(t, d.Before(m.First()))
		require.False(t, d.After(m.Last()))
		require.Equal(t, m, m.Last().Month())
		require.Equal(t, m.Days(), m.Last().Sub(m.First())+1)
		if !m.Next().IsZero() {
			require.Equal(t, m.Last().AddDays(1), m.Next().First())
			require.Equal(t, m, m.Next().Prev())
			require.Equal(t, -1, m.Compare(m.Next()))
			require.Equal(t, m.Days(), m.Span().Nights())
		}
		again, err := calendar.ParseMonth(m.String())
		require.NoError(t, err)
		require.Equal(t, m, again)
	})
}

func TestSpan(t *testing.T) {
	t.Parallel()
	span := func(from, to string) calendar.Span {
		return calendar.Span{From: calendar.MustDate(from), To: calendar.MustDate(to)}
	}
	stay := span("2027-03-01", "2027-03-15")
	require.Equal(t, 14, stay.Nights())
	require.True(t, stay.Contains(stay.From))
	require.False(t, stay.Contains(stay.To), "the graduation day is not a night")
	require.False(t, stay.Overlaps(span("2027-03-15", "2027-03-20")), "spans that touch do not overlap")
	require.True(t, stay.Overlaps(span("2027-03-14", "2027-03-20")))
	require.Equal(t, 0, span("2027-03-15", "2027-03-01").Nights(), "never negative")
	require.False(t, stay.Overlaps(calendar.Span{}))
	require.Equal(t, 4, len(slices.Collect(span("2027-02-27", "2027-03-03").Dates())))
	for d := range stay.Dates() {
		require.Equal(t, stay.From, d)
		break
	}

	_, err := calendar.NewSpan(stay.To, stay.From)
	require.ErrorContains(t, err, "the second date is before the first")
	_, err = calendar.NewSpan(stay.From, calendar.Date{})
	require.ErrorContains(t, err, "give both dates")
}

// TestSpanProperties counts days one by one as the oracle of Intersect, Overlaps and Contains.
func TestSpanProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		base := calendar.MustDate("2027-03-01")
		draw := func(label string) calendar.Span {
			from := base.AddDays(rapid.IntRange(0, 20).Draw(t, label+" from"))
			return calendar.Span{From: from, To: from.AddDays(rapid.IntRange(-3, 12).Draw(t, label+" nights"))}
		}
		a, b := draw("a"), draw("b")
		var shared []calendar.Date
		for d := range a.Dates() {
			require.True(t, a.Contains(d))
			if b.Contains(d) {
				shared = append(shared, d)
			}
		}
		both, ok := a.Intersect(b)
		require.Equal(t, len(shared) > 0, ok)
		require.Equal(t, ok, a.Overlaps(b))
		require.Equal(t, ok, b.Overlaps(a))
		require.Equal(t, shared, slices.Collect(both.Dates()))

		again, err := calendar.ParseSpan(a.String())
		require.NoError(t, err)
		require.Equal(t, a.String(), again.String())
		require.Equal(t, a.Nights(), again.Nights())
	})
}

func TestParseSpan(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "[2027-03-01,2027-03-15]", "(2027-03-01,2027-03-15)", "[2027-03-01,)", "[,2027-03-15)",
		"[2027-03-15,2027-03-01)", "2027-03-01,2027-03-15", "[2027-03-01)", "[2027-02-30,2027-03-15)"} {
		_, err := calendar.ParseSpan(bad)
		require.ErrorContains(t, err, "span", bad)
	}
}

func TestClock(t *testing.T) {
	t.Parallel()
	tests := []struct {
		text    string
		want    calendar.Clock
		wantErr string
	}{
		{"00:00", 0, ""},
		{"09:30", 570, ""},
		{"23:59", 1439, ""},
		{"24:00", 0, "use 00:00 to 23:59"},
		{"09:60", 0, "use 00:00 to 23:59"},
		{"9:30", 0, "24-hour clock"},
		{"09:30:00", 0, "24-hour clock"},
		{"09.30", 0, "24-hour clock"},
		{"9:30a", 0, "24-hour clock"},
		{"", 0, "24-hour clock"},
	}
	for _, tt := range tests {
		c, err := calendar.ParseClock(tt.text)
		if tt.wantErr != "" {
			require.ErrorContains(t, err, tt.wantErr, tt.text)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, tt.want, c)
		require.Equal(t, tt.text, c.String())
		require.Equal(t, int(tt.want), c.Hour()*60+c.Minute())
	}
	_, err := calendar.NewClock(-1, 0)
	require.Error(t, err)
	require.Panics(t, func() { calendar.MustClock("noon") })
	require.False(t, calendar.Clock(1440).IsValid())
	require.False(t, calendar.Clock(-1).IsValid())
}

func TestISOWeekdays(t *testing.T) {
	t.Parallel()
	for i, name := range calendar.Weekdays() {
		day := calendar.MustDate("2027-03-01").AddDays(i) // a Monday
		require.Equal(t, i+1, day.ISOWeekday())
		require.Equal(t, i+1, calendar.WeekdayNumber(name))
		require.Equal(t, strings.ToLower(day.Weekday().String()), name)
	}
	require.Zero(t, calendar.WeekdayNumber("someday"))
}
