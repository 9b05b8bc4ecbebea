package main

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestHandoversOnTheCommandLine takes one dog from the offer to a lesson, and another to a night more.
func TestHandoversOnTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	require.Contains(t, must(t, "handover", "list", "--site=FENN", "--from=2027-03-13", db), "longlead handover offer DOG --at TIME")
	none := call(t, "handover", "show", "D-021", db)
	require.Equal(t, exitRefused, none.code)
	require.Contains(t, none.err, "longlead handover offer D-021 --at TIME")

	said := must(t, "handover", "offer", "D-021", "--at=2027-03-13 10:00", "--or=2027-03-13 13:00", "--or=2027-03-13 15:00", "--area=quiet-1", db)
	requireNarrow(t, said)
	words := strings.Join(strings.Fields(said), " ")
	require.Contains(t, words, "Handover of D-021 Penny (F-021) at FENN: 2027-03-13 10:00 to 11:30 with HANA in quiet-1, main gate, waits for the owner.")
	require.Contains(t, words, "- 2027-03-13 13:00 to 14:30 with HANA in quiet-1, main gate")
	require.Contains(t, must(t, "handover", "confirm", "D-021", db), "confirmed.")
	require.Contains(t, must(t, "handover", "move", "D-021", "--at=2027-03-13 11:00", "--not-ready", "--why=needs the morning", db), "11:00 to 12:30")
	require.Contains(t, must(t, "handover", "late", "F-021", "--minutes=20", db), "About 20 minutes late.")
	clash := call(t, "handover", "offer", "D-020", "--at=2027-03-13 11:30", "--trainer=HANA", db)
	require.Equal(t, exitRefused, clash.code)
	require.Contains(t, clash.err, "the trainer has another appointment then")
	early := call(t, "handover", "held", "D-021", db)
	require.Equal(t, exitRefused, early.code)
	require.Contains(t, early.err, "has not begun yet")
	list := must(t, "handover", "list", "--site=FENN", "--from=2027-03-13", db)
	requireNarrow(t, list)
	require.Contains(t, list, "Times of America/Chicago.")
	var got struct{ Appointment struct{ State, Zone string } }
	require.NoError(t, json.Unmarshal([]byte(must(t, "handover", "show", "D-021", "--json", db)), &got))
	require.Equal(t, "late", got.Appointment.State)

	link := must(t, "handover", "link", "D-021", "--public-url=https://dogs.example.com/", db)
	require.Regexp(t, regexp.MustCompile(`(?m)^  https://dogs\.example\.com/handover/[a-z2-7]{52}$`), link)
	require.Contains(t, must(t, "handover", "link", "D-021", "--shut", db), "are shut")
	bad := call(t, "handover", "link", "D-021", "--public-url=dogs.example.com", db)
	require.Equal(t, exitUsage, bad.code)
	require.Contains(t, bad.err, "--public-url is no web address")
	require.Contains(t, must(t, "handover", "cancel", "D-021", "--why=the owner rang", db), "cancelled.")
	shown := must(t, "handover", "show", "D-021", db)
	requireNarrow(t, shown)
	require.Contains(t, strings.Join(strings.Fields(shown), " "), "needs the morning")

	// These lie before today, as no clock of a command line can be set.
	must(t, "handover", "offer", "D-021", "--at=2026-03-13 10:00", db)
	missed := must(t, "handover", "missed", "D-021", "--next=2027-03-14 10:00", "--keep-run", db)
	require.Contains(t, missed, "owner did not come.")
	require.Contains(t, missed, "2027-03-14 10:00 to 11:30")
	require.Contains(t, missed, "Done: F-021 stays until 2027-03-14")
	must(t, "handover", "offer", "D-020", "--at=2026-03-13 10:00", db)
	require.Contains(t, must(t, "handover", "missed", "D-020", db), "longlead mend extend D-020")
	must(t, "handover", "move", "D-020", "--at=2026-03-14 10:00", db)
	held := must(t, "handover", "held", "D-020", "--lesson=2027-04-10 10:00", "--note=went well", db)
	require.Contains(t, held, "Lesson of D-020")
	require.Contains(t, must(t, "handover", "lesson", "D-020", "--at=2027-04-24 10:00", "--minutes=30", db), "10:00 to 10:30")

	for _, wrong := range []struct{ args, says string }{{"handover offer", "<which>"}, {"handover cancel D-021", "--why"}, {"handover late D-021", "--minutes"}, {"handover list --site X", "--from"}} {
		r := call(t, strings.Fields(wrong.args)...)
		require.Equal(t, exitUsage, r.code, wrong.args)
		require.Contains(t, r.out+r.err, wrong.says)
	}
}
