// Package letters is what owners were written: which letters reached nobody and need a call come first; then all, by when they were put. A letter is shown
// as it was sent. The texts and the letterhead that letters are made from are changed here too, with a preview before anything is kept.
package letters

import (
	"embed"
	"fmt"
	"net/http"
	"net/url"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/console/frame"

	accessv1 "github.com/longlead/longlead/proto/longlead/access/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

//go:embed templates/*.html
var files embed.FS

var (
	listPage   = frame.Parse(files, "templates/letters.html")
	letterPage = frame.Parse(files, "templates/letter.html")
	textsPage  = frame.Parse(files, "templates/texts.html")
	textPage   = frame.Parse(files, "templates/text.html")
	timesPage  = frame.Parse(files, "templates/times.html")
)

const needs = accessv1.Permission_PERMISSION_MANAGE_MAIL

// needsTimes is what setting when letters go takes: it is about handovers.
const needsTimes = accessv1.Permission_PERMISSION_MANAGE_HANDOVERS

// Section is the entry of the bar.
func Section() frame.Section {
	return frame.Section{Name: "Letters", Path: "/letters", Prefixes: []string{"/letter-words", "/letter-times"}, Needs: needs}
}

// Pages are the addresses.
func Pages() []frame.Page {
	return []frame.Page{
		{Pattern: "GET /letters", Needs: needs, Serve: showList},
		{Pattern: "GET /letters/{id}", Needs: needs, Serve: showLetter},
		{Pattern: "POST /letters/{id}/again", Needs: needs, Serve: sendAgain},
		{Pattern: "GET /letter-words", Needs: needs, Serve: showTexts},
		{Pattern: "POST /letter-words/head", Needs: needs, Serve: setHead},
		{Pattern: "GET /letter-words/{kind}", Needs: needs, Serve: showText},
		{Pattern: "POST /letter-words/{kind}", Needs: needs, Serve: changeText},
		{Pattern: "GET /letter-times", Needs: needsTimes, Serve: showTimes},
		{Pattern: "POST /letter-times/{site}/{letter}", Needs: needsTimes, Serve: setTime},
	}
}

// kindWords name the kinds of letter in a word or two.
var kindWords = map[string]string{
	"enrolment-confirmed": "stay promised", "arrival-reminder": "arrival soon", "handover-invitation": "invitation", "handover-changed": "changed time", "handover-cancelled": "cancelled",
	"handover-week": "reminder, days before", "handover-day": "reminder, day before", "handover-missed": "nobody came", "practice-plan": "practice plan", "follow-up-lesson": "lesson",
}

// KindWord names a kind.
func KindWord(kind string) string {
	if w, ok := kindWords[kind]; ok {
		return w
	}
	return frame.Words("", kind)
}

// stateWords say what became of a letter, after "it is".
var stateWords = map[string]string{"waiting": "waiting for its time", "sending": "on its way", "sent": "sent", "superseded": "replaced by a newer one", "expired": "expired, too late to go",
	"refused": "refused by the mail server", "bounced": "back, undelivered"}

// Line is a letter in a list.
type Line struct {
	*mailv1.Letter
	Path, What, State, Mark string
	// Put is when it was put, by the clocks of a zone.
	Put string
	// Failed says that it reached nobody.
	Failed bool
}

// LineOf describes a letter by the clocks of a zone.
func LineOf(l *mailv1.Letter, zone *time.Location) Line {
	line := Line{Letter: l, Path: "/letters/" + url.PathEscape(l.GetId()), What: KindWord(l.GetKind()), State: stateWords[l.GetState()], Put: when(l.GetPutAt(), zone), Mark: "waiting"}
	switch l.GetState() {
	case "sent":
		line.Mark = "promised"
	case "superseded":
		line.Mark = "ended"
	case "refused", "bounced", "expired":
		line.Failed = true
	}
	return line
}

func when(at *timestamppb.Timestamp, zone *time.Location) string {
	if at == nil {
		return ""
	}
	return at.AsTime().In(zone).Format("2 Jan 2006 15:04 MST")
}

type listView struct {
	Lines, Failed []Line
	Counts        []count
	State, To     string
	Limit         int
}

// count is how many letters of a state there are.
type count struct {
	State, Words string
	N            int32
	Here         bool
}

const mostLines = 200

func showList(v *frame.Visit) error {
	client := mailv1.NewMailServiceClient(v.Conn)
	got, err := client.ListLetters(v.Context(), &mailv1.ListLettersRequest{State: v.Query("state"), To: v.Query("to"), Limit: mostLines})
	if err != nil {
		return err
	}
	view := listView{State: v.Query("state"), To: v.Query("to"), Limit: mostLines}
	for _, l := range got.GetLetters() {
		line := LineOf(l, time.UTC)
		view.Lines = append(view.Lines, line)
		if line.Failed {
			view.Failed = append(view.Failed, line)
		}
	}
	for _, state := range []string{"bounced", "refused", "expired", "waiting", "sending", "sent", "superseded"} {
		if n := got.GetCounts()[state]; n > 0 || state == view.State {
			view.Counts = append(view.Counts, count{state, stateWords[state], n, state == view.State})
		}
	}
	return v.Show(listPage, view)
}

type letterView struct {
	Line
	Letter   *mailv1.ReadLetterResponse
	Attempts []attempt
	Again    bool
	Trouble  *frame.Trouble
	To       string
}

type attempt struct{ At, Outcome, Answer string }

func showLetter(v *frame.Visit) error { return letter(v, "", nil) }

// letter shows a letter, with an address to which it could not be sent.
func letter(v *frame.Visit, to string, trouble *frame.Trouble) error {
	got, err := mailv1.NewMailServiceClient(v.Conn).ReadLetter(v.Context(), &mailv1.ReadLetterRequest{LetterId: v.Path("id")})
	if err != nil {
		return err
	}
	view := letterView{Line: LineOf(got.GetLetter(), time.UTC), Letter: got, Trouble: trouble, To: to}
	for _, a := range got.GetAttempts() {
		view.Attempts = append(view.Attempts, attempt{when(a.GetAt(), time.UTC), a.GetOutcome(), a.GetAnswer()})
	}
	state := got.GetLetter().GetState()
	view.Again = state == "sent" || state == "refused" || state == "bounced"
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, letterPage, view)
}

func sendAgain(v *frame.Visit) error {
	got, err := mailv1.NewMailServiceClient(v.Conn).ResendLetter(v.Context(), &mailv1.ResendLetterRequest{LetterId: v.Path("id"), ToAddress: v.Form("to")})
	if t, ok := frame.Mendable(err); ok {
		return letter(v, v.Form("to"), t)
	}
	if err != nil {
		return err
	}
	return v.Done("/letters/"+url.PathEscape(got.GetLetter().GetId()), fmt.Sprintf("On its way to %s.", got.GetLetter().GetToAddress()))
}
