package refsolve

import (
	_ "embed"
	"slices"
	"strings"
	"testing"
)

//go:embed calendar.py
var calendarScript []byte

// CalendarEvent is an event of a calendar. Starts and Ends are in UTC, written 2027-03-14T15:04:05Z.
type CalendarEvent struct {
	UID      string `json:"uid"`
	Summary  string `json:"summary"`
	Location string `json:"location"`
	Starts   string `json:"starts"`
	Ends     string `json:"ends"`
}

// SortEvents puts events in the order in which ReadCalendar gives them: by start and UID.
func SortEvents(events []CalendarEvent) []CalendarEvent {
	slices.SortFunc(events, func(a, b CalendarEvent) int { return strings.Compare(a.Starts+a.UID, b.Starts+b.UID) })
	return events
}

// ReadCalendar reads a calendar of RFC 5545 with the Python library icalendar, and returns its events with the library's version for the source of
// an outside check. A missing library is treated as HeatIndex does.
func ReadCalendar(t testing.TB, content []byte) (events []CalendarEvent, version string) {
	t.Helper()
	var answer struct {
		Version string
		Events  []CalendarEvent
	}
	ask(t, calendarScript, string(content), &answer)
	return SortEvents(answer.Events), answer.Version
}
