package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// TestReadyThroughTheCommandLine looks at the invented school.
func TestReadyThroughTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	list := must(t, "ready", "--site", "DRUM", "--date", "2027-02-22", db)
	requireNarrow(t, list)
	require.Contains(t, list, "DRUM, 2027-02-22: ")
	require.Contains(t, list, "longlead ready DOG --date 2027-02-22")
	require.Contains(t, list, "the trainer and the manager decide")
	all := must(t, "ready", "--date", "2027-02-22", db)
	requireNarrow(t, all)
	require.Greater(t, strings.Count(all, "\n"), strings.Count(list, "\n"))
	dog := must(t, "ready", "D-013", "--date", "2027-02-22", db)
	requireNarrow(t, dog)
	for _, words := range []string{"D-013", "Chance of meeting all targets: ", "SIT-STAY", "Why:"} {
		require.Contains(t, dog, words)
	}
	var got struct {
		Readiness struct {
			DogCode string `json:"dog_code"`
			Skills  []any
		}
	}
	require.NoError(t, json.Unmarshal([]byte(must(t, "ready", "D-013", "--date", "2027-02-22", "--json", db)), &got))
	require.Equal(t, "D-013", got.Readiness.DogCode)
	require.NotEmpty(t, got.Readiness.Skills)
	require.True(t, json.Valid([]byte(must(t, "ready", "--date", "2027-02-22", "--json", db))))
	require.Contains(t, must(t, "ready", "--site", "DRUM", "--date", "2029-02-22", db), "No dog is there")

	for _, args := range [][]string{{"ready", db}, {"ready", "D-013", "--site", "DRUM", "--date", "2027-02-22", db}, {"ready", "--calibrate", "-1"}} {
		require.Equal(t, exitUsage, call(t, args...).code, args)
	}
	pace := must(t, "ready", "pace", "HOME21", "--date", "2027-02-22", db)
	requireNarrow(t, pace)
	require.Contains(t, pace, "In use is the built-in default, which is invented. Nothing was changed")
	require.Contains(t, dog, "is the built-in default")
	require.Contains(t, must(t, "ready", "pace", "HOME21", "--date", "2027-02-22", "--keep", db), "The measured pace is in use from now on: measured on ")
	require.Contains(t, must(t, "ready", "pace", "HOME21", "--date", "2027-02-22", db), "In use is what ")
	require.NotContains(t, must(t, "ready", "D-059", "--date", "2027-02-22", db), "is the built-in default")
	require.True(t, json.Valid([]byte(must(t, "ready", "pace", "HOME21", "--date", "2027-02-22", "--json", db))))
	nothing := call(t, "ready", "pace", "HOME21", "--date", "2025-02-22", "--keep", db)
	require.Equal(t, exitRefused, nothing.code)
	require.Contains(t, nothing.err, "nothing is logged of HOME21")
	require.Contains(t, must(t, "ready", "minutes", "D-013", "--date", "2027-02-22", db), "--accept")
	require.Contains(t, must(t, "ready", "minutes", "D-013", "--date", "2027-02-22", "--accept", "--json", db), "suggested")
	require.Contains(t, must(t, "ready", "minutes", "D-013", "--date", "2027-02-22", db), "suggests no other handling minutes")
	require.Contains(t, must(t, "export", "workload-overrides", "--to", "-", db), "D-013")
	require.Equal(t, exitRefused, call(t, "ready", "minutes", "D-013", "--date", "2027-02-22", "--accept", db).code, "it was taken over already")
	gone := call(t, "ready", "D-013", "--date", "2029-02-22", db)
	require.Equal(t, exitRefused, gone.code)
	require.Contains(t, gone.err, "D-013 is at no site on 2029-02-22")
}

// TestCalibrationTable: the table needs no database, and the same seed gives the same.
func TestCalibrationTable(t *testing.T) {
	t.Parallel()
	said := must(t, "ready", "--calibrate", "200", "--seed", "3")
	require.Equal(t, said, must(t, "ready", "--calibrate", "200", "--seed", "3"))
	require.NotEqual(t, said, must(t, "ready", "--calibrate", "200", "--seed", "4"))
	require.Contains(t, said, "70 to 80")
	require.Contains(t, said, "The dogs are simulated")
	requireNarrow(t, said)
	require.True(t, json.Valid([]byte(must(t, "ready", "--calibrate", "200", "--json"))))
}

