package handover

import (
	"bytes"
	"fmt"
	"net/http"
	"strings"

	ics "github.com/arran4/golang-ical"
)

// serveCalendar answers with the calendar entry of an appointment.
func (s *Server) serveCalendar(w http.ResponseWriter, r *http.Request) {
	token := r.PathValue("token")
	id, ok := strings.CutSuffix(r.PathValue("file"), ".ics")
	v, err := s.readView(r.Context(), token)
	var content []byte
	if err == nil {
		err = errNoLink
		for _, a := range v.all {
			if ok && a.ID.String() == id && a.State.Live() {
				content, err = v.entry(a)
			}
		}
	}
	if err != nil {
		code, problem := s.problemOf(r.Context(), err)
		s.write(w, code, page{Title: "Appointments", Problem: problem})
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="appointment.ics"`)
	h.Set("X-Robots-Tag", "noindex, nofollow")
	_, _ = w.Write(content)
}

// entry writes an appointment as a calendar of RFC 5545 with times in UTC, so that it needs no zones. It has the UID of the entry in the mail
// and its sequence, so that a calendar program that has one takes the other for the same.
func (v *view) entry(a Appointment) ([]byte, error) {
	cal := ics.NewCalendar()
	cal.SetProductId("-//Longlead//Appointments//EN")
	cal.SetMethod(ics.MethodPublish)
	e := cal.AddEvent(a.UID())
	e.SetDtStampTime(a.ChangedAt)
	e.SetModifiedAt(a.ChangedAt)
	e.SetSequence(a.Version)
	e.SetStartAt(a.Begins)
	e.SetEndAt(a.Ends)
	c := v.card(a, "")
	e.SetSummary(oneLine(c.Heading))
	e.SetLocation(oneLine(c.Where))
	e.SetDescription(oneLine("With " + c.Trainer + ". " + c.Zone + "."))
	e.SetStatus(calendarStatus[a.State])
	e.SetClass(ics.ClassificationPrivate)
	var out bytes.Buffer
	if err := cal.SerializeTo(&out, ics.WithNewLineWindows); err != nil {
		return nil, fmt.Errorf("write a calendar entry: %w", err)
	}
	return out.Bytes(), nil
}

// calendarStatus is the STATUS of an entry (RFC 5545 section 3.8.1.11).
var calendarStatus = map[State]ics.ObjectStatus{Offered: ics.ObjectStatusTentative, Confirmed: ics.ObjectStatusConfirmed, Asked: ics.ObjectStatusTentative,
	Late: ics.ObjectStatusConfirmed}

// oneLine takes line breaks out, which the library does not all escape.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }
