package calendar_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the same zone data on every machine that tests

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
)

const (
	sourceIANA = "IANA time zone database, instants read from system zoneinfo"
	newYork    = "America/New_York"
)

func zone(t require.TestingT, name string) *time.Location {
	loc, err := calendar.LoadZone(name)
	require.NoError(t, err)
	return loc
}

func instant(t require.TestingT, text string) time.Time {
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at.UTC()
}

func at(t require.TestingT, date, clock, zoneName string) time.Time {
	got, err := calendar.At(calendar.MustDate(date), calendar.MustClock(clock), zone(t, zoneName))
	require.NoError(t, err)
	require.Equal(t, time.UTC, got.Location())
	return got
}

// TestOutsideZoneChanges checks the two changes of each year: the last clock minute before the change and the first one
// after it are one minute apart as instants, and the change is at the instant that the zone database gives.
func TestOutsideZoneChanges(t *testing.T) {
	t.Parallel()
	tests := []struct {
		zone, date, change string
		before, after      string // the minute before the change, and what the clock shows at it
	}{
		{newYork, "2026-03-08", "2026-03-08T07:00:00Z", "01:59", "03:00"},
		{newYork, "2026-11-01", "2026-11-01T06:00:00Z", "01:59", "01:00"},
		{newYork, "2027-03-14", "2027-03-14T07:00:00Z", "01:59", "03:00"},
		{newYork, "2027-11-07", "2027-11-07T06:00:00Z", "01:59", "01:00"},
		{"America/Chicago", "2026-03-08", "2026-03-08T08:00:00Z", "01:59", "03:00"},
		{"America/Chicago", "2026-11-01", "2026-11-01T07:00:00Z", "01:59", "01:00"},
		{"America/Chicago", "2027-03-14", "2027-03-14T08:00:00Z", "01:59", "03:00"},
		{"America/Chicago", "2027-11-07", "2027-11-07T07:00:00Z", "01:59", "01:00"},
		{"America/Denver", "2026-03-08", "2026-03-08T09:00:00Z", "01:59", "03:00"},
		{"America/Denver", "2026-11-01", "2026-11-01T08:00:00Z", "01:59", "01:00"},
		{"America/Denver", "2027-03-14", "2027-03-14T09:00:00Z", "01:59", "03:00"},
		{"America/Denver", "2027-11-07", "2027-11-07T08:00:00Z", "01:59", "01:00"},
		{"America/Los_Angeles", "2026-03-08", "2026-03-08T10:00:00Z", "01:59", "03:00"},
		{"America/Los_Angeles", "2026-11-01", "2026-11-01T09:00:00Z", "01:59", "01:00"},
		{"America/Los_Angeles", "2027-03-14", "2027-03-14T10:00:00Z", "01:59", "03:00"},
		{"America/Los_Angeles", "2027-11-07", "2027-11-07T09:00:00Z", "01:59", "01:00"},
		{"Europe/London", "2026-03-29", "2026-03-29T01:00:00Z", "00:59", "02:00"},
		{"Europe/London", "2026-10-25", "2026-10-25T01:00:00Z", "01:59", "01:00"},
		{"Europe/London", "2027-03-28", "2027-03-28T01:00:00Z", "00:59", "02:00"},
		{"Europe/London", "2027-10-31", "2027-10-31T01:00:00Z", "01:59", "01:00"},
	}
	for _, tt := range tests {
		t.Run(tt.zone+" "+tt.date, func(t *testing.T) {
			t.Parallel()
			loc := zone(t, tt.zone)
			change := instant(t, tt.change)
			require.Equal(t, tt.before, calendar.ClockIn(change.Add(-time.Second), loc).String())
			require.Equal(t, tt.after, calendar.ClockIn(change, loc).String())
			require.Equal(t, tt.date, calendar.DateIn(change, loc).String())

			start, end, err := calendar.DayBounds(calendar.MustDate(tt.date), loc)
			require.NoError(t, err)
			hours := 25 * time.Hour
			if tt.after > tt.before {
				hours = 23 * time.Hour
				// The clock jumps: the first minute that exists again is the change itself.
				outside.Check(t, tt.zone+" summer time begins "+tt.date, sourceIANA, tt.change,
					at(t, tt.date, tt.after, tt.zone).Format(time.RFC3339))
			} else {
				// The clock falls back one hour: the repeated hour begins one hour before the change, and that first
				// occurrence is the one that At answers.
				outside.Check(t, tt.zone+" summer time ends "+tt.date, sourceIANA, tt.change,
					at(t, tt.date, tt.after, tt.zone).Add(time.Hour).Format(time.RFC3339))
			}
			require.Equal(t, hours, end.Sub(start), "a day is not 24 hours")
		})
	}
}