// TestReadyInWords prints a dog of which everything is known that can be.
func TestReadyInWords(t *testing.T) {
	t.Parallel()
	level := int32(1)
	long := strings.Repeat("a long reason ", 20)
	r := &readinessv1.Readiness{DogCode: "D-1", DogName: "Bo", RequestCode: "F-1", ProgramCode: "CALM28", SiteCode: "HILL", TrainerCode: "ANA", Arrival: "2027-03-01",
		Graduation: "2027-03-29", Flag: readinessv1.Flag_FLAG_AT_RISK, All: &readinessv1.Chance{Mean: .416, Low: .1, High: .804}, AtMost: .6, Targets: 1, TargetsExpected: .5, DaysLeft: 9, SessionsLeft: 20, Sessions: 12,
		Skills: []*readinessv1.Skill{
			{Code: "SIT-STAY", Target: &readinessv1.Target{TrialsPercent: 85, HoldSeconds: 180, DistanceCm: 183, Distraction: 2}, Sessions: 7,
				All: &readinessv1.Trials{Trials: 70, Successes: 35, LowPercent: 38, HighPercent: 62}, AtLevel: &readinessv1.Trials{Trials: 10, Successes: 2}, LongestHoldSeconds: 95, HoldPercent: 52,
				DistanceCm: 183, Distraction: &level, Further: 10, Both: &readinessv1.Chance{Mean: .5, Low: .2, High: .8}},
			{Code: "COME", All: &readinessv1.Trials{Trials: 5, Successes: 1, LowPercent: 3, HighPercent: 63}}},
		Reasons: []string{"élan: " + long}, Warnings: []string{long}, Minutes: &readinessv1.Minutes{Text: "its pace suggests more"},
		Proposals: []*readinessv1.Proposal{{Text: "2 training days longer", Graduation: "2027-04-02"}}}
	var out bytes.Buffer
	printReadyDog(&out, &Options{}, "2027-03-10", &readinessv1.GetReadinessResponse{Readiness: r, Caution: "People decide.", Assumes: "Much."})
	text := out.String()
	requireNarrow(t, text)
	for _, words := range []string{"D-1 Bo (F-1) on 2027-03-10: at risk", "Chance of meeting all targets: 42 % (10 to 80), at most 60 %; 0.5 of 1 targets are met on average", "85 %, 3:00 min", "lively, 6 ft", "35/70", "38 to 62",
		"2/10", "1:35 min", "52 % of it", "mild", "50 % (20 to 80)", "not asked for", "- Élan: a long", "by ANA's roster that is graduation on 2027-04-02: longlead mend extend", "Its pace suggests more",
		"What could be done; the manager chooses:", "People decide.", "Much."} {
		require.Contains(t, text, words)
	}
	list := &readinessv1.ListReadinessResponse{Dogs: []*readinessv1.Readiness{r}, AtRisk: 1, Caution: "People decide."}
	r.DogName, r.All = "Bartholomew the Third", &readinessv1.Chance{Mean: 1, Low: .995, High: 1}
	out.Reset()
	printReadyList(&out, &Options{}, &readyShowCmd{Date: "2027-03-10"}, list)
	requireNarrow(t, out.String())
	require.Contains(t, out.String(), "All sites, 2027-03-10: 1 at risk, 0 with too few data, 0 without targets, 0 on course")
	require.Contains(t, out.String(), "100 % (100 to 100)")
	require.Contains(t, out.String(), "SIT-STAY 50 %")
	require.Contains(t, out.String(), "0.5/1")
	require.Equal(t, "under 1 % (0 to 20)", chanceWords(&readinessv1.Chance{Mean: .0001, High: .2}))
	require.Equal(t, "0 % (0 to 20)", chanceWords(&readinessv1.Chance{High: .2}))
	require.NotContains(t, out.String(), "the Third")
}
