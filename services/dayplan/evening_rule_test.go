package dayplan

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
)

// TestEveryDayIsDueOnce looks what is due at every minute of a year, in zones that set their clocks in different ways, as the schedule does: a
// day that is due and known already is due no more. Every day but those of the ends of the year comes once, at the minute at which clocks
// show the time, or jump over it, on the day before.
func TestEveryDayIsDueOnce(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ zone, at string }{
		{"America/New_York", "18:30"}, {"America/New_York", "02:30"}, {"America/Chicago", "01:30"},
		{"Europe/Berlin", "02:30"}, {"Australia/Lord_Howe", "02:15"}, {"Africa/Cairo", "00:30"}, {"Asia/Kathmandu", "00:00"},
	} {
		t.Run(c.zone+" "+c.at, func(t *testing.T) {
			t.Parallel()
			zone, err := calendar.LoadZone(c.zone)
			require.NoError(t, err)
			daily := jobs.Daily{At: calendar.MustClock(c.at), Zone: zone}
			start := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
			minute := time.Minute
			if raceDetector { // every seventh, which meets every time of the day on some day
				minute *= 7
			}
			came := map[calendar.Date]time.Time{}
			for now := start; now.Before(start.AddDate(1, 0, 0)); now = now.Add(minute) {
				found, err := dueAt(ids.SiteID{1}, daily, now)
				if err != nil {
					t.Fatal(err)
				}
				for _, d := range found {
					if _, known := came[d.day]; !known {
						came[d.day] = now
					}
				}
			}
			last := calendar.MustDate("2027-12-31")
			for day := calendar.MustDate("2027-01-04"); !day.After(last); day = day.AddDays(1) {
				want, err := calendar.At(day.AddDays(-1), daily.At, zone)
				if skipped, ok := errors.AsType[*calendar.SkippedError](err); ok {
					want = skipped.Resumes
				}
				late := came[day].Sub(want)
				require.True(t, late >= 0 && late < minute, "%s came at %s, and was due at %s", day, came[day], want)
			}
			require.InDelta(t, 367, len(came), 1, "no other day came")
		})
	}
}

