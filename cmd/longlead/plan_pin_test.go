package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// TestPinsOnTheCommandLine previews a pin, makes it with the command that the preview printed, drafts anew and takes it away.
func TestPinsOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	must(t, "plan", "draft", "2027-03", "--iterations", "100", "--seconds", "60", db)
	var plan plannerv1.ReadPlanResponse
	require.NoError(t, protojson.Unmarshal([]byte(must(t, "plan", "show", "2027-03", "--json", db)), &plan))
	var held *plannerv1.Placement
	for _, p := range plan.GetPlacements() {
		if p.GetStanding() == "new" {
			held = p
		}
	}
	require.Contains(t, must(t, "plan", "pins", "2027-03", db), "No request is pinned")
	pin := []string{"plan", "pin", "2027-03", held.GetRequestCode(), "--site", held.GetSiteCode(), "--arrival", held.GetArrival(), "--class", strings.ToLower(held.GetRunClass()), "--trainer", held.GetTrainerCode()}
	require.Equal(t, exitUsage, call(t, append(pin, db)...).code)
	require.Equal(t, exitUsage, call(t, append(pin, "--preview", "--commit", "x", db)...).code)
	said := must(t, append(pin, "--preview", "--seconds", "1", db)...)
	require.Contains(t, prose(said), held.GetRequestCode()+" would be placed: "+held.GetSiteCode())
	require.Contains(t, prose(said), "The smallest step from this plan costs 0 points")
	for _, line := range strings.Split(said, "\n") {
		if !strings.Contains(line, "longlead plan pin") {
			require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
		}
	}
	at := strings.Index(said, "--commit ")
	require.Positive(t, at, said)
	fingerprint := strings.Fields(said[at:])[1]
	require.Contains(t, prose(must(t, append(pin, "--commit", fingerprint, "--note", "the owner works", db)...)), "drafts place it nowhere else")
	require.Equal(t, exitRefused, call(t, append(pin, "--commit", fingerprint, db)...).code, "it is pinned already")
	pins := must(t, "plan", "pins", "2027-03", db)
	require.Contains(t, pins, held.GetRequestCode())
	require.Contains(t, pins, "the owner works")
	require.Equal(t, exitRefused, call(t, "plan", "publish", "2027-03", db).code, "the draft knows nothing of the pin")

	must(t, "plan", "draft", "2027-03", "--iterations", "100", "--seconds", "60", db)
	require.Contains(t, prose(must(t, "plan", "explain", "2027-03", held.GetRequestCode(), db)), "pinned by a person")
	require.Contains(t, prose(must(t, "plan", "wish", "2027-03", held.GetRequestCode(), "--from", "2027-03-01", "--to", "2027-03-31", "--seconds", "1", db)), "proven to lie between")
	require.Contains(t, prose(must(t, "plan", "unpin", held.GetRequestCode(), db)), "is pinned no more")
	require.NotContains(t, must(t, "plan", "pins", "2027-03", db), held.GetDogName())
	require.Contains(t, must(t, "plan", "pins", "2027-03", "--ended", db), held.GetDogName())
	require.Contains(t, prose(must(t, "plan", "finish", "2027-03", db)), "done already")
}

// prose undoes the breaking of lines, which depends on how long names and numbers are.
func prose(said string) string { return strings.Join(strings.Fields(said), " ") }
