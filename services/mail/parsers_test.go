package mail_test

import (
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/refsolve"
)

// hardName has everything in it that has a meaning in a header, a calendar or a page, and is long enough for lines to be folded.
const hardName = `Zoë "Żółw" <b>O'Neill</b>; a, b: \n \\ ÄÖÜ äöü ßßß 犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬犬`

// hard is a letter of a kind whose every field has the hard name in it.
func hard(t *testing.T, kind mail.Kind, key string, version int) mail.Letter {
	t.Helper()
	l := example(t, kind, key, version)
	l.To.Name = hardName
	for name, value := range l.Fields {
		if name != "link" {
			l.Fields[name] = hardName + " " + value
		}
	}
	for name, items := range l.Lists {
		l.Lists[name] = append([]string{hardName}, items...)
	}
	if l.Event != nil {
		l.Event.Summary, l.Event.Place, l.Event.Description = "Handover of "+hardName, hardName, hardName+"\nsecond line"
	}
	return l
}

// rsaKey is a key of the test's own, and a file with it.
func rsaKey(t *testing.T) (*rsa.PrivateKey, string) {
	t.Helper()
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	require.NoError(t, err)
	content, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "key.pem")
	require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: content}), 0o600))
	return key, file
}

// sentAll puts letters, sends each over a server, signed, and returns what the server took, in the order of the letters.
func sentAll(t *testing.T, o *office, keyFile string, letters ...mail.Letter) [][]byte {
	t.Helper()
	p := newPostOffice(t)
	o.letterhead(t)
	signer, err := mail.LoadSigner("tarnholt.example", "spring", keyFile)
	require.NoError(t, err)
	w := o.worker(p.over(t), func(d *mail.WorkerDeps) { d.Signer = signer })
	for _, l := range letters {
		o.put(t, l)
		for _, k := range o.letters(t, l.Key) {
			if k.Version == l.Version {
				require.NoError(t, w.Send(t.Context(), k.ID))
			}
		}
	}
	var all [][]byte
	for _, l := range p.all() {
		all = append(all, []byte(l.content))
	}
	require.Len(t, all, len(letters))
	return all
}

// everyKind is a letter of each kind, plain and hard.
func everyKind(t *testing.T) []mail.Letter {
	t.Helper()
	var all []mail.Letter
	for _, k := range mail.Kinds() {
		all = append(all, example(t, k.Kind, "plain "+string(k.Kind), 1), hard(t, k.Kind, "hard "+string(k.Kind), 2))
	}
	return all
}

