package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestArrangeOnTheCommandLine looks at a month, places it, and looks again; then it sets when reminders go.
func TestArrangeOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	look := must(t, "handover", "arrange", "--site=DRUM", "--month=2027-03", "--preview", db)
	requireNarrow(t, look)
	require.Contains(t, look, "Nothing was placed")
	require.Contains(t, must(t, "handover", "list", "--site=DRUM", "--from=2027-03-01", "--to=2027-03-31", db), "has no appointment on these days")
	var placed, again struct{ Placed, Kept, Missing int }
	require.NoError(t, json.Unmarshal([]byte(must(t, "handover", "arrange", "--site=DRUM", "--month=2027-03", "--json", db)), &placed))
	require.Positive(t, placed.Placed)
	require.Zero(t, placed.Missing)
	require.NoError(t, json.Unmarshal([]byte(must(t, "handover", "arrange", "--site=DRUM", "--month=2027-03", "--json", db)), &again))
	require.Equal(t, placed.Placed, again.Kept)
	require.Contains(t, must(t, "handover", "arrange", "--site=DRUM", "--month=2027-01", db), "No dog is to graduate at DRUM in 2027-01")
	wrong := call(t, "handover", "arrange", "--site=DRUM", "--month=March", db)
	require.Equal(t, exitUsage, wrong.code)
	require.Contains(t, wrong.err, "write it like 2027-03")

	set := must(t, "handover", "remind", "--site=DRUM", "--letter=week-before", "--line=30 8 * * *", "--days=5", db)
	requireNarrow(t, set)
	require.Regexp(t, `DRUM\s+week-before\s+30 8 \* \* \*\s+5\s`, set)
	require.Regexp(t, `DRUM\s+arrival\s+off\s`, must(t, "handover", "remind", "--site=DRUM", "--letter=arrival", "--off", db))
	bad := call(t, "handover", "remind", "--site=DRUM", "--letter=week-before", "--line=30 25 * * *", db)
	require.Equal(t, exitUsage, bad.code)
	require.Contains(t, strings.Join(strings.Fields(bad.err), " "), `"30 25 * * *" is no cron line`)
	half := call(t, "handover", "remind", "--site=DRUM", "--letter=week-before", db)
	require.Equal(t, exitUsage, half.code)
	require.Contains(t, half.err, "needs --site, --letter and one of --line and --off")
}
