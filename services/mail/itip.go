package mail

import (
	"errors"
	"fmt"
	"net/mail"
	"strings"
	"time"
	"unicode/utf8"
)

// foldAt is how many octets a line of a calendar may have (RFC 5545 section 3.1).
const foldAt = 75

// calendarTime is how instants are written in UTC (RFC 5545 section 3.3.5, form 2).
const calendarTime = "20060102T150405Z"

// write writes the event as an iTIP object (RFC 5546 sections 3.2.2 and 3.2.5): a request has everything, a cancellation the same with the status
// CANCELLED. Replies are not asked for, since nobody reads them by machine: owners confirm on their page.
func (e Event) write(stamp time.Time) (string, error) {
	if err := e.check(); err != nil {
		return "", err
	}
	var w calendarWriter
	w.line("BEGIN", "VCALENDAR")
	w.line("PRODID", "-//Longlead//Letters//EN")
	w.line("VERSION", "2.0")
	w.line("CALSCALE", "GREGORIAN")
	w.line("METHOD", string(e.Method))
	w.line("BEGIN", "VEVENT")
	w.text("UID", e.UID)
	w.line("SEQUENCE", fmt.Sprint(e.Sequence))
	w.line("DTSTAMP", stamp.UTC().Format(calendarTime))
	w.line("DTSTART", e.Begins.UTC().Format(calendarTime))
	w.line("DTEND", e.Ends.UTC().Format(calendarTime))
	w.line("ORGANIZER"+commonName(e.Organizer.Name), "mailto:"+mailto(e.Organizer.Addr))
	agreed := "NEEDS-ACTION"
	if e.Confirmed {
		agreed = "ACCEPTED"
	}
	w.line("ATTENDEE"+commonName(e.Attendee.Name)+";CUTYPE=INDIVIDUAL;ROLE=REQ-PARTICIPANT;PARTSTAT="+agreed+";RSVP=FALSE", "mailto:"+mailto(e.Attendee.Addr))
	w.text("SUMMARY", oneLine(e.Summary))
	if place := oneLine(e.Place); place != "" {
		w.text("LOCATION", place)
	}
	if about := e.description(); about != "" {
		w.text("DESCRIPTION", about)
	}
	if e.Method == Cancel {
		w.line("STATUS", "CANCELLED")
	} else {
		w.line("STATUS", "CONFIRMED")
	}
	w.line("CLASS", "PRIVATE")
	w.line("TRANSP", "OPAQUE")
	w.line("END", "VEVENT")
	w.line("END", "VCALENDAR")
	return w.out.String(), nil
}

// description is what the caller says, with the zone of the place: the entry itself is in UTC, and shows the time of whoever looks at it.
func (e Event) description() string {
	var lines []string
	for _, line := range strings.Split(strings.ReplaceAll(e.Description, "\r\n", "\n"), "\n") {
		lines = append(lines, oneLine(line))
	}
	if e.Zone != "" {
		lines = append(lines, "The place is in the zone "+oneLine(e.Zone)+".")
	}
	return strings.TrimSpace(strings.Join(lines, "\n"))
}

func (e Event) check() error {
	switch {
	case e.UID == "":
		return errors.New("an event needs a UID")
	case e.Sequence < 0:
		return errors.New("an event's sequence is not negative")
	case e.Method != Request && e.Method != Cancel:
		return fmt.Errorf("an event's method is %s or %s, not %q", Request, Cancel, e.Method)
	case e.Begins.IsZero() || !e.Begins.Before(e.Ends):
		return errors.New("an event ends after it begins")
	case oneLine(e.Summary) == "":
		return errors.New("an event needs a summary")
	}
	return nil
}

// calendarWriter writes content lines.
type calendarWriter struct{ out strings.Builder }

// text writes a property whose value is text (RFC 5545 section 3.3.11).
func (w *calendarWriter) text(name, value string) {
	w.line(name, strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(value))
}

// line writes a content line, folded between characters.
func (w *calendarWriter) line(name, value string) {
	rest, most := name+":"+value, foldAt
	for len(rest) > most {
		cut := most
		for !utf8.RuneStart(rest[cut]) {
			cut--
		}
		w.out.WriteString(rest[:cut] + "\r\n ")
		rest, most = rest[cut:], foldAt-1
	}
	w.out.WriteString(rest + "\r\n")
}

// commonName writes a name as a parameter. Its value is quoted and holds no quotation mark (RFC 5545 section 3.1: QSAFE-CHAR). A backslash means
// nothing there, but some programs take it for an escape.
func commonName(name string) string {
	name = strings.NewReplacer(`"`, "'", `\`, "/").Replace(oneLine(name))
	if name == "" {
		return ""
	}
	return `;CN="` + name + `"`
}

// mailto escapes what an address of RFC 5321 may hold and a URI may not (RFC 6068 section 2).
func mailto(address string) string {
	return strings.NewReplacer("%", "%25", " ", "%20", `"`, "%22", "?", "%3F", "&", "%26", "#", "%23", "/", "%2F", "`", "%60", "{", "%7B", "}", "%7D", "|", "%7C", "^", "%5E").Replace(address)
}

// plainAddress finds what is wrong with an address that letters go to or come from; an empty answer is good.
func plainAddress(address string) (fault string) {
	switch {
	case strings.TrimSpace(address) == "":
		return "is missing"
	case address != oneLine(address) || strings.ContainsAny(address, " <>,;:\\\""):
		return "holds characters that no address holds, such as a line end, a blank or a comma"
	case len(address) > 254:
		return "is longer than 254 characters (RFC 5321 section 4.5.3.1.3)"
	}
	parsed, err := mail.ParseAddress(address)
	if err != nil || parsed.Address != address || parsed.Name != "" {
		return "is not written as an address is, such as freya@example.org"
	}
	for _, r := range address {
		if r > 0x7e {
			return "has letters beyond ASCII, which not every mail server takes"
		}
	}
	if domain := domainOf(address); !strings.Contains(domain, ".") || strings.HasPrefix(domain, ".") || strings.HasSuffix(domain, ".") || strings.HasPrefix(domain, "[") {
		return "has no domain such as example.org"
	}
	return ""
}

// domainOf is the part after the last @, in lower case.
func domainOf(address string) string {
	at := strings.LastIndexByte(address, '@')
	if at < 0 {
		return ""
	}
	return strings.ToLower(address[at+1:])
}
