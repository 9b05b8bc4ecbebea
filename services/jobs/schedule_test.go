package jobs_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/jobs"
)

func TestParseScheduleTellsTheNextTime(t *testing.T) {
	t.Parallel()
	at := func(text string) time.Time {
		v, err := time.Parse(time.RFC3339, text)
		require.NoError(t, err)
		return v
	}
	// Zone offsets: Europe/Berlin is UTC+1 in winter and UTC+2 in summer (IANA time zone database).
	for _, tc := range []struct{ line, after, want string }{
		{"30 4 * * *", "2026-01-10T00:00:00Z", "2026-01-10T04:30:00Z"},
		{"  0 5 * * MON ", "2026-01-10T00:00:00Z", "2026-01-12T05:00:00Z"},
		{"@daily", "2026-01-10T00:00:00Z", "2026-01-11T00:00:00Z"},
		{"@every 90s", "2026-01-10T00:00:00Z", "2026-01-10T00:01:30Z"},
		{"CRON_TZ=Europe/Berlin 0 5 * * *", "2026-01-10T00:00:00Z", "2026-01-10T04:00:00Z"},
		{"TZ=Europe/Berlin 0 5 * * *", "2026-07-10T00:00:00Z", "2026-07-10T03:00:00Z"},
	} {
		s, err := jobs.ParseSchedule(tc.line)
		require.NoError(t, err, tc.line)
		require.True(t, at(tc.want).Equal(s.Next(at(tc.after))), "%s: %v", tc.line, s.Next(at(tc.after)))
	}
}

func TestParseScheduleRefusesWithoutPanic(t *testing.T) {
	t.Parallel()
	for _, line := range []string{
		"", " ", "often", "* * * *", "61 * * * *", "TZ=", "TZ=UTC", "CRON_TZ=UTC", "CRON_TZ=Nowhere/City 0 0 * * *",
		"0 0 30 2 *", "@every -5s", "@every 10ms", "CRON_TZ=UTC @every 1ms", "@every x", "@sometimes",
	} {
		_, err := jobs.ParseSchedule(line)
		require.Equal(t, apperr.Invalid, apperr.KindOf(err), "%q", line)
		e, ok := apperr.From(err)
		require.True(t, ok)
		require.Equal(t, "schedule", e.Fields[0].Path)
	}
}

func FuzzParseSchedule(f *testing.F) {
	for _, seed := range []string{"30 4 * * *", "TZ=UTC", "CRON_TZ=Europe/Berlin 0 3 * * *", "@every 1h", "*/0 * * * *", "1-0 * * * *"} {
		f.Add(seed)
	}
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, line string) {
		s, err := jobs.ParseSchedule(line)
		if err != nil {
			require.Equal(t, apperr.Invalid, apperr.KindOf(err))
			return
		}
		if next := s.Next(now); !next.IsZero() {
			require.True(t, next.After(now), "the next time is later")
		}
	})
}
