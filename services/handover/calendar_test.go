package handover

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/refsolve"
)

// hardName has everything in it that has a meaning in a calendar, and is long enough for a line to be folded.
const hardName = `Zoë; "Żółw", \n backslash: ÄÖÜ äöü ßßß 犬犬犬犬犬犬犬犬犬犬犬犬`

// event reads the one event of a calendar with a library that did not write it.
func event(t *testing.T, content []byte) (e ical.Event, method string) {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(content)).Decode()
	require.NoError(t, err)
	require.Len(t, cal.Events(), 1)
	method, err = cal.Props.Text(ical.PropMethod)
	require.NoError(t, err)
	return cal.Events()[0], method
}

// TestTheCalendarEntryFollowsTheAppointment: the same UID, a higher sequence, the new time; names come out as they went in.
func TestTheCalendarEntryFollowsTheAppointment(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	stay := s.stays["BO"]
	stay.DogName = hardName
	s.stays["BO"] = stay
	download := func(a Appointment, token string) []byte {
		got := s.send(t, "GET", LinkPath(token)+"/"+a.ID.String()+".ics", nil, nil)
		require.Equal(t, 200, got.Code, got.Body)
		require.Equal(t, "text/calendar; charset=utf-8", got.Header().Get("Content-Type"))
		return got.Body.Bytes()
	}
	// The Sunday on which clocks in Denver go forward at 02:00 (15 U.S.C. 260a(a): the second Sunday of March).
	a, token := s.place(t, "BO", slotAt(t, "2027-03-14", "10:00"))
	first := download(a, token)
	moved, token := s.place(t, "BO", slotAt(t, "2027-03-13", "10:00"))
	second := download(moved, token)
	for i, content := range [][]byte{first, second} {
		text := string(content)
		for _, line := range strings.Split(text, "\r\n") {
			require.LessOrEqual(t, len(line), 75, "RFC 5545 section 3.1")
			require.Equal(t, strings.ToValidUTF8(line, "?"), line, "a character is cut in two")
		}
		require.Equal(t, strings.Count(text, "\n"), strings.Count(text, "\r\n"))
		e, method := event(t, content)
		require.Equal(t, "PUBLISH", method)
		summary, err := e.Props.Text(ical.PropSummary)
		require.NoError(t, err)
		require.Equal(t, "Handover of "+hardName, summary)
		require.Equal(t, a.UID(), e.Props.Get(ical.PropUID).Value)
		require.Equal(t, fmt.Sprint(i+1), e.Props.Get(ical.PropSequence).Value)
		require.Equal(t, "TENTATIVE", e.Props.Get(ical.PropStatus).Value)
		events, version := refsolve.ReadCalendar(t, content)
		want := []string{"2027-03-14T16:00:00Z", "2027-03-13T17:00:00Z"}[i]
		outside.Check(t, fmt.Sprintf("10:00 in Denver on the day %s, in a calendar entry to download", []string{"on which clocks went forward", "before clocks go forward"}[i]),
			"IANA tz database, America/Denver (MDT is UTC-6 from 2027-03-14, MST UTC-7 before; from memory), read by Python "+version, want, events[0].Starts)
		require.Equal(t, summary, events[0].Summary)
	}
	_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Confirm(t.Context(), tx, a.ID, Word{By: ByOwner})
	})
	require.NoError(t, err)
	e, _ := event(t, download(moved, token))
	require.Equal(t, "CONFIRMED", e.Props.Get(ical.PropStatus).Value)
}

// TestThePageNamesItsZone: the same hour has another distance from UTC on both sides of a change of clocks, and the page says so.
func TestThePageNamesItsZone(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, c := range []struct{ day, says, utc string }{
		{"2027-03-13", "MST (America/Denver, UTC-07:00)", "2027-03-13T17:00:00Z"}, {"2027-03-14", "MDT (America/Denver, UTC-06:00)", "2027-03-14T16:00:00Z"},
		{"2027-11-06", "MDT (America/Denver, UTC-06:00)", "2027-11-06T16:00:00Z"}, {"2027-11-07", "MST (America/Denver, UTC-07:00)", "2027-11-07T17:00:00Z"},
	} {
		a, token := s.place(t, "BO", slotAt(t, c.day, "10:00"))
		body := s.send(t, "GET", LinkPath(token), nil, nil).Body.String()
		require.Contains(t, body, "Time at Hillside Yard: "+c.says)
		require.Contains(t, body, "<b>10:00 to 11:30</b>")
		outside.Check(t, "10:00 in Denver on "+c.day+", in UTC", "15 U.S.C. 260a(a): clocks are ahead from the second Sunday of March to the first of November at 02:00; Mountain time is UTC-7 (from memory)",
			c.utc, a.Begins.Format(time.RFC3339))
	}
}