// eventOf is what a reader should find of a letter's event.
func eventOf(l mail.Letter) refsolve.LetterEvent {
	e := l.Event
	status := "CONFIRMED"
	if e.Method == mail.Cancel {
		status = "CANCELLED"
	}
	return refsolve.LetterEvent{Method: string(e.Method), UID: e.UID, Sequence: e.Sequence, Status: status, Starts: e.Begins.Format(time.RFC3339), Ends: e.Ends.Format(time.RFC3339),
		Summary: e.Summary, Location: e.Place, Description: e.Description + "\nThe place is in the zone " + e.Zone + ".", Organizer: "mailto:office@tarnholt.example",
		Attendee: "mailto:" + l.To.Addr, AttendeeName: strings.NewReplacer(`"`, "'", `\`, "/").Replace(l.To.Name)}
}

// TestOthersReadEveryKind has Python read every kind of letter, with plain and with hard words: header, parts, calendar and signature.
func TestOthersReadEveryKind(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	key, file := rsaKey(t)
	letters := everyKind(t)
	messages := sentAll(t, o, file, letters...)
	read, version := refsolve.ReadLetters(t, messages, &key.PublicKey)
	require.Len(t, read, len(letters))
	type seen struct {
		To, MessageID, Types string
		Signed               bool
		Defects              int
	}
	want, got := []seen{}, []seen{}
	wantEvents, gotEvents := []refsolve.LetterEvent{}, []refsolve.LetterEvent{}
	for i, l := range letters {
		k := o.letters(t, l.Key)[0]
		types := "text/plain utf-8, text/html utf-8"
		if l.Event != nil {
			types += ", text/calendar utf-8 " + string(l.Event.Method)
			wantEvents = append(wantEvents, eventOf(l))
		}
		want = append(want, seen{fmt.Sprintf("%s <%s>", nameInHeader(l.To.Name), l.To.Addr), "<" + k.MessageID + ">", types, true, 0})
		r := read[i]
		require.Equal(t, k.Subject, r.Subject)
		require.Equal(t, noon.Format(time.RFC3339), r.Date)
		require.Equal(t, "multipart/alternative", r.Type)
		require.Contains(t, r.Headers, "auto-submitted")
		var found []string
		for _, p := range r.Parts {
			found = append(found, strings.TrimSpace(p.Type+" "+p.Charset+" "+p.Method))
		}
		got = append(got, seen{r.To, r.MessageID, strings.Join(found, ", "), r.Signed, len(r.Defects)})
		gotEvents = append(gotEvents, r.Events...)
		require.Equal(t, k.BodyText, strings.ReplaceAll(r.Parts[0].Text, "\r\n", "\n"))
		require.Equal(t, k.BodyHTML, strings.ReplaceAll(r.Parts[1].Text, "\r\n", "\n"))
		require.NotContains(t, r.Parts[1].Text, "<b>", "what a name holds is text")
	}
	outside.Check(t, fmt.Sprintf("%d letters: recipients, Message-IDs, parts, DKIM signatures", len(letters)), version+", signatures by RFC 6376 reckoned in Python", want, got)
	outside.Check(t, fmt.Sprintf("%d calendar parts of letters: method, UID, sequence, times, words", len(wantEvents)), version, wantEvents, gotEvents)

	inHead, inBody := 0, 0
	for _, m := range messages {
		head, body, _ := strings.Cut(string(m), "\r\n\r\n")
		for _, line := range strings.Split(head[strings.Index(head, "\r\nDate:")+2:], "\r\n") { // the signature before it is the library's
			inHead = max(inHead, len(line))
		}
		for _, line := range strings.Split(body, "\r\n") {
			inBody = max(inBody, len(line))
		}
	}
	outside.Check(t, "octets of the longest line of a header with encoded words is at most 76", "RFC 2047 section 2", true, inHead <= 76)
	outside.Check(t, "octets of the longest line of a quoted-printable part is at most 76", "RFC 2045 section 6.7 rule 5", true, inBody <= 76)

	forged := [][]byte{[]byte(strings.Replace(string(messages[0]), "Dear", "Deer", 1)), []byte(strings.Replace(string(messages[0]), "Subject: ", "Subject: Re: ", 1))}
	altered, _ := refsolve.ReadLetters(t, forged, &key.PublicKey)
	require.Equal(t, []bool{false, false}, []bool{altered[0].Signed, altered[1].Signed}, "the same reckoning finds what was altered")
}

// nameInHeader is a name as it stands in a header once encoded words are decoded: one of ASCII alone is quoted there.
func nameInHeader(name string) string {
	for _, r := range name {
		if r > 0x7e {
			return name
		}
	}
	return `"` + name + `"`
}

// TestJavaScriptReadsEveryCalendar has ical.js read the calendar part of every kind.
func TestJavaScriptReadsEveryCalendar(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	o.letterhead(t)
	var calendars []string
	want := []refsolve.LetterEvent{}
	for _, l := range everyKind(t) {
		o.put(t, l)
		if l.Event != nil {
			calendars = append(calendars, *o.letters(t, l.Key)[0].Calendar)
			want = append(want, eventOf(l))
		}
	}
	read, version := refsolve.ReadCalendarsInJavaScript(t, calendars)
	got := []refsolve.LetterEvent{}
	for _, events := range read {
		got = append(got, events...)
	}
	outside.Check(t, fmt.Sprintf("%d calendar parts of letters: method, UID, sequence, times, words", len(want)), version, want, got)
}

// entryBook is a calendar as a program keeps it (RFC 5546 sections 2.1.5 and 3.2.5): of one UID the higher sequence wins, and a cancellation removes.
type entryBook map[string]refsolve.LetterEvent

func (b entryBook) receive(e refsolve.LetterEvent) {
	if old, ok := b[e.UID]; ok && e.Sequence < old.Sequence {
		return
	}
	b[e.UID] = e
}

func (b entryBook) shown() (starts []string) {
	for _, e := range b {
		if e.Method == "REQUEST" {
			starts = append(starts, e.Starts)
		}
	}
	return starts
}

// TestAMovedAppointmentMovesItsEntry: an appointment is invited, moved and cancelled; whoever reads the three letters, in whatever order they come,
// ends with what is true.
func TestAMovedAppointmentMovesItsEntry(t *testing.T) {
	t.Parallel()
	o := newOffice(t)
	_, file := rsaKey(t)
	invited, moved, cancelled := example(t, mail.HandoverInvitation, "a", 1), example(t, mail.HandoverChanged, "a", 2), example(t, mail.HandoverCancelled, "a", 3)
	moved.Event.Begins, moved.Event.Ends = moved.Event.Begins.Add(3*time.Hour), moved.Event.Ends.Add(3*time.Hour)
	read, version := refsolve.ReadLetters(t, sentAll(t, o, file, invited, moved, cancelled), nil)
	require.Len(t, read, 3)
	var events []refsolve.LetterEvent
	for _, r := range read {
		require.Len(t, r.Events, 1)
		events = append(events, r.Events[0])
	}
	require.Equal(t, []string{"a", "a", "a"}, []string{events[0].UID, events[1].UID, events[2].UID})
	require.Contains(t, read[1].Subject, "New time")
	two, three := entryBook{}, entryBook{}
	for _, i := range []int{0, 1} {
		two.receive(events[i])
	}
	for _, i := range []int{2, 0, 1} { // the cancellation comes first
		three.receive(events[i])
	}
	outside.Check(t, "an appointment that is moved: what a calendar shows", "RFC 5546 section 3.2.2 (same UID, higher SEQUENCE), read by "+version, []string{moved.Event.Begins.Format(time.RFC3339)}, two.shown())
	outside.Check(t, "an appointment that is cancelled, the cancellation arriving first: what a calendar shows", "RFC 5546 section 3.2.5, read by "+version, []string(nil), three.shown())
}