func TestOutsideZoneOffsets(t *testing.T) {
	t.Parallel()
	loc := zone(t, newYork)
	for _, tt := range []struct {
		at   string
		want int
	}{
		{"2026-03-08T06:59:59Z", -5}, {"2026-03-08T07:00:00Z", -4},
		{"2026-11-01T05:59:59Z", -4}, {"2026-11-01T06:00:00Z", -5},
	} {
		_, seconds := instant(t, tt.at).In(loc).Zone()
		outside.Check(t, "New York offset in hours at "+tt.at, sourceIANA, tt.want, seconds/3600)
	}

	// Phoenix keeps one offset all year round: every day of both years lasts 24 hours.
	phoenix, changes := zone(t, "America/Phoenix"), 0
	year := calendar.Span{From: calendar.MustDate("2026-01-01"), To: calendar.MustDate("2028-01-01")}
	for d := range year.Dates() {
		start, end, err := calendar.DayBounds(d, phoenix)
		require.NoError(t, err)
		if end.Sub(start) != 24*time.Hour {
			changes++
		}
	}
	outside.Check(t, "changes of clocks in Phoenix in 2026 and 2027", sourceIANA, 0, changes)
}

func TestOutsideNonexistentAndRepeatedTimes(t *testing.T) {
	t.Parallel()
	loc := zone(t, newYork)
	_, err := calendar.At(calendar.MustDate("2026-03-08"), calendar.MustClock("02:30"), loc)
	var skipped *calendar.SkippedError
	require.ErrorAs(t, err, &skipped)
	outside.Check(t, "2026-03-08 02:30 in New York does not exist; clocks resume at", sourceIANA, "03:00", skipped.ResumesAt.String())
	require.Equal(t, instant(t, "2026-03-08T07:00:00Z"), skipped.Resumes)
	require.EqualError(t, err, "2026-03-08 02:30 does not exist in America/New_York: clocks jump ahead there; "+
		"choose 03:00 or later, or a time before the jump")

	outside.Check(t, "2026-11-01 01:30 in New York, first occurrence", sourceIANA, "2026-11-01T05:30:00Z",
		at(t, "2026-11-01", "01:30", newYork).Format(time.RFC3339))
	second := instant(t, "2026-11-01T06:30:00Z")
	outside.Check(t, "2026-11-01 06:30Z shows in New York, second occurrence", sourceIANA, "01:30",
		calendar.ClockIn(second, loc).String())
}

func TestOutsideNightLengths(t *testing.T) {
	t.Parallel()
	tests := []struct {
		date, end, start string
		want             time.Duration
	}{
		{"2026-03-07", "19:00", "06:00", 10 * time.Hour},
		{"2026-03-07", "18:00", "06:00", 11 * time.Hour},
		{"2026-10-31", "18:00", "06:00", 13 * time.Hour},
		{"2026-06-10", "19:00", "06:00", 11 * time.Hour},
	}
	for _, tt := range tests {
		next := calendar.MustDate(tt.date).AddDays(1).String()
		rest := at(t, next, tt.start, newYork).Sub(at(t, tt.date, tt.end, newYork))
		outside.Check(t, "New York rest from "+tt.date+" "+tt.end+" to "+tt.start, sourceIANA, tt.want, rest)
	}
}

func TestUnusualZones(t *testing.T) {
	t.Parallel()
	// Lord Howe Island changes by half an hour.
	lordHowe := zone(t, "Australia/Lord_Howe")
	_, err := calendar.At(calendar.MustDate("2026-10-04"), calendar.MustClock("02:15"), lordHowe)
	var skipped *calendar.SkippedError
	require.ErrorAs(t, err, &skipped)
	require.Equal(t, "02:30", skipped.ResumesAt.String())

	// Samoa left out 30 December 2011: every time of that day is missing, and the day has no length.
	apia := zone(t, "Pacific/Apia")
	missing := calendar.MustDate("2011-12-30")
	for _, clock := range []string{"00:00", "12:00", "23:59"} {
		_, err = calendar.At(missing, calendar.MustClock(clock), apia)
		require.ErrorAs(t, err, &skipped, clock)
		require.Equal(t, instant(t, "2011-12-30T10:00:00Z"), skipped.Resumes)
	}
	start, end, err := calendar.DayBounds(missing, apia)
	require.NoError(t, err)
	require.Equal(t, start, end)

	// Havana skips midnight itself: the day begins at 01:00.
	havana := zone(t, "America/Havana")
	start, end, err = calendar.DayBounds(calendar.MustDate("2026-03-08"), havana)
	require.NoError(t, err)
	require.Equal(t, "01:00", calendar.ClockIn(start, havana).String())
	require.Equal(t, 23*time.Hour, end.Sub(start))
}

