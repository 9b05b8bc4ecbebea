package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// logged is a session as --json prints it.
type logged struct {
	Session struct {
		ID         string
		TrainedAt  string `json:"trained_at"`
		Trials     int
		Successes  int
		DistanceCM int `json:"distance_cm"`
		Settled    *int
		Note       string
		ReplacesID string `json:"replaces_id"`
	}
}

func readLogged(t *testing.T, text string) logged {
	t.Helper()
	var l logged
	require.NoError(t, json.Unmarshal([]byte(text), &l), text)
	return l
}

// TestLoggingThroughTheCommandLine logs, sends again, corrects and lists.
func TestLoggingThroughTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	first := readLogged(t, must(t, "log", "D-001", "SIT-STAY", "8/10", "--hold", "1m30s", "--distance", "6", "--distraction", "1", "--settled", "2",
		"--note", "looked for the ball", "--trainer", "AMINA", "--json", db))
	require.Equal(t, 183, first.Session.DistanceCM, "six feet, rounded to the centimetre")
	require.Equal(t, 2, *first.Session.Settled)

	line := []string{"log", "D-001", "COME", "3/5", "--trainer=AMINA", "--key=0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f", "--at=2026-06-01T10:00:00-06:00", db}
	said := must(t, line...)
	require.Contains(t, said, "Logged: D-001 with AMINA on 2026-06-01, COME 3/5, quiet.")
	require.Equal(t, said, must(t, line...), "sent twice, kept once, answered alike")
	require.Equal(t, 2, strings.Count(must(t, "log", "list", "D-001", db), "AMINA"))
	line[3] = "4/5"
	other := call(t, line...)
	require.Equal(t, exitRefused, other.code)
	require.Contains(t, other.err, "says something else")
	require.NotContains(t, other.err, "rpc error")
	require.NotContains(t, other.err, "Send the same line again", "it was refused for what it says")

	corrected := readLogged(t, must(t, "log", "correct", first.Session.ID, "9/10", "--json", db))
	require.Equal(t, first.Session.ID, corrected.Session.ReplacesID)
	require.Equal(t, 9, corrected.Session.Successes)
	first.Session.ID, first.Session.Successes, first.Session.ReplacesID = corrected.Session.ID, 9, corrected.Session.ReplacesID
	require.Equal(t, first, corrected, "what the line leaves out stays")
	again := call(t, "log", "correct", corrected.Session.ReplacesID, "7/10", db)
	require.Equal(t, exitRefused, again.code)
	require.Contains(t, again.err, corrected.Session.ID+" counts now")

	list := must(t, "log", "list", "D-001", "--history", db)
	require.Contains(t, list, "does not count: corrected by "+corrected.Session.ID)
	require.Equal(t, 3, strings.Count(list, "AMINA"))
	require.NotContains(t, must(t, "log", "list", "D-001", "--from", "2026-06-01", "--to", "2026-06-01", db), "SIT-STAY")
	require.Contains(t, must(t, "log", "list", "D-100", db), "longlead log D-100 SKILL 8/10")
	require.Contains(t, must(t, "log", "skills", "FIELD21", db), "100 ft away")
}

func TestLogLinesThatMakeNoSense(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"log", exitUsage, "<dog>"},
		{"log D-001 COME", exitUsage, "<score>"},
		{"log D-001 COME 11/10", exitUsage, "more trials passed than made"},
		{"log D-001 COME eight", exitUsage, "such as 8/10"},
		{"log D-001 COME 8/10 --hold=-1", exitUsage, "no time to hold"},
		{"log D-001 COME 8/10 --distance=far", exitUsage, "no distance"},
		{"log D-001 COME 8/10 --distraction=4", exitUsage, "write 0, 1, 2 or 3"},
		{"log D-001 COME 8/10 --trainer=AMINA --hold=9999", exitUsage, "hold_seconds must be 0 to 3600"},
		{"log D-001 COME 8/10 --trainer=AMINA --key=7", exitUsage, "make a new UUID"},
		{"log D-001 COME 8/10 --trainer=NOBODY", exitRefused, "longlead export trainers"},
		{"log D-001 come 8/10 --trainer=AMINA", exitRefused, "the skills are HEEL"},
		{"log D-999 COME 8/10 --trainer=AMINA", exitRefused, "longlead export dogs"},
		{"log D-001 COME 8/10 --trainer=AMINA --at=2001-01-01T00:00:00Z", exitUsage, "before the dog D-001 was born"},
		{"log D-001 COME 8/10 --trainer=AMINA --at=2999-01-01T00:00:00Z", exitUsage, "more than 24 hours ahead"},
		{"log list D-999", exitRefused, "longlead export dogs"},
		{"log list D-001 --from=2027-03-09 --to=2027-03-08", exitUsage, "must not be before the first day"},
		{"log correct 0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f 1/2", exitRefused, "there is no session"},
		{"log skills UNICORNS", exitRefused, "longlead export programs"},
	} {
		t.Run(c.args, func(t *testing.T) {
			t.Parallel()
			r := call(t, append(strings.Fields(c.args), db)...)
			require.Equal(t, c.code, r.code, r.out+r.err)
			require.Contains(t, r.out+r.err, c.says)
			require.NotContains(t, r.err, "rpc error")
		})
	}
}

