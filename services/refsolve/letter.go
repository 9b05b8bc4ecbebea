package refsolve

import (
	"bytes"
	"context"
	"crypto/rsa"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve/venv"
)

//go:embed letter.py
var letterScript []byte

//go:embed calendar.cjs
var calendarJS []byte

// LetterEvent is an event of a calendar part, with its method. Starts and Ends are in UTC, written 2027-03-14T15:04:05Z.
type LetterEvent struct {
	Method       string `json:"method"`
	UID          string `json:"uid"`
	Sequence     int    `json:"sequence"`
	Status       string `json:"status"`
	Starts       string `json:"starts"`
	Ends         string `json:"ends"`
	Summary      string `json:"summary"`
	Location     string `json:"location"`
	Description  string `json:"description"`
	Organizer    string `json:"organizer"`
	Attendee     string `json:"attendee"`
	AttendeeName string `json:"attendee_name"`
}

// LetterPart is a part of a message that has no parts itself.
type LetterPart struct {
	Type    string `json:"type"`
	Charset string `json:"charset"`
	Method  string `json:"method"`
	Text    string `json:"text"`
}

// Letter is a message as Python's email package reads it.
type Letter struct {
	From      string        `json:"from"`
	To        string        `json:"to"`
	Subject   string        `json:"subject"`
	MessageID string        `json:"message_id"`
	Date      string        `json:"date"`
	Headers   []string      `json:"headers"`
	Type      string        `json:"type"`
	Parts     []LetterPart  `json:"parts"`
	Defects   []string      `json:"defects"`
	Events    []LetterEvent `json:"events"`
	// Signed says that the first DKIM signature holds, by a reckoning of its own in Python.
	Signed bool `json:"signed"`
}

// ReadLetters reads messages with Python's email package and the library icalendar, and returns them with the versions for the source of an outside
// check. key is the public key of their signatures; nil for none. A missing library is treated as HeatIndex does.
func ReadLetters(t testing.TB, messages [][]byte, key *rsa.PublicKey) (letters []Letter, version string) {
	t.Helper()
	question := map[string]any{"messages": messages, "key": nil} // encoding/json writes bytes in base64
	if key != nil {
		question["key"] = map[string]string{"modulus": key.N.String(), "exponent": fmt.Sprint(key.E)}
	}
	var answer struct {
		Version string
		Letters []Letter
	}
	ask(t, letterScript, question, &answer)
	return answer.Letters, answer.Version
}

// ReadCalendarsInJavaScript reads calendars with the library ical.js. Where it is not installed the test fails and says what to run, or is skipped
// when the browser's tests, with which it is installed, are left out on purpose.
func ReadCalendarsInJavaScript(t testing.TB, calendars []string) (events [][]LetterEvent, version string) {
	t.Helper()
	library, err := venv.CalendarLibrary()
	if errors.Is(err, venv.ErrNoBrowser) {
		t.Skip(err)
	}
	require.NoError(t, err)
	node, err := exec.LookPath("node")
	require.NoError(t, err, "node, which comes with npm, has to be on the PATH")
	program := filepath.Join(t.TempDir(), "calendar.cjs")
	require.NoError(t, os.WriteFile(program, calendarJS, 0o644))
	question, err := json.Marshal(map[string]any{"library": library, "calendars": calendars})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), grace)
	defer cancel()
	cmd := exec.CommandContext(ctx, node, program)
	var said bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(question), &said
	printed, err := cmd.Output()
	require.NoError(t, err, "run ical.js: %s", &said)
	var answer struct {
		Version string
		Events  [][]LetterEvent
	}
	require.NoError(t, json.Unmarshal(printed, &answer), "read what ical.js says: %s", printed)
	return answer.Events, answer.Version
}