func TestLoadZone(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "Local", "New York", "America/Nowhere", "../etc/passwd"} {
		_, err := calendar.LoadZone(bad)
		require.ErrorContains(t, err, "America/New_York", bad)
	}
	require.Equal(t, "UTC", zone(t, "UTC").String())
}

func TestAtRefusesMissingParts(t *testing.T) {
	t.Parallel()
	day := calendar.MustDate("2027-03-14")
	_, err := calendar.At(day, 0, nil)
	require.ErrorContains(t, err, "time zone is missing")
	_, err = calendar.At(calendar.Date{}, 0, time.UTC)
	require.ErrorContains(t, err, "date is missing")
	_, err = calendar.At(day, 1440, time.UTC)
	require.ErrorContains(t, err, "00:00 to 23:59")
	_, _, err = calendar.DayBounds(calendar.MustDate("9999-12-31"), time.UTC)
	require.Error(t, err, "the calendar ends there")
	require.True(t, calendar.DateIn(time.Now(), nil).IsZero())
}

// TestAtProperties compares At with a search minute by minute through the instants around the local time.
func TestAtProperties(t *testing.T) {
	t.Parallel()
	zones := []string{newYork, "Europe/London", "America/Phoenix", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu",
		"America/Havana", "Africa/Casablanca", "Pacific/Kiritimati", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom(zones).Draw(t, "zone"))
		// Half of the draws fall near a change of offset, where the trouble is.
		day := calendar.MustDate("2005-01-01").AddDays(rapid.IntRange(0, 12000).Draw(t, "day"))
		clock := calendar.Clock(rapid.IntRange(0, 1439).Draw(t, "clock"))
		if rapid.Bool().Draw(t, "near a change") {
			noon, err := calendar.At(day, 12*60, loc)
			if err == nil {
				if _, change := noon.In(loc).ZoneBounds(); !change.IsZero() {
					near := change.Add(time.Duration(rapid.IntRange(-90, 90).Draw(t, "minutes")) * time.Minute)
					day = calendar.DateIn(near, loc)
					clock = calendar.ClockIn(near.Add(time.Duration(rapid.IntRange(-60, 60).Draw(t, "shift"))*time.Minute), loc)
				}
			}
		}

		var first time.Time
		y, m, dd := day.Parts()
		from := time.Date(y, m, dd, clock.Hour(), clock.Minute(), 0, 0, time.UTC).Add(-26 * time.Hour)
		for i := range 52 * 60 {
			u := from.Add(time.Duration(i) * time.Minute)
			if calendar.DateIn(u, loc) == day && calendar.ClockIn(u, loc) == clock {
				first = u
				break
			}
		}
		got, err := calendar.At(day, clock, loc)
		if first.IsZero() {
			var skipped *calendar.SkippedError
			require.ErrorAs(t, err, &skipped)
			require.True(t, !calendar.DateIn(skipped.Resumes, loc).Before(day))
			return
		}
		require.NoError(t, err)
		require.Equal(t, first, got)
	})
}

func TestDayBoundsTileTime(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		loc := zone(t, rapid.SampledFrom([]string{newYork, "Europe/London", "America/Havana", "Pacific/Apia"}).Draw(t, "zone"))
		d := calendar.MustDate("2005-01-01").AddDays(rapid.IntRange(0, 12000).Draw(t, "day"))
		start, end, err := calendar.DayBounds(d, loc)
		require.NoError(t, err)
		next, _, err := calendar.DayBounds(d.AddDays(1), loc)
		require.NoError(t, err)
		require.Equal(t, end, next, "a day ends where the next one begins")
		if start.Before(end) {
			require.Equal(t, d, calendar.DateIn(start, loc))
			require.Equal(t, d, calendar.DateIn(end.Add(-time.Nanosecond), loc))
		}
	})
}
