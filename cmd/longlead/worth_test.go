package main

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protojson"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// TestReasonsAndWorthOnTheCommandLine reads what would have admitted a request that waits, what solving anew says of it, and what one
// more of each resource would be worth.
func TestReasonsAndWorthOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	must(t, "plan", "draft", "2027-03", "--iterations", "300", "--seconds", "60", db)
	var plan plannerv1.ReadPlanResponse
	require.NoError(t, protojson.Unmarshal([]byte(must(t, "plan", "show", "2027-03", "--json", db)), &plan))
	var wait *plannerv1.Wait
	for _, w := range plan.GetWaits() {
		if !w.GetHard() && w.GetDisplaced() != nil && len(w.GetChanges()) > 0 && len(w.GetDisplaced().GetGivenUp()) > 0 {
			wait = w
		}
	}
	require.NotNil(t, wait, "some request gave way")

	said := must(t, "plan", "explain", "2027-03", wait.GetRequestCode(), db)
	require.NotContains(t, said, "Solved anew")
	require.Contains(t, said, "giving up "+wait.GetDisplaced().GetGivenUp()[0])
	require.Contains(t, said, "Each of these would have admitted it")
	anew := must(t, "plan", "explain", "2027-03", wait.GetRequestCode(), "--seconds", "3", db)
	require.Contains(t, anew, "Solved anew")
	require.Contains(t, anew, "Taking it in costs the month between")
	require.Contains(t, anew, "The change gains between")

	worth := must(t, "plan", "worth", "2027-03", "--lines", "5", "--check", "1", "--seconds", "1", db)
	require.Contains(t, worth, "1 more")
	require.Contains(t, worth, "proven within")
	for _, line := range strings.Split(said+anew+worth, "\n") {
		if !strings.HasPrefix(line, " - ") {
			require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
		}
	}
	require.True(t, json.Valid([]byte(must(t, "plan", "worth", "2027-03", "--lines", "3", "--check", "0", "--json", db))))
	require.Equal(t, exitUsage, call(t, "plan", "worth", "2027-03", "--check", "11", db).code)
	require.Equal(t, exitUsage, call(t, "plan", "explain", "2027-03", wait.GetRequestCode(), "--seconds", "61", db).code)

	must(t, "plan", "publish", "2027-03", db)
	stale := call(t, "plan", "worth", "2027-03", db)
	require.Equal(t, exitRefused, stale.code)
	require.Contains(t, stale.err, "draft the month anew")
}
