package roster

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
)

func TestWorkWindowHoldsWholeWeeksAroundTheMonth(t *testing.T) {
	t.Parallel()
	for month, want := range map[string]string{
		"2027-02": "[2027-01-25,2027-03-08)", // Monday 1 to Sunday 28 February
		"2027-03": "[2027-02-22,2027-04-12)", // Monday 1 to Wednesday 31 March
		"2027-05": "[2027-04-19,2027-06-14)", // Saturday 1 to Monday 31 May
	} {
		require.Equal(t, want, workWindow(calendar.MustMonth(month)).String(), month)
	}
}

// workedDays makes working days of ana from lines like "2027-03-01 hill 08:00 16:00 30".
func workedDays(t *testing.T, lines ...string) []TrainerDay {
	t.Helper()
	var out []TrainerDay
	for _, line := range lines {
		var day, site, starts, ends string
		var meal int
		_, err := fmt.Sscan(line, &day, &site, &starts, &ends, &meal)
		require.NoError(t, err)
		out = append(out, TrainerDay{TrainerID: ana, SiteID: map[string]ids.SiteID{"hill": hill, "lake": lake}[site], Day: calendar.MustDate(day),
			Starts: calendar.MustClock(starts), Ends: calendar.MustClock(ends), Meal: meal})
	}
	return out
}

