package main

import (
	"bytes"
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// fingerprintIn finds what a preview says to commit.
var fingerprintIn = regexp.MustCompile(`--commit ([0-9a-f]{16})`)

// TestMendingThroughTheCommandLine extends a stay and isolates a dog: looking changes nothing, what was shown is done once, and a line that
// rests on what has changed is refused.
func TestMendingThroughTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	said := must(t, "mend", "extend", "D-021", db)
	require.Contains(t, said, "D-021 Penny: FENN run B1 with HANA, 2027-02-20 to 2027-03-13, in residence")
	require.Contains(t, said, "Good Friday")
	require.Contains(t, said, "longlead mend extend D-021 --to 2027-03-14")
	requireNarrow(t, said)
	one := must(t, "mend", "extend", "D-021", "--to=2027-03-15", db)
	requireNarrow(t, one)
	fingerprint := fingerprintIn.FindStringSubmatch(one)[1]
	isolation := must(t, "mend", "isolate", "D-021", "--from=2027-03-05", "--hold=row", "--hold-days=5", "--days=10", "--move-runs", "--run=Z2", db)
	requireNarrow(t, isolation[:strings.Index(isolation, "longlead mend isolate")]) // a line to copy may be longer
	require.Contains(t, isolation, "Isolation run Z2 from 2027-03-05; it may come out on 2027-03-15 if a veterinarian agrees.")
	require.Contains(t, isolation, "mend isolate D-021 --from 2027-03-05 --run Z2 --hold row --days 10 --hold-days 5 --move-runs --commit")
	require.Contains(t, isolation, "This is no veterinary advice")
	require.Equal(t, one, must(t, "mend", "extend", "D-021", "--to=2027-03-15", db), "looking changed nothing")

	commit := []string{"mend", "extend", "D-021", "--to=2027-03-15", "--commit=" + fingerprint, "--why=recall is not there yet", db}
	require.Contains(t, must(t, commit...), "Done: F-021 stays until 2027-03-15")
	again := call(t, commit...)
	require.Equal(t, exitRefused, again.code)
	require.Contains(t, again.err, "promised until 2027-03-15")
	stale := call(t, "mend", "isolate", "D-021", "--from=2027-03-05", "--hold=row", "--hold-days=5", "--days=10", "--move-runs", "--run=Z2", "--commit="+fingerprintIn.FindStringSubmatch(isolation)[1], db)
	require.Equal(t, exitRefused, stale.code)
	require.Contains(t, stale.err, "preview it again")

	fresh := must(t, "mend", "isolate", "D-021", "--from=2027-03-05", "--suspected=distemper", db)
	require.Contains(t, must(t, "mend", "isolate", "D-021", "--from=2027-03-05", "--suspected=distemper", "--why=coughs", "--commit="+fingerprintIn.FindStringSubmatch(fresh)[1], db), "Done.")
	list := must(t, "mend", "list", "--site=FENN", "--date=2027-03-06", db)
	requireNarrow(t, list)
	require.Contains(t, list, "FENN, 2027-03-06: 1 isolated,")
	require.Contains(t, list, "Intake hold of row B from 2027-03-05, until 2027-03-19, because of D-021.")
	require.Contains(t, must(t, "mend", "release", "D-021", "--on=2027-03-10", "--why=the veterinarian says so", "--lift", db), "Done: D-021 is out of run Z1 on 2027-03-10.")
	require.Contains(t, must(t, "mend", "list", "--site=FENN", "--date=2027-03-10", db), "0 isolated, 0 watched, 0 intake holds")
	history := must(t, "mend", "history", "D-021", db)
	requireNarrow(t, history)
	for _, part := range []string{"is not there yet", "out of isolation on 2027-03-10", "isolated in run Z1"} {
		require.Contains(t, strings.Join(strings.Fields(history), " "), part)
	}
	require.Equal(t, exitUsage, call(t, "mend", "extend", "D-021", "--commit=x", db).code)
	for _, args := range [][]string{{"mend", "extend", "D-021", db}, {"mend", "isolate", "D-020", "--from=2027-03-05", db}, {"mend", "list", "--site=FENN", "--date=2027-03-06", db}, {"mend", "history", "D-021", db}} {
		require.True(t, json.Valid([]byte(must(t, append(args, "--json")...))), args)
	}
}

