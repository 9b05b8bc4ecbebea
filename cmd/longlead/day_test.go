package main

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

func requireNarrow(t *testing.T, text string) {
	t.Helper()
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
	}
}

// TestDayInWords prints a day in which everything happens that can.
func TestDayInWords(t *testing.T) {
	t.Parallel()
	p := &dayplanv1.DayPlan{SiteCode: "HILL", Day: "2027-03-08", Zone: "America/Denver", Number: 2, Value: 900, Bound: 909, GapPercent: 1, Dogs: 3, Stale: true,
		Shifts: []*dayplanv1.Shift{{TrainerCode: "T-2", Starts: "08:00", Ends: "16:30"}, {TrainerCode: "T-1", Starts: "22:00", Ends: "24:00"}},
		Blocks: []*dayplanv1.Block{{DogCode: "D-1", DogName: "Bo", Session: 1, TrainerCode: "T-2", AreaCode: "hall", SkillCode: "HEEL", Starts: "09:20", Ends: "09:35"},
			{DogCode: "D-2", DogName: "Fly", Session: 1, TrainerCode: "T-2", OwnTrainer: true, SecondTrainerCode: "T-3", AreaCode: "yard", Starts: "08:40", Ends: "08:55"}},
		Rests:  []*dayplanv1.Rest{{TrainerCode: "T-2", Kind: "meal", Starts: "12:00", Ends: "12:30"}},
		Duties: []*dayplanv1.Duty{{DogCode: "D-3", Kind: "intake", Starts: "09:00", Ends: "10:00"}},
		Drops:  []*dayplanv1.Drop{{DogCode: "D-1", DogName: "Bo", Session: 2, SkillCode: "COME", Reason: strings.Repeat("a reason ", 20), Remedy: strings.Repeat("a remedy ", 12)}},
		Notes:  []string{"Look at the forecast."}}
	var out bytes.Buffer
	printDay(&out, &Options{}, p)
	text := out.String()
	requireNarrow(t, text)
	for _, line := range []string{"HILL, 2027-03-08 (America/Denver): plan 2", "3 dogs, 2 sessions held, 1 dropped; value 900, bound 909, gap 1.00 %", "has changed since",
		"T-1, 22:00 to 24:00", "T-2, 08:00 to 16:30", "09:20  09:35  D-1 Bo (covers)    hall  HEEL", "12:00  12:30  meal", "Nobody yet", "intake of D-3", "Not held:", "a remedy", "D-2 Fly, with T-3",
		"T-3\nfrom   to ", "08:40  08:55  second person for D-2 Fly, with T-2  yard", "- Look at the forecast."} {
		require.Contains(t, text, line)
	}
	require.Less(t, strings.Index(text, "08:40"), strings.Index(text, "09:20"), "by time")
	p.Number = 0
	out.Reset()
	printDay(&out, &Options{}, p)
	require.Contains(t, out.String(), "not kept; longlead day plan --site HILL --date 2027-03-08")
}

// TestRepairInWords prints what is otherwise, and nothing else.
func TestRepairInWords(t *testing.T) {
	t.Parallel()
	r := &dayplanv1.Repair{SiteCode: "HILL", Since: "10:00", Moved: 2, Dropped: 1, WithOthers: 1, Points: 140, Gap: 3, Seconds: 0.25, Plan: &dayplanv1.DayPlan{},
		Differences: []*dayplanv1.Difference{
			{Kind: dayplanv1.Difference_KIND_COVERED, DogCode: "D-1", DogName: "Bo", Session: 2, Before: "10:20 with T-1 in hall", After: "10:40 with T-2 in hall"},
			{Kind: dayplanv1.Difference_KIND_DROPPED, DogCode: "D-2", DogName: "Fly", Session: 1, Before: "11:00 with T-1 in hall", After: strings.Repeat("a reason ", 12), Remedy: strings.Repeat("a remedy ", 12)},
			{Kind: dayplanv1.Difference_KIND_DUTY, DogCode: "D-3", DogName: "Ada", Before: "handover at 15:00 with T-1", After: "handover at 15:00 with T-2"}},
		Notes: []string{"The records have changed."}}
	var out bytes.Buffer
	printRepair(&out, "HILL, 2027-03-08 without T-1 "+partOfDay("10:00", ""), repaired{Repair: r, covered: 1})
	text := out.String()
	requireNarrow(t, text)
	for _, line := range []string{"HILL, 2027-03-08 without T-1 from 10:00:\nWhat began before 10:00 stays.", "D-1 Bo   2        covered  10:20 with T-1 in hall", "what would help: a", "D-3 Ada           duty",
		"1 covered, 2 moved, 1 dropped; 1 more sessions", "140 points", "- The records have changed.", "Nothing was changed; --keep"} {
		require.Contains(t, text, line)
	}
	r.Differences, r.Plan.Number = nil, 2
	out.Reset()
	r.Since = "00:00"
	printRepair(&out, "HILL, 2027-03-08 without T-1 "+partOfDay("", ""), repaired{Repair: r})
	require.Contains(t, out.String(), "without T-1 all day:\nNothing is otherwise.")
	require.Contains(t, out.String(), "Kept as plan 2 of the day. The absence itself")
	out.Reset()
	printRepair(&out, "HILL, 2027-03-08 without hall "+partOfDay("08:00", "12:00"), repaired{Repair: r, condition: "the closure"})
	require.Contains(t, out.String(), "without hall 08:00 to 12:00:")
	require.Contains(t, out.String(), "Recorded: the closure. Kept as plan 2 of the day.")
}

// TestHoursOfAForecast reads what people type after --hour.
func TestHoursOfAForecast(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]*dayplanv1.ForecastHour{
		"14:00=97F/45":   {Hour: "14:00", TemperatureTenths: 970, Unit: "F", Humidity: 45},
		"9:00=36.1c/45%": {Hour: "09:00", TemperatureTenths: 361, Unit: "C", Humidity: 45},
		"23:00=-4C/100":  {Hour: "23:00", TemperatureTenths: -40, Unit: "C", Humidity: 100},
	} {
		got, err := parseHour(text)
		require.NoError(t, err, text)
		require.True(t, proto.Equal(want, got), "%s: %v", text, got)
	}
	for _, text := range []string{"", "14:00", "14:00=97/45", "14:00=97F", "14=97F/45", "14:00=97.25F/45", "14:00=97K/45", "14:00=97F/45/1"} {
		_, err := parseHour(text)
		require.ErrorContains(t, err, "--hour", text)
	}
}