func TestCheckMonth(t *testing.T) {
	t.Parallel()
	sites := siteIndex{hill: {ID: hill, Code: "HILL", Zone: "America/Denver"}, lake: {ID: lake, Code: "LAKE", Zone: "America/Chicago"}}
	rest := func(site ids.SiteID, minutes int, from string) WorkRule {
		return WorkRule{SiteID: site, DailyRestMinutes: minutes, Citation: from}
	}
	meal := func(site ids.SiteID, from string) WorkRule {
		return WorkRule{SiteID: site, MealAfterMinutes: 360, MealMinutes: 30, Citation: from}
	}
	tests := []struct {
		name  string
		days  []string
		rules []WorkRule
		want  []string // day, rule, citation
	}{
		{"no rules, nothing to find", []string{"2027-03-01 hill 08:00 07:00 0", "2027-03-02 hill 08:00 07:00 0"}, nil, nil},
		{"a rule of a site that nobody works at", []string{"2027-03-01 hill 08:00 20:00 0"}, []WorkRule{meal(lake, "lake")}, nil},
		{"a short rest across the beginning of the month", []string{"2027-02-28 hill 14:00 22:00 0", "2027-03-01 hill 06:00 12:00 0"},
			[]WorkRule{rest(hill, 660, "hill")}, []string{"2027-03-01 daily rest hill"}},
		{"one across its end belongs to the next month", []string{"2027-03-31 hill 14:00 22:00 0", "2027-04-01 hill 06:00 12:00 0"},
			[]WorkRule{rest(hill, 660, "hill")}, nil},
		{"a meal is the matter of the site of that day", []string{"2027-03-01 hill 08:00 16:00 0", "2027-03-02 lake 08:00 16:00 0"},
			[]WorkRule{meal(hill, "hill")}, []string{"2027-03-01 meal break hill"}},
		{"each site brings its own rule", []string{"2027-03-01 hill 08:00 16:00 0", "2027-03-02 lake 08:00 16:00 0"},
			[]WorkRule{meal(lake, "lake"), meal(hill, "hill")}, []string{"2027-03-01 meal break hill", "2027-03-02 meal break lake"}},
		// 22:00 in Denver is 23:00 in Chicago: 10 h until 09:00 there, 11 h by the clocks on the walls.
		{"a rest between two sites is measured between instants", []string{"2027-03-01 hill 14:00 22:00 0", "2027-03-02 lake 09:00 16:00 0"},
			[]WorkRule{rest(hill, 660, "hill")}, []string{"2027-03-02 daily rest hill"}},
		{"and concerns the site of the day after as well", []string{"2027-03-01 hill 14:00 22:00 0", "2027-03-02 lake 09:00 16:00 0"},
			[]WorkRule{rest(lake, 660, "lake")}, []string{"2027-03-02 daily rest lake"}},
		{"one rule at both sites finds it once", []string{"2027-03-01 hill 14:00 22:00 0", "2027-03-02 lake 09:00 16:00 0"},
			[]WorkRule{rest(hill, 660, "house"), rest(lake, 660, "house")}, []string{"2027-03-02 daily rest house"}},
		{"a rest at another site later on is not the matter of this one",
			[]string{"2027-03-01 hill 08:00 12:00 0", "2027-03-08 lake 14:00 22:00 0", "2027-03-09 lake 06:00 16:00 0"},
			[]WorkRule{rest(hill, 660, "hill")}, nil},
		{"two shifts that overlap concern both sites", []string{"2027-03-01 hill 20:00 08:00 0", "2027-03-02 lake 06:00 12:00 0"},
			[]WorkRule{{SiteID: hill, Citation: "hill"}, {SiteID: lake, Citation: "lake"}}, []string{"2027-03-02 one shift at a time hill", "2027-03-02 one shift at a time lake"}},
		{"a time that the clocks skip is the matter of its site", []string{"2027-03-13 hill 08:00 12:00 0", "2027-03-14 lake 02:30 10:00 0"},
			[]WorkRule{{SiteID: hill, Citation: "hill"}, {SiteID: lake, Citation: "lake"}}, []string{"2027-03-14 time that exists lake"}},
		{"weekly work adds up across sites", []string{"2027-03-01 hill 08:00 18:00 0", "2027-03-02 hill 08:00 18:00 0", "2027-03-03 lake 08:00 18:00 0"},
			[]WorkRule{{SiteID: hill, WeeklyMinutes: 29 * 60, Citation: "hill"}}, []string{"2027-03-03 weekly work hill"}},
		{"weekly rest too", []string{"2027-03-01 hill 00:00 00:00 0", "2027-03-02 hill 00:00 00:00 0", "2027-03-03 hill 00:00 00:00 0", "2027-03-04 hill 00:00 00:00 0",
			"2027-03-05 hill 00:00 00:00 0", "2027-03-06 hill 00:00 00:00 0", "2027-03-07 lake 12:00 16:00 0"},
			[]WorkRule{{SiteID: hill, WeeklyRestMinutes: 2880 * 3, Citation: "hill"}}, nil}, // rests before and after the week are longer
		{"weekly rest of a month without a free day", everyDay("2027-02-22", 49),
			[]WorkRule{{SiteID: hill, WeeklyRestMinutes: 24 * 60, Citation: "hill"}},
			[]string{"2027-03-07 weekly rest hill", "2027-03-14 weekly rest hill", "2027-03-21 weekly rest hill", "2027-03-28 weekly rest hill"}},
		// Clocks in Denver jump from 02:00 to 03:00 on 14 March 2027: 22:00 to 08:30 is 9 h 30 min (IANA time zone database).
		{"the night of the clock change is an hour short", []string{"2027-03-13 hill 14:00 22:00 0", "2027-03-14 hill 08:30 12:00 0"},
			[]WorkRule{rest(hill, 600, "hill")}, []string{"2027-03-14 daily rest hill"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			found, err := checkMonth(calendar.MustMonth("2027-03"), []Trainer{{ID: ben, Code: "BEN"}, {ID: ana, Code: "ANA"}}, workedDays(t, tt.days...), tt.rules, sites)
			require.NoError(t, err)
			var got []string
			for _, f := range found {
				require.Equal(t, "ANA", f.Trainer)
				got = append(got, f.Day.String()+" "+f.Rule+" "+f.Citation)
			}
			require.Equal(t, tt.want, got)
		})
	}
}

// everyDay works 08:00 to 16:00 at hill on n days in a row.
func everyDay(first string, n int) []string {
	var lines []string
	for i := range n {
		lines = append(lines, calendar.MustDate(first).AddDays(i).String()+" hill 08:00 16:00 0")
	}
	return lines
}

func TestCheckMonthNeedsTheZones(t *testing.T) {
	t.Parallel()
	_, err := checkMonth(calendar.MustMonth("2027-03"), []Trainer{{ID: ana}}, workedDays(t, "2027-03-01 hill 08:00 16:00 0"), nil,
		siteIndex{hill: {ID: hill, Code: "HILL", Zone: "Mars/Dome"}})
	require.ErrorContains(t, err, "site HILL")
}
