package handovers

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/console/frame"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// acts are the steps that a form leads to, by the last part of their address.
var acts = map[string]func(*frame.Visit) error{
	"confirm": confirm, "late": late, "held": held, "missed": missed, "offer": offer, "cancel": cancel, "move": move, "link": makeLink, "shut": shutLinks, "lesson": lesson,
}

func calls(v *frame.Visit) handoverv1.HandoverServiceClient {
	return handoverv1.NewHandoverServiceClient(v.Conn)
}

// after ends a step: back to the appointment with what came of it, or the same page with what is to be mended.
func after(v *frame.Visit, err error, words string) error {
	if t, ok := frame.Mendable(err); ok {
		return one(v, t)
	}
	if err != nil {
		return err
	}
	return v.Done("/appointment/"+url.PathEscape(v.Path("id")), words)
}

func confirm(v *frame.Visit) error {
	_, err := calls(v).ConfirmHandover(v.Context(), &handoverv1.ConfirmHandoverRequest{Which: v.Path("id"), Reason: v.Form("reason")})
	return after(v, err, "Confirmed.")
}

func late(v *frame.Visit) error {
	minutes, err := strconv.Atoi(v.Form("minutes"))
	if err != nil || minutes < 1 || minutes > 240 {
		return after(v, apperr.Invalidf("MINUTES", "By how many minutes? Write a number from 1 to 240."), "")
	}
	got, err := calls(v).ReportLate(v.Context(), &handoverv1.ReportLateRequest{Which: v.Path("id"), Minutes: int32(minutes), Reason: v.Form("reason")})
	words := "Noted. Nobody is kept waiting by it."
	var waits []string
	for _, a := range got.GetRunsInto() {
		waits = append(waits, fmt.Sprintf("%s at %s", a.GetDogName(), clock(a.GetSlot().GetStarts())))
	}
	if len(waits) > 0 {
		words = "Noted. It runs into the trainer's next: " + strings.Join(waits, ", ") + ". Call them, or let somebody else begin."
	}
	return after(v, err, words)
}

// times reads the fields of a name that hold a time; empty ones are left out.
func times(v *frame.Visit, name string) (out []*handoverv1.Time) {
	_ = v.Form(name) // reads the form
	for _, text := range v.Request.PostForm[name] {
		if text = strings.TrimSpace(text); text != "" {
			out = append(out, &handoverv1.Time{Starts: text})
		}
	}
	return out
}

func held(v *frame.Visit) error {
	got, err := calls(v).ReportHeld(v.Context(), &handoverv1.ReportHeldRequest{Which: v.Path("id"), Lessons: times(v, "lesson"), Reason: v.Form("reason")})
	words := "Held."
	if n := len(got.GetLessons()); n > 0 {
		words = fmt.Sprintf("Held, and %s booked.", frame.Count(n, "lesson", "lessons"))
	}
	return after(v, err, words)
}

func lesson(v *frame.Visit) error {
	asked := times(v, "lesson")
	if len(asked) != 1 {
		return after(v, apperr.Invalidf("TIME_MISSING", "When is the lesson? Write day and time."), "")
	}
	_, err := calls(v).BookLesson(v.Context(), &handoverv1.BookLessonRequest{Which: v.Path("id"), Time: asked[0], Reason: v.Form("reason")})
	return after(v, err, "The lesson is booked.")
}

func missed(v *frame.Visit) error {
	got, err := calls(v).ReportMissed(v.Context(), &handoverv1.ReportMissedRequest{Which: v.Path("id"), Next: times(v, "next"), Reason: v.Form("reason")})
	words := "Noted. The dog stays, and no next time is offered yet: offer some."
	if n := len(got.GetOffers()); n > 0 {
		words = fmt.Sprintf("Noted. The dog stays, and the owner may choose among %s.", frame.Count(n, "time", "times"))
	}
	return after(v, err, words)
}

func offer(v *frame.Visit) error {
	got, err := calls(v).OfferHandover(v.Context(), &handoverv1.OfferHandoverRequest{Which: v.Path("id"), Others: times(v, "other"), Reason: v.Form("reason")})
	return after(v, err, fmt.Sprintf("The owner may choose among %s now.", frame.Count(len(got.GetOffers()), "other time", "other times")))
}

func cancel(v *frame.Visit) error {
	if v.Form("reason") == "" {
		return after(v, apperr.Invalidf("REASON_MISSING", "Why is it cancelled? The reason stays in the history."), "")
	}
	_, err := calls(v).CancelHandover(v.Context(), &handoverv1.CancelHandoverRequest{Which: v.Path("id"), Reason: v.Form("reason")})
	return after(v, err, "Cancelled. The owner is written to.")
}

// linkView is a private address, which is shown once.
type linkView struct{ ID, URL string }

func makeLink(v *frame.Visit) error {
	got, err := calls(v).MakeLink(v.Context(), &handoverv1.MakeLinkRequest{Which: v.Path("id")})
	if err != nil {
		return after(v, err, "")
	}
	return v.Show(linkPage, linkView{v.Path("id"), got.GetUrl()})
}

func shutLinks(v *frame.Visit) error {
	_, err := calls(v).ShutLinks(v.Context(), &handoverv1.ShutLinksRequest{Which: v.Path("id")})
	return after(v, err, "All private links of the stay are shut. The next letter holds a new one.")
}
