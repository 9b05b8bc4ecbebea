package calendar_test

import (
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
)

type document struct {
	Day    calendar.Date            `json:"day"`
	Absent calendar.Date            `json:"absent"`
	Gone   calendar.Date            `json:"gone,omitzero"`
	Month  calendar.Month           `json:"month"`
	Stay   calendar.Span            `json:"stay"`
	Opens  calendar.Clock           `json:"opens"`
	ByDay  map[calendar.Date]string `json:"by_day"`
}

func TestJSON(t *testing.T) {
	t.Parallel()
	day := calendar.MustDate("2027-03-14")
	in := document{
		Day: day, Month: day.Month(), Stay: calendar.Span{From: day, To: day.AddDays(14)}, Opens: calendar.MustClock("09:30"),
		ByDay: map[calendar.Date]string{day: "Sunday"},
	}
	text, err := json.Marshal(in)
	require.NoError(t, err)
	require.JSONEq(t, `{"day":"2027-03-14","absent":"","month":"2027-03","stay":{"from":"2027-03-14","to":"2027-03-28"},
		"opens":"09:30","by_day":{"2027-03-14":"Sunday"}}`, string(text))
	var out document
	require.NoError(t, json.Unmarshal(text, &out))
	require.Equal(t, in, out)

	for _, bad := range []string{`{"day":"14.3.2027"}`, `{"month":"March"}`, `{"opens":""}`, `{"opens":"25:00"}`} {
		require.Error(t, json.Unmarshal([]byte(bad), &out), bad)
	}
	_, err = json.Marshal(calendar.Clock(1440))
	require.Error(t, err)
}

// stored sends a value through Value and Scan, as a database would.
func stored(t require.TestingT, from driver.Valuer, to sql.Scanner) {
	v, err := from.Value()
	require.NoError(t, err)
	require.True(t, v == nil || driver.IsValue(v), "%T is not a value a driver takes", v)
	require.NoError(t, to.Scan(v))
}

func TestSQLRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate(t, "date")
		var d2 calendar.Date
		stored(t, d, &d2)
		require.Equal(t, d, d2)
		require.NoError(t, d2.Scan(d.String()))
		require.Equal(t, d, d2)
		require.NoError(t, d2.Scan([]byte(d.String())))
		require.Equal(t, d, d2)
		stored(t, calendar.Date{}, &d2)
		require.True(t, d2.IsZero())

		var m calendar.Month
		stored(t, d.Month(), &m)
		require.Equal(t, d.Month(), m)
		stored(t, calendar.Month{}, &m)
		require.True(t, m.IsZero())

		span := calendar.Span{From: d, To: d.AddDays(rapid.IntRange(1, 40).Draw(t, "nights"))}
		if !span.IsEmpty() {
			var span2 calendar.Span
			stored(t, span, &span2)
			require.Equal(t, span, span2)
			stored(t, calendar.Span{}, &span2)
			require.Equal(t, calendar.Span{}, span2)
		}

		c := calendar.Clock(rapid.IntRange(0, 1439).Draw(t, "clock"))
		var c2 calendar.Clock
		stored(t, c, &c2)
		require.Equal(t, c, c2)
		require.NoError(t, c2.Scan([]byte(c.String()+":00.000000")))
		require.Equal(t, c, c2)
	})
}

func TestScanRefuses(t *testing.T) {
	t.Parallel()
	var d calendar.Date
	require.ErrorContains(t, d.Scan(time.Date(2027, 3, 14, 9, 0, 0, 0, time.UTC)), "has a time of day")
	require.ErrorContains(t, d.Scan(time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)), "outside 1 to 9999")
	require.ErrorContains(t, d.Scan(20270314), "cannot read a int")
	require.Error(t, d.Scan("14/03/2027"))
	var m calendar.Month
	require.ErrorContains(t, m.Scan(time.Date(2027, 3, 14, 0, 0, 0, 0, time.UTC)), "not the first day")
	require.Error(t, m.Scan(3.5))
	var s calendar.Span
	require.Error(t, s.Scan("[2027-03-01,2027-03-15]"))
	require.ErrorContains(t, s.Scan(1), "cannot read a int")
	_, err := calendar.Span{From: calendar.MustDate("2027-03-02"), To: calendar.MustDate("2027-03-01")}.Value()
	require.ErrorContains(t, err, "must be after")
	var c calendar.Clock
	require.ErrorContains(t, c.Scan("09:30:15"), "has seconds")
	require.Error(t, c.Scan(nil))
	require.Error(t, c.Scan("9"))
	_, err = calendar.Clock(-1).Value()
	require.Error(t, err)
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"", "2027-03-14", "2024-02-29", "2027-02-29", "9999-12-31", "0000-00-00", "2027-3-4"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := calendar.ParseDate(text)
		std, stdErr := time.Parse(time.DateOnly, text)
		// The standard library knows a year 0, which our calendar leaves out.
		require.Equal(t, stdErr == nil && std.Year() >= 1, err == nil, "%v, %v", err, stdErr)
		if err == nil {
			require.Equal(t, text, d.String())
		}
	})
}

func FuzzParseMonth(f *testing.F) {
	for _, s := range []string{"", "2027-03", "2027-13", "0000-01", "9999-12"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := calendar.ParseMonth(text)
		if err == nil {
			require.Equal(t, text, m.String())
			require.Equal(t, text+"-01", m.First().String())
		}
	})
}

func FuzzParseClock(f *testing.F) {
	for _, s := range []string{"", "09:30", "24:00", "23:59", "9:30"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := calendar.ParseClock(text)
		std, stdErr := time.Parse("15:04", text)
		if err == nil {
			require.NoError(t, stdErr)
			require.Equal(t, text, c.String())
			require.Equal(t, std.Hour()*60+std.Minute(), int(c))
			require.True(t, c.IsValid())
		}
	})
}

func FuzzParseSpan(f *testing.F) {
	for _, s := range []string{"", "empty", "[2027-03-01,2027-03-15)", "[2027-03-15,2027-03-01)", "[,)"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := calendar.ParseSpan(text)
		if err == nil && !s.IsEmpty() {
			require.Equal(t, text, s.String())
			require.Positive(t, s.Nights())
		}
	})
}
