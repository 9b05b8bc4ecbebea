package roster

import (
	"slices"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the same zone data on every machine that tests

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/internal/outside"
)

func zoneOf(t require.TestingT, name string) *time.Location {
	loc, err := calendar.LoadZone(name)
	require.NoError(t, err)
	return loc
}

// on writes a shift as "2026-03-07 08:00 19:00", meal in minutes.
func on(t require.TestingT, zone, text string, meal int) WorkedShift {
	f := strings.Fields(text)
	return WorkedShift{Day: calendar.MustDate(f[0]), Starts: calendar.MustClock(f[1]), Ends: calendar.MustClock(f[2]),
		MealMinutes: meal, Zone: zoneOf(t, zone)}
}

func preset(t require.TestingT, name string) WorkRule {
	i := slices.IndexFunc(WorkPresets(), func(p WorkPreset) bool { return p.Name == name })
	require.GreaterOrEqual(t, i, 0)
	return WorkPresets()[i].Rule
}

const testZone = "America/New_York"

// lines prints findings shortly, for comparison.
func lines(findings []WorkFinding) []string {
	var out []string
	for _, f := range findings {
		out = append(out, f.Day.String()+" "+f.Rule+": "+f.Measured+"; "+f.Required)
	}
	return out
}

func check(t require.TestingT, rule WorkRule, known calendar.Span, shifts ...WorkedShift) []WorkFinding {
	findings, err := CheckWork("T1", shifts, known, rule)
	require.NoError(t, err)
	return findings
}

func TestOutsideRestAcrossClockChanges(t *testing.T) {
	t.Parallel()
	const source = "IANA time zone database: New York changes clocks on 2026-03-08 and 2026-11-01, computed"
	// Ask for more rest than any of these nights gives, so that the finding states what was measured.
	rule := WorkRule{DailyRestMinutes: 20 * 60}
	for _, tt := range []struct{ name, first, second, want string }{
		{"19:00 to 06:00 across 2026-03-08", "2026-03-07 12:00 19:00", "2026-03-08 06:00 10:00", "10 h after the shift of 2026-03-07"},
		{"18:00 to 06:00 across 2026-03-08", "2026-03-07 12:00 18:00", "2026-03-08 06:00 10:00", "11 h after the shift of 2026-03-07"},
		{"18:00 to 06:00 across 2026-11-01", "2026-10-31 12:00 18:00", "2026-11-01 06:00 10:00", "13 h after the shift of 2026-10-31"},
		{"19:00 to 06:00 on another night", "2026-06-10 12:00 19:00", "2026-06-11 06:00 10:00", "11 h after the shift of 2026-06-10"},
	} {
		findings := check(t, rule, calendar.Span{}, on(t, testZone, tt.first, 0), on(t, testZone, tt.second, 0))
		require.NotEmpty(t, findings)
		require.Equal(t, "daily rest", findings[0].Rule)
		outside.Check(t, "rest "+tt.name, source, tt.want, findings[0].Measured)
	}
}

func TestOutsidePresets(t *testing.T) {
	t.Parallel()
	eu, uk, us := preset(t, "EU"), preset(t, "UK"), preset(t, "US")
	const directive = "Directive 2003/88/EC (arts 3, 4, 5, 6 read; art 16 from memory)"
	outside.Check(t, "EU daily rest in minutes", directive+" art 3: 11 h", 660, eu.DailyRestMinutes)
	outside.Check(t, "EU break after minutes", directive+" art 4: longer than 6 h", 360, eu.MealAfterMinutes)
	outside.Check(t, "EU weekly rest in minutes", directive+" art 5: 24 h and the 11 h", 2100, eu.WeeklyRestMinutes)
	outside.Check(t, "EU weekly work in minutes", directive+" art 6: 48 h on average", 2880, eu.WeeklyMinutes)
	const regulations = "Working Time Regulations 1998 regs 9-12"
	outside.Check(t, "UK daily rest in minutes", regulations+": 11 h", 660, uk.DailyRestMinutes)
	outside.Check(t, "UK break in minutes", regulations+": 20 min if longer than 6 h", 20, uk.MealMinutes)
	outside.Check(t, "UK break after minutes", regulations+": 20 min if longer than 6 h", 360, uk.MealAfterMinutes)
	outside.Check(t, "UK weekly rest in minutes", regulations+": 24 h in 7 days", 1440, uk.WeeklyRestMinutes)
	outside.Check(t, "UK weekly work in minutes", regulations+": 48 h over 17 weeks", 2880, uk.WeeklyMinutes)
	outside.Check(t, "US meal in minutes", "29 CFR 785.19: 30 minutes or more", 30, us.MealMinutes)
	for _, p := range WorkPresets() {
		require.Contains(t, p.Rule.Citation, "not legal advice")
		require.True(t, p.Rule.SiteID.IsZero())
	}
	require.Contains(t, WorkRulesCaution, "not legal advice")
}

