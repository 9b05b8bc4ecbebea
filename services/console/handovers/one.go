package handovers

import (
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/console/letters"
	"github.com/longlead/longlead/services/handover"

	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
	mailv1 "github.com/longlead/longlead/proto/longlead/mail/v1"
)

// may is what can be done with an appointment as it stands.
type may struct {
	Confirm, Late, Held, Missed, Move, Offer, Cancel, Link, Lesson bool
}

// any reports whether there is anything.
func (m may) Any() bool { return m != may{} }

type oneView struct {
	row
	DayPath, LongDay string
	May              may
	// OfferTells says that the owner is written to when more times are offered.
	OfferTells bool
	Offers     []offered
	Lessons    []row
	Changes    []change
	Links      int
	Letters    []letters.Line
	Trouble    *frame.Trouble
	// Form is what was sent and could not be done.
	Form map[string]string
}

// offered is another time that the owner may choose.
type offered struct {
	*handoverv1.Slot
	Day, Hours string
	// Local is when it begins, as a field of a form has it.
	Local string
}

// change is one entry of the history.
type change struct {
	At, By, What, Why string
	// Day and Clock are when the appointment begins after it.
	Day, Clock string
}

var actWords = map[string]string{"placed": "appointed", "booked": "lesson booked", "moved": "moved", "not ready": "moved, as the dog needs more days", "chosen": "another time chosen", "confirmed": "confirmed",
	"asked": "asked for another time", "late": "will be late", "missed": "did not come", "held": "held", "cancelled": "cancelled", "offers": "more times offered", "stay": "the stay was changed"}

func showOne(v *frame.Visit) error { return one(v, nil) }

// one shows an appointment, with a step that could not be done.
func one(v *frame.Visit, trouble *frame.Trouble) error {
	got, err := handoverv1.NewHandoverServiceClient(v.Conn).ReadHandover(v.Context(), &handoverv1.ReadHandoverRequest{Which: v.Path("id")})
	if err != nil {
		return err
	}
	view := oneOf(got, v.Now())
	if !v.May(manages) {
		view.May = may{}
	}
	view.Trouble = trouble
	if trouble != nil {
		view.Form = map[string]string{}
		for name := range v.Request.PostForm {
			view.Form[name] = v.Form(name)
		}
	}
	if v.May(mails) {
		list, err := mailv1.NewMailServiceClient(v.Conn).ListLetters(v.Context(), &mailv1.ListLettersRequest{Key: view.GetId()})
		if err != nil {
			return err
		}
		zone, err := time.LoadLocation(view.GetZone())
		if err != nil {
			return err
		}
		for _, l := range list.GetLetters() {
			view.Letters = append(view.Letters, letters.LineOf(l, zone))
		}
	}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	return v.ShowAs(status, onePage, view)
}

// oneOf is what a page shows of an appointment at an instant.
func oneOf(got *handoverv1.ReadHandoverResponse, now time.Time) oneView {
	a := got.GetAppointment()
	view := oneView{row: rowOf(a), DayPath: dayPath(a.GetSiteCode(), dayOf(a.GetSlot().GetStarts())), LongDay: frame.LongDay(dayOf(a.GetSlot().GetStarts()))}
	from, begun := handover.State(a.GetState()), !now.Before(a.GetSlot().GetBeginsAt().AsTime())
	allows := func(act handover.Act) bool { return handover.Allows(from, act, begun) }
	view.May = may{Confirm: allows(handover.ActConfirmed), Late: allows(handover.ActLate), Held: allows(handover.ActHeld), Missed: allows(handover.ActMissed), Move: allows(handover.ActMoved),
		Offer: allows(handover.ActOffers), Cancel: allows(handover.ActCancelled), Link: from.Open(), Lesson: from == handover.Held && !view.Lesson}
	view.OfferTells = handover.Tells(from, handover.ActOffers)
	for _, o := range got.GetOffers() {
		view.Offers = append(view.Offers, offered{o, dayOf(o.GetStarts()), hours(o.GetStarts(), o.GetEnds()), strings.Replace(o.GetStarts(), " ", "T", 1)})
	}
	for _, l := range got.GetLessons() {
		view.Lessons = append(view.Lessons, rowOf(l))
	}
	zone, err := time.LoadLocation(a.GetZone())
	if err != nil {
		zone = time.UTC
	}
	for _, c := range got.GetChanges() {
		by := c.GetChangedBy()
		if by == handover.ByOwner {
			by = "the owner"
		}
		view.Changes = append(view.Changes, change{c.GetChangedAt().AsTime().In(zone).Format("2 Jan 2006 15:04"), by, actWords[c.GetAct()], c.GetWhy(), dayOf(c.GetStarts()), clock(c.GetStarts())})
	}
	slices.Reverse(view.Changes)
	for _, l := range got.GetLinks() {
		if l.GetShutAt() == nil && now.Before(l.GetExpiresAt().AsTime()) {
			view.Links++
		}
	}
	return view
}
