package jobs_test

import (
	"testing"
	"time"

	"github.com/robfig/cron/v3"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/jobs"
)

func local(t testing.TB, zone, line string) jobs.Local {
	t.Helper()
	loc, err := calendar.LoadZone(zone)
	require.NoError(t, err)
	l, err := jobs.ParseLocal("line", line, loc)
	require.NoError(t, err)
	return l
}

// TestLocalOnClockChanges: a skipped time comes when clocks jump, and once; a repeated one at its first occurrence. Source: IANA time zone
// database, dates and offsets from memory.
func TestLocalOnClockChanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		zone, line, after string
		want              []string
	}{
		{"America/New_York", "30 9 * * *", "2027-03-13T00:00:00Z", []string{"2027-03-13T14:30:00Z", "2027-03-14T13:30:00Z", "2027-03-15T13:30:00Z"}},
		{"America/New_York", "30 2 * * *", "2027-03-13T12:00:00Z", []string{"2027-03-14T07:00:00Z", "2027-03-15T06:30:00Z"}},
		{"America/New_York", "0,20,40 2 * * *", "2027-03-14T06:00:00Z", []string{"2027-03-14T07:00:00Z", "2027-03-15T06:00:00Z"}},
		{"America/New_York", "30 1 * * *", "2027-11-07T04:00:00Z", []string{"2027-11-07T05:30:00Z", "2027-11-08T06:30:00Z"}},
		{"Europe/Berlin", "0 */1 * * *", "2027-10-30T23:30:00Z", []string{"2027-10-31T00:00:00Z", "2027-10-31T02:00:00Z"}},
		{"Europe/Berlin", "30 2 * * SUN", "2027-03-27T00:00:00Z", []string{"2027-03-28T01:00:00Z", "2027-04-04T00:30:00Z"}},
		{"Australia/Lord_Howe", "15 2 * * *", "2027-10-02T00:00:00Z", []string{"2027-10-02T15:30:00Z", "2027-10-03T15:15:00Z"}},
		{"Pacific/Apia", "0 9 * * *", "2011-12-29T20:00:00Z", []string{"2011-12-30T10:00:00Z", "2011-12-30T19:00:00Z"}}, // the 30th was left out
	} {
		l := local(t, c.zone, c.line)
		at, err := time.Parse(time.RFC3339, c.after)
		require.NoError(t, err)
		for _, want := range c.want {
			at = l.Next(at)
			outside.Check(t, c.zone+" "+c.line+" "+want, "IANA time zone database, from memory", want, at.Format(time.RFC3339))
		}
	}
}

// TestLocalIsTheCronLine: in a zone without clock changes, every turn is the library's own.
func TestLocalIsTheCronLine(t *testing.T) {
	t.Parallel()
	for _, line := range []string{"30 9 * * *", "*/20 8-17 * * MON-FRI", "0 0 29 2 *", "5 4 1,15 * *", "59 23 31 12 *"} {
		want, err := cron.ParseStandard("CRON_TZ=America/Phoenix " + line)
		require.NoError(t, err)
		l := local(t, "America/Phoenix", line)
		at, theirs := time.Date(2027, 1, 1, 3, 4, 5, 0, time.UTC), time.Date(2027, 1, 1, 3, 4, 5, 0, time.UTC)
		for range 200 {
			at, theirs = l.Next(at), want.Next(theirs)
			require.True(t, at.Equal(theirs), "%s: %s, %s", line, at, theirs)
		}
	}
}

// TestLatest: of several turns that were missed the last one counts, and none where there was none.
func TestLatest(t *testing.T) {
	t.Parallel()
	l := local(t, "America/Denver", "0 10 * * *")
	from := time.Date(2027, 3, 12, 17, 0, 0, 0, time.UTC) // a turn itself
	_, ok := l.Latest(from, from.Add(23*time.Hour))
	require.False(t, ok)
	for days, want := range map[int]string{1: "2027-03-13T17:00:00Z", 3: "2027-03-15T16:00:00Z", 30: "2027-04-11T16:00:00Z"} {
		last, ok := l.Latest(from, from.Add(time.Duration(days)*24*time.Hour))
		require.True(t, ok)
		require.Equal(t, want, last.Format(time.RFC3339))
	}
}

// TestImpossibleLines: each has a clear answer.
func TestImpossibleLines(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]string{
		"":                               "has 0 fields",
		"30 9 * *":                       "has 4 fields",
		"0 30 9 * * *":                   "has 6 fields",
		"@daily":                         "has 1 fields",
		"@every 1s":                      "has 2 fields",
		"60 9 * * *":                     "is no cron line",
		"30 24 * * *":                    "is no cron line",
		"half past nine every day":       "is no cron line",
		"*/0 9 * * *":                    "is no cron line",
		"0 9 31 2 *":                     "no calendar has",
		"0 9 30 FEB *":                   "no calendar has",
		"CRON_TZ=UTC 0 9 * * *":          "names a zone",
		"TZ=Europe/Berlin":               "names a zone",
		"0 9 * * 8":                      "is no cron line",
		"9-5 9 * * *":                    "is no cron line",
		"\x00 9 * * *":                   "is no cron line",
		"0 9 * * MON-":                   "is no cron line",
		"99999999999999999999 9 * * *":   "is no cron line",
		"0 9 * * * ; drop table letters": "has 9 fields",
	} {
		_, err := jobs.ParseLocal("line", line, time.UTC)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err), "%q", line)
		require.ErrorContains(t, err, want, "%q", line)
		require.ErrorContains(t, err, "write minute, hour", "%q", line)
	}
}