func TestCheckWork(t *testing.T) {
	t.Parallel()
	week := func(t *testing.T, clocks string, meal int, days ...string) []WorkedShift {
		var shifts []WorkedShift
		for _, d := range days {
			shifts = append(shifts, on(t, testZone, d+" "+clocks, meal))
		}
		return shifts
	}
	weekdays := []string{"2027-03-01", "2027-03-02", "2027-03-03", "2027-03-04", "2027-03-05"}
	all := append(slices.Clone(weekdays), "2027-03-06", "2027-03-07")
	tests := []struct {
		name   string
		preset string
		shifts []WorkedShift
		want   []string
	}{
		{"five ordinary days", "EU", week(t, "08:00 16:30", 30, weekdays...), nil},
		{"no shifts", "EU", nil, nil},
		{"a short night", "EU", []WorkedShift{on(t, testZone, "2027-03-01 12:00 20:00", 30), on(t, testZone, "2027-03-02 06:30 12:00", 0)},
			[]string{"2027-03-02 daily rest: 10 h 30 min after the shift of 2027-03-01; at least 11 h"}},
		{"a day that leaves no rest in its 24 hours", "EU", []WorkedShift{on(t, testZone, "2027-03-01 07:00 20:30", 60)},
			[]string{"2027-03-01 daily rest: 10 h 30 min after the shift of 2027-03-01; at least 11 h"}},
		{"a shift of 24 hours", "UK", []WorkedShift{on(t, testZone, "2027-03-01 07:00 07:00", 60)},
			[]string{"2027-03-01 daily rest: 0 min after the shift of 2027-03-01; at least 11 h"}},
		{"two shifts of a day are one working day", "EU", []WorkedShift{on(t, testZone, "2027-03-01 07:00 11:00", 0), on(t, testZone, "2027-03-01 14:00 18:00", 0)}, nil},
		{"split day too long", "EU", []WorkedShift{on(t, testZone, "2027-03-01 06:00 09:00", 0), on(t, testZone, "2027-03-01 17:00 20:00", 0)},
			[]string{"2027-03-01 daily rest: 10 h after the shift of 2027-03-01; at least 11 h"}},
		{"past midnight", "UK", []WorkedShift{on(t, testZone, "2027-03-01 18:00 02:00", 30), on(t, testZone, "2027-03-02 12:00 18:00", 0)},
			[]string{"2027-03-02 daily rest: 10 h after the shift of 2027-03-01; at least 11 h"}},
		{"no break in more than six hours", "UK", []WorkedShift{on(t, testZone, "2027-03-01 08:00 14:01", 0)},
			[]string{"2027-03-01 meal break: 0 min in a shift of 6 h 1 min; at least 20 min in a shift longer than 6 h"}},
		{"six hours need none", "UK", []WorkedShift{on(t, testZone, "2027-03-01 08:00 14:00", 0)}, nil},
		{"six hours on the clock, seven in truth", "UK", []WorkedShift{on(t, testZone, "2026-11-01 00:30 06:30", 0)},
			[]string{"2026-11-01 meal break: 0 min in a shift of 7 h; at least 20 min in a shift longer than 6 h"}},
		{"short meal", "US", []WorkedShift{on(t, testZone, "2027-03-01 08:00 16:00", 20)},
			[]string{"2027-03-01 short meal is working time: 20 min; at least 30 min to be time off"}},
		{"no meal in the US", "US", []WorkedShift{on(t, testZone, "2027-03-01 08:00 20:00", 0)}, nil},
		{"48 hours", "UK", week(t, "08:00 18:06", 30, weekdays...), nil},
		{"more than 48 hours", "UK", week(t, "08:00 18:12", 30, weekdays...),
			[]string{"2027-03-05 weekly work: 48 h 30 min in week 2027-W09; at most 48 h"}},
		{"a meal too short to count", "UK", week(t, "08:00 18:00", 10, weekdays...),
			[]string{"2027-03-01 meal break: 10 min in a shift of 10 h; at least 20 min in a shift longer than 6 h",
				"2027-03-02 meal break: 10 min in a shift of 10 h; at least 20 min in a shift longer than 6 h",
				"2027-03-03 meal break: 10 min in a shift of 10 h; at least 20 min in a shift longer than 6 h",
				"2027-03-04 meal break: 10 min in a shift of 10 h; at least 20 min in a shift longer than 6 h",
				"2027-03-05 meal break: 10 min in a shift of 10 h; at least 20 min in a shift longer than 6 h",
				"2027-03-05 weekly work: 50 h in week 2027-W09; at most 48 h"}},
		{"seven days in a row", "UK", week(t, "08:00 14:00", 0, all...),
			[]string{"2027-03-07 weekly rest: 18 h at most in week 2027-W09; at least 24 h"}},
		{"overlap", "US", []WorkedShift{on(t, testZone, "2027-03-01 20:00 06:00", 30), on(t, testZone, "2027-03-02 05:00 09:00", 0)},
			[]string{"2027-03-02 one shift at a time: begins 1 h before the shift of 2027-03-01 ends; no overlap"}},
		{"a start that the clocks skip", "US", []WorkedShift{on(t, testZone, "2026-03-08 02:30 08:00", 0)},
			[]string{"2026-03-08 time that exists: 2026-03-08 02:30, skipped by the clocks; a time that the clocks show"}},
		{"an end that the clocks skip", "US", []WorkedShift{on(t, testZone, "2026-03-07 18:00 02:30", 0)},
			[]string{"2026-03-07 time that exists: 2026-03-08 02:30, skipped by the clocks; a time that the clocks show"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			rule := preset(t, tt.preset)
			findings := check(t, rule, calendar.Span{}, tt.shifts...)
			require.Equal(t, tt.want, lines(findings))
			for _, f := range findings {
				require.Equal(t, "T1", f.Trainer)
				require.Equal(t, rule.Citation, f.Citation)
				require.NotEmpty(t, f.Remedy)
			}
			for _, f := range check(t, WorkRule{}, calendar.Span{}, tt.shifts...) {
				require.Contains(t, []string{"one shift at a time", "time that exists"}, f.Rule, "0 turns every other rule off")
			}
		})
	}
}

