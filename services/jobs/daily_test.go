package jobs_test

import (
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/jobs"
)

func daily(t *testing.T, zone, at string) jobs.Daily {
	t.Helper()
	loc, err := calendar.LoadZone(zone)
	require.NoError(t, err)
	return jobs.Daily{At: calendar.MustClock(at), Zone: loc}
}

// TestDailyOnClockChanges: a skipped time is due at the jump, a repeated one at its first occurrence. Source: IANA time zone database, dates
// and offsets from memory.
func TestDailyOnClockChanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ zone, at, day, want string }{
		{"America/New_York", "18:30", "2027-03-13", "2027-03-13T23:30:00Z"},
		{"America/New_York", "18:30", "2027-03-14", "2027-03-14T22:30:00Z"},
		{"America/New_York", "02:30", "2027-03-14", "2027-03-14T07:00:00Z"},
		{"America/New_York", "01:30", "2027-11-07", "2027-11-07T05:30:00Z"},
		{"Europe/Berlin", "02:30", "2027-03-28", "2027-03-28T01:00:00Z"},
		{"Europe/Berlin", "02:30", "2027-10-31", "2027-10-31T00:30:00Z"},
		{"Australia/Lord_Howe", "02:15", "2027-10-03", "2027-10-02T15:30:00Z"}, // half an hour is skipped
		{"Africa/Cairo", "00:30", "2026-04-24", "2026-04-23T22:00:00Z"},        // midnight is skipped
		{"America/Phoenix", "02:30", "2027-03-14", "2027-03-14T09:30:00Z"},     // no change
		{"Pacific/Apia", "18:30", "2011-12-30", "2011-12-30T10:00:00Z"},        // a day that was left out
	} {
		got, err := daily(t, c.zone, c.at).On(calendar.MustDate(c.day))
		require.NoError(t, err)
		outside.Check(t, c.zone+" "+c.day+" "+c.at, "IANA time zone database, from memory", c.want, got.Format(time.RFC3339))
	}
}

// TestDailyIsTheCronLine walks through two years: each date has its turn once, and on all days but those on which the time itself is skipped
// or repeated the turns are those of the cron line. The line itself has no turn on one day and two on another, which is why Daily is there.
func TestDailyIsTheCronLine(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		zone, at      string
		missed, twice int
	}{
		{"America/New_York", "18:30", 0, 0}, {"America/New_York", "02:30", 2, 0}, {"America/New_York", "01:30", 0, 2},
		{"Europe/Berlin", "02:30", 2, 2}, {"Europe/London", "01:15", 2, 2}, {"America/Phoenix", "02:30", 0, 0},
	} {
		d := daily(t, c.zone, c.at)
		line, err := cron.ParseStandard("CRON_TZ=" + c.zone + " " + c.at[3:] + " " + c.at[:2] + " * * *")
		require.NoError(t, err)
		first := calendar.MustDate("2027-01-01")
		turns := map[calendar.Date][]time.Time{}
		start, err := d.On(first)
		require.NoError(t, err)
		for at := line.Next(start.Add(-time.Second)); calendar.DateIn(at, d.Zone).Sub(first) < 730; at = line.Next(at) {
			day := calendar.DateIn(at, d.Zone)
			turns[day] = append(turns[day], at)
		}
		missed, twice, now := 0, 0, start.Add(-time.Second)
		for n := range 730 {
			day := first.AddDays(n)
			now = d.Next(now)
			on, err := d.On(day)
			require.NoError(t, err)
			require.True(t, on.Equal(now), "%s %s: the turns come in the order of the dates: %s, %s", c.zone, day, on, now)
			require.Equal(t, day, calendar.DateIn(now, d.Zone))
			switch ours := turns[day]; len(ours) {
			case 0:
				missed++
			case 1:
				require.True(t, ours[0].Equal(now), "%s %s: %s, %s", c.zone, day, ours[0], now)
			default:
				twice++
				require.True(t, ours[0].Equal(now), "%s %s: %s, %s", c.zone, day, ours[0], now)
			}
		}
		require.Equal(t, []int{c.missed, c.twice}, []int{missed, twice}, "%s %s: days without a turn of the line, and with two", c.zone, c.at)
	}
}