// TestMissedEvenings: after a standstill today and tomorrow are due where their evenings are over; what is past is not.
func TestMissedEvenings(t *testing.T) {
	t.Parallel()
	zone, err := calendar.LoadZone("America/Denver")
	require.NoError(t, err)
	daily := jobs.Daily{At: usualEvening, Zone: zone}
	for now, want := range map[string][]string{
		"2027-03-14T07:30:00Z": {"2027-03-14"}, // 00:30 on the 14th
		"2027-03-14T23:00:00Z": {"2027-03-14"}, // 17:00
		"2027-03-15T00:29:59Z": {"2027-03-14"},
		"2027-03-15T00:30:00Z": {"2027-03-14", "2027-03-15"}, // 18:30
		"2027-03-15T06:00:00Z": {"2027-03-15"},               // midnight
	} {
		at, err := time.Parse(time.RFC3339, now)
		require.NoError(t, err)
		found, err := dueAt(ids.SiteID{1}, daily, at)
		require.NoError(t, err)
		var days []string
		for _, d := range found {
			days = append(days, d.day.String())
		}
		require.Equal(t, want, days, now)
	}
	apia, err := calendar.LoadZone("Pacific/Apia") // had no 30 December 2011: IANA time zone database, from memory
	require.NoError(t, err)
	found, err := dueAt(ids.SiteID{1}, jobs.Daily{At: usualEvening, Zone: apia}, time.Date(2011, 12, 30, 5, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	require.Len(t, found, 1, "there is today, the 29th, and no tomorrow: %v", found)
}

// TestNoEvenings: a site may plan no day by itself, and one without a time of its own has the usual one.
func TestNoEvenings(t *testing.T) {
	t.Parallel()
	site := facility.Site{Zone: "America/Denver"}
	_, ok, err := dailyOf(site, &Schedule{})
	require.NoError(t, err)
	require.False(t, ok)
	daily, ok, err := dailyOf(site, nil)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "18:30", daily.At.String())
	at := calendar.MustClock("17:00")
	daily, _, err = dailyOf(site, &Schedule{At: &at})
	require.NoError(t, err)
	require.Equal(t, at, daily.At)
	_, _, err = dailyOf(facility.Site{Zone: "Nowhere"}, nil)
	require.Error(t, err)
}

// TestJudge: what is to be done about a day, by whose plan it has, whether that has begun and what has changed.
func TestJudge(t *testing.T) {
	t.Parallel()
	eight := time.Date(2027, 3, 9, 14, 0, 0, 0, time.UTC)
	before, after := eight.Add(-time.Hour), eight
	mine, other := ids.DayPlanID{1}, ids.DayPlanID{2}
	live := func(id ids.DayPlanID, print string) *Plan {
		return &Plan{ID: id, Number: 3, Fingerprint: print, Blocks: []Block{{From: eight.Add(time.Hour)}, {From: eight}}}
	}
	for _, c := range []struct {
		name    string
		row     Evening
		live    *Plan
		now     time.Time
		plan    bool
		outcome string
		says    string
	}{
		{"nothing yet", Evening{}, nil, before, true, "", ""},
		{"nothing yet, and no block tells that it has begun", Evening{}, nil, after, true, "", ""},
		{"impossible, and nothing has changed", Evening{Outcome: OutcomeFailed, Fingerprint: "new", Note: "why"}, nil, before, false, OutcomeFailed, "why"},
		{"impossible, and something has changed", Evening{Outcome: OutcomeFailed, Fingerprint: "old"}, nil, before, true, "", ""},
		{"too late, and nothing has changed", Evening{Outcome: OutcomeLate, Fingerprint: "new", Note: "why"}, nil, after, false, OutcomeLate, "why"},
		{"too late, and something has changed", Evening{Outcome: OutcomeLate, Fingerprint: "old", Note: "why"}, nil, after, false, OutcomeLate, "why"},
		{"ours, and nothing has changed", Evening{PlanID: mine}, live(mine, "new"), after, false, OutcomePlanned, ""},
		{"somebody's, and nothing has changed", Evening{PlanID: mine}, live(other, "new"), before, false, OutcomeKept, "plan 3"},
		{"ours, changed, not begun", Evening{PlanID: mine}, live(mine, "old"), before, true, "", ""},
		{"ours, changed, not begun, but empty", Evening{PlanID: mine}, &Plan{ID: mine, Fingerprint: "old"}, after, true, "", ""},
		{"ours, changed, begun", Evening{PlanID: mine}, live(mine, "old"), after, false, OutcomeAsk, "it has begun"},
		{"somebody's, changed, not begun", Evening{PlanID: mine}, live(other, "old"), before, false, OutcomeAsk, "somebody made it"},
		{"somebody's, changed, begun", Evening{}, live(other, "old"), after, false, OutcomeAsk, "it has begun"},
		{"ours, changed to what is impossible", Evening{PlanID: mine, Outcome: OutcomeFailed, Fingerprint: "new", Note: "why"}, live(mine, "old"), before, false, OutcomeFailed, "why"},
		{"ours, changed again", Evening{PlanID: mine, Outcome: OutcomeFailed, Fingerprint: "older"}, live(mine, "old"), before, true, "", ""},
		{"ours, and a new one would begin too early", Evening{PlanID: mine, Outcome: OutcomeAsk, Fingerprint: "new", Note: "why"}, live(mine, "old"), before, false, OutcomeAsk, "why"},
	} {
		got := judge(c.row, c.live, "new", c.now)
		require.Equal(t, c.plan, got.plan, c.name)
		require.Equal(t, c.outcome, got.outcome, c.name)
		require.Contains(t, got.note, c.says, c.name)
	}
	require.Equal(t, OutcomeLate, tooLate(nil).outcome)
	require.Equal(t, OutcomeAsk, tooLate(live(mine, "old")).outcome)
	why, ok := failing(fmt.Errorf("plan: %w", apperr.Preconditionf("DAY_IMPOSSIBLE", "no room")))
	require.True(t, ok)
	require.Equal(t, verdict{outcome: OutcomeFailed, note: "no room"}, why)
	for _, err := range []error{nil, errors.New("broken"), apperr.Unavailablef("X", "later")} {
		_, ok := failing(err)
		require.False(t, ok, "%v", err)
	}
}