func TestWeeklyRestAcrossWeeks(t *testing.T) {
	t.Parallel()
	rule := WorkRule{WeeklyRestMinutes: 35 * 60}
	shifts := func(days ...string) []WorkedShift {
		var out []WorkedShift
		for _, d := range days {
			out = append(out, on(t, "Europe/London", d+" 08:00 16:00", 30))
		}
		return out
	}
	span := func(from, to string) calendar.Span {
		return calendar.Span{From: calendar.MustDate(from), To: calendar.MustDate(to)}
	}
	// Off on Sunday only: from Saturday 16:00 to Monday 08:00 are 40 hours, of which 32 lie in the first week.
	sixDays := shifts("2027-03-01", "2027-03-02", "2027-03-03", "2027-03-04", "2027-03-05", "2027-03-06")
	require.Equal(t, []string{"2027-03-06 weekly rest: 32 h at most in week 2027-W09; at least 35 h"},
		lines(check(t, rule, calendar.Span{}, sixDays...)), "what follows is not known")
	require.Empty(t, check(t, rule, span("2027-03-01", "2027-03-15"), sixDays...), "known to be free in the week after")
	next := append(sixDays, shifts("2027-03-08", "2027-03-09", "2027-03-10", "2027-03-11", "2027-03-12", "2027-03-13")...)
	require.Empty(t, check(t, rule, span("2027-03-01", "2027-03-22"), next...), "each week has its Sunday")

	// Free on Sunday of the first week, then thirteen days in a row: the one rest serves one week.
	long := append(next, shifts("2027-03-14")...)
	require.Equal(t, []string{"2027-03-14 weekly rest: 16 h at most in week 2027-W10; at least 35 h"},
		lines(check(t, rule, span("2027-03-01", "2027-03-15"), long...)))
	// Free from Sunday through Tuesday: 88 hours serve both weeks.
	both := append(slices.Clone(sixDays), shifts("2027-03-10", "2027-03-11", "2027-03-12", "2027-03-13", "2027-03-14")...)
	require.Empty(t, check(t, rule, span("2027-03-01", "2027-03-15"), both...))
	// A week that is not known whole is not judged.
	require.Empty(t, check(t, rule, span("2027-03-02", "2027-03-08"), sixDays...))
	require.Empty(t, check(t, rule, span("2027-03-01", "2027-03-07"), sixDays...))
}