// TestMendingInWords prints what happens seldom: stays that move, an owner who notices, minutes and handovers beyond what there are.
func TestMendingInWords(t *testing.T) {
	t.Parallel()
	stay := &plannerv1.Stay{RequestCode: "R-1", SiteCode: "HILL", RunCode: "B1", TrainerCode: "T-1", Arrival: "2027-03-01", Graduation: "2027-03-15", State: "confirmed"}
	moves := []*plannerv1.RunMove{{RequestCode: "R-2", DogCode: "D-2", DogName: "Fly", Arrival: "2027-03-16", Graduation: "2027-03-30", FromRun: "B1", ToRun: "A3",
		OwnerSees: "a smaller run, class S instead of M; the dog fits"}, {RequestCode: "R-3", DogCode: "D-3", DogName: "Ada", FromRun: "B2", ToRun: "B4"}}
	e := &plannerv1.Extension{Graduation: "2027-03-20", AddedNights: 5, RunMoves: moves, OverMinutesTotal: 30, HandoverPlaces: 3, Handovers: 4, Fingerprint: "00ff00ff00ff00ff",
		OverMinutes: []*plannerv1.OverMinutes{{Day: "2027-03-16", TrainerCode: "T-1", Minutes: 20}, {Day: "2027-03-17", Minutes: 10}}, Notes: []string{"Agree it with the owner."}}
	var out bytes.Buffer
	printExtensions(&out, &Options{}, &plannerv1.PreviewExtensionResponse{Stay: stay, DogCode: "D-1", DogName: "Bo", Choices: []*plannerv1.Extension{e},
		Refused: []*plannerv1.RefusedDays{{FirstDay: "2027-03-16", LastDay: "2027-03-18", Reason: strings.Repeat("a reason ", 12), Remedy: strings.Repeat("a remedy ", 9)}}}, true)
	text := out.String()
	requireNarrow(t, text)
	for _, part := range []string{"R-2, R-3", "4 of 3", "a smaller run, class S", "nothing", "all trainers of the site together", "2027-03-16 to 2027-03-18", "- Agree it",
		"mend extend D-1 --to 2027-03-20 --commit 00ff00ff00ff00ff"} {
		require.Contains(t, text, part)
	}
	out.Reset()
	printIsolation(&out, &plannerv1.IsolationPlan{Stay: stay, DogCode: "D-1", DogName: "Bo", RunCode: "Z1", From: "2027-03-05", OutOn: "2027-03-19", Suspected: "distemper",
		HoldFrom: "2027-03-05", HoldUntil: "2027-03-19", RulesNote: "our veterinarian", RunMoves: moves, Arrivals: []*plannerv1.HeldArrival{
			{RequestCode: "R-2", DogCode: "D-2", DogName: "Fly", Arrival: "2027-03-16", RunCode: "B1", State: "confirmed", OtherRun: moves[0]},
			{RequestCode: "R-4", DogCode: "D-4", DogName: "Moss", Arrival: "2027-03-17", RunCode: "B5", State: "published", LaterArrivals: []string{"2027-03-20", "2027-03-21", "2027-03-22"}}}})
	text = out.String()
	requireNarrow(t, text)
	for _, part := range []string{"Suspected: distemper.", "No dog is known to have been near it", "Intake hold of the site", "none in its window", "A3", "2027-03-20", "Days: our veterinarian."} {
		require.Contains(t, text, part)
	}
	out.Reset()
	printHistory(&out, &plannerv1.ReadStayHistoryResponse{})
	require.Contains(t, out.String(), "Nothing was ever promised")
}