// TestAFailedLineSaysHowToSendItAgain takes the words of a failure and sends the line with them to a server that answers.
func TestAFailedLineSaysHowToSendItAgain(t *testing.T) {
	t.Parallel()
	token := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(token, []byte("x"), 0o600))
	line := []string{"log", "D-001", "COME", "3/5", "--trainer=AMINA"}
	r := call(t, append(line, "--server=127.0.0.1:1", "--token-file="+token)...)
	require.Equal(t, exitUnavailable, r.code, r.err)
	_, after, found := strings.Cut(r.err, "Send the same line again with ")
	require.True(t, found, r.err)
	again, _, _ := strings.Cut(after, ": ")
	require.Len(t, strings.Fields(again), 2, again)

	db := database(t)
	must(t, "import", db, scenarioDir)
	line = append(append(line, strings.Fields(again)...), db)
	require.Equal(t, must(t, line...), must(t, line...))
	require.Equal(t, 1, strings.Count(must(t, "log", "list", "D-001", db), "AMINA"))
}

func TestLogArguments(t *testing.T) {
	t.Parallel()
	for written, cm := range map[string]int{"6": 183, "6ft": 183, "6 ft": 183, "2m": 200, "1.5m": 150, "150cm": 150, "0": 0, "0.5": 15} {
		var d distanceArg
		require.NoError(t, d.UnmarshalText([]byte(written)), written)
		require.EqualValues(t, cm, d, written)
	}
	for _, written := range []string{"", "-1", "ft", "1e3", "NaN", "Inf", "1.2.3", "99999999999999", "6 miles", "0x10"} {
		require.Error(t, new(distanceArg).UnmarshalText([]byte(written)), written)
	}
	for written, seconds := range map[string]int{"0": 0, "60": 60, "1m30s": 90, "5m": 300} {
		var h holdArg
		require.NoError(t, h.UnmarshalText([]byte(written)), written)
		require.EqualValues(t, seconds, h, written)
	}
	for _, written := range []string{"", "-1", "-1s", "1.5s", "90 s", "99999", "1000h"} {
		require.Error(t, new(holdArg).UnmarshalText([]byte(written)), written)
	}
	for tenth := range 500 { // what is written in feet to the tenth is read back alike
		written := distanceWords(int32(tenthsOfFeet(t, tenth)))
		if tenth > 0 {
			require.Equal(t, strings.TrimSuffix(fmt.Sprintf("%d.%d", tenth/10, tenth%10), ".0")+" ft", written)
		}
	}
	require.Equal(t, "45 s", holdWords(45))
	require.Equal(t, "3:00 min", holdWords(180))
}

func tenthsOfFeet(t *testing.T, tenth int) distanceArg {
	t.Helper()
	var d distanceArg
	require.NoError(t, d.UnmarshalText([]byte(fmt.Sprintf("%d.%d", tenth/10, tenth%10))))
	return d
}

// FuzzScore: what is read is a possible score, and it is written back as it was but for leading zeros.
func FuzzScore(f *testing.F) {
	for _, s := range []string{"8/10", "0/0", "10/8", "/", "8/", "/10", "-1/2", "+1/2", "1/2/3", " 8/10", "８/１０", "00008/10", "9999/9999", "8\\10", "8/1e1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, written string) {
		var s scoreArg
		if err := s.UnmarshalText([]byte(written)); err != nil {
			require.Equal(t, scoreArg{}, s, "a bad score leaves nothing behind")
			return
		}
		require.GreaterOrEqual(t, s.passed, int32(0))
		require.LessOrEqual(t, s.passed, s.trials)
		passed, trials, _ := strings.Cut(written, "/")
		require.Equal(t, fmt.Sprintf("%04s/%04s", passed, trials), fmt.Sprintf("%04d/%04d", s.passed, s.trials))
	})
}