func TestCheckWorkRefuses(t *testing.T) {
	t.Parallel()
	good := on(t, testZone, "2027-03-01 08:00 16:00", 30)
	for name, change := range map[string]func(*WorkedShift){
		"time zone is missing": func(s *WorkedShift) { s.Zone = nil },
		"date is missing":      func(s *WorkedShift) { s.Day = calendar.Date{} },
		"use 00:00 to 23:59":   func(s *WorkedShift) { s.Ends = 1500 },
	} {
		s := good
		change(&s)
		_, err := CheckWork("T1", []WorkedShift{good, s}, calendar.Span{}, WorkRule{})
		require.ErrorContains(t, err, "check the shifts of T1")
		require.ErrorContains(t, err, name)
	}
}

// TestCheckWorkProperties draws shifts without overlap, and measures rest, length and weeks once more with plain loops.
func TestCheckWorkProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		zone := rapid.SampledFrom([]string{testZone, "Europe/London", "America/Phoenix"}).Draw(t, "zone")
		base := calendar.MustDate(rapid.SampledFrom([]string{"2026-03-02", "2026-10-26", "2026-03-23", "2026-06-01"}).Draw(t, "monday"))
		rule := WorkRule{
			DailyRestMinutes: 60 * rapid.IntRange(1, 13).Draw(t, "rest"), MealAfterMinutes: 60 * rapid.IntRange(1, 9).Draw(t, "after"),
			MealMinutes: rapid.IntRange(1, 60).Draw(t, "meal"), WeeklyMinutes: 60 * rapid.IntRange(1, 60).Draw(t, "weekly"),
		}
		var shifts []WorkedShift
		for i := range 14 {
			if rapid.Bool().Draw(t, "works") {
				// Between 03:00 and 23:00, so that no time is skipped and nothing overlaps.
				start := rapid.IntRange(180, 1000).Draw(t, "start")
				shifts = append(shifts, WorkedShift{Day: base.AddDays(i), Starts: calendar.Clock(start),
					Ends: calendar.Clock(start + rapid.IntRange(1, 380).Draw(t, "length")), MealMinutes: rapid.IntRange(0, 60).Draw(t, "break"), Zone: zoneOf(t, zone)})
			}
		}
		instant := func(d calendar.Date, c calendar.Clock) time.Time {
			at, err := calendar.At(d, c, zoneOf(t, zone))
			require.NoError(t, err)
			return at
		}
		want := map[string]int{}
		weekly := map[calendar.Date]time.Duration{}
		for i, s := range shifts {
			start, end := instant(s.Day, s.Starts), instant(s.Day, s.Ends)
			length := end.Sub(start)
			limit := start.Add(24 * time.Hour)
			if i+1 < len(shifts) {
				if next := instant(shifts[i+1].Day, shifts[i+1].Starts); next.Before(limit) {
					limit = next
				}
			}
			if limit.Sub(end) < time.Duration(rule.DailyRestMinutes)*time.Minute {
				want["daily rest"]++
			}
			if s.MealMinutes < rule.MealMinutes {
				if length > time.Duration(rule.MealAfterMinutes)*time.Minute {
					want["meal break"]++
				}
			} else {
				length = max(0, length-time.Duration(s.MealMinutes)*time.Minute)
			}
			week := base
			if s.Day.Sub(base) >= 7 {
				week = base.AddDays(7)
			}
			weekly[week] += length
		}
		for _, sum := range weekly {
			if sum > time.Duration(rule.WeeklyMinutes)*time.Minute {
				want["weekly work"]++
			}
		}
		got := map[string]int{}
		for _, f := range check(t, rule, calendar.Span{}, shifts...) {
			got[f.Rule]++
		}
		require.Equal(t, want, got)

		slices.Reverse(shifts)
		turned := check(t, rule, calendar.Span{}, shifts...)
		slices.Reverse(shifts)
		require.Equal(t, check(t, rule, calendar.Span{}, shifts...), turned, "the order of shifts does not matter")
	})
}
