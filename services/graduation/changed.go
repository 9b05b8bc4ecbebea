package graduation

import (
	"context"
	"slices"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/postgres"
)

// Teller tells owners and day plans of changed appointments. All fields are required.
type Teller struct {
	Outbox *mail.Outbox
	Jobs   *jobs.Client
	// PublicURL is the address at which owners reach the server.
	PublicURL string
}

// Changed puts the letter that a change asks for and the jobs that fit planned days to it, in the transaction of the change. It is what
// handover.BookDeps.Changed asks for.
func (t Teller) Changed(ctx context.Context, tx postgres.Tx, c handover.Change) error {
	d, err := readDesk(ctx, tx, []ids.RequestID{c.After.RequestID})
	if err != nil {
		return err
	}
	if l, ok := t.letter(d, c); ok {
		if err := t.Outbox.Put(ctx, tx, l); err != nil {
			return err
		}
	}
	return t.fit(ctx, tx, d, c)
}

// letter is what an owner is told of a change; ok is false where that is nothing.
func (t Teller) letter(d *desk, c handover.Change) (l mail.Letter, ok bool) {
	link := ""
	if c.LinkToken != "" {
		link = handover.LinkURL(t.PublicURL, c.LinkToken)
	}
	lesson := c.After.Purpose == handover.PurposeLesson
	switch c.Act {
	case handover.ActPlaced:
		l = d.visit(mail.HandoverInvitation, c.After, link)
	case handover.ActBooked:
		l = d.visit(mail.FollowUpLesson, c.After, link)
	case handover.ActMoved, handover.ActNotReady, handover.ActChosen:
		if lesson {
			l = d.visit(mail.FollowUpLesson, c.After, link)
			break
		}
		l = d.visit(mail.HandoverChanged, c.After, link)
		l.Fields["before"] = whenWords(c.Before.Slot, d.zones[c.Before.SiteID])
		if c.Act == handover.ActNotReady {
			l.Fields["why"] = d.cases[c.After.RequestID].Dog.Name + " gets a few more days of training."
		}
	case handover.ActMissed:
		l = d.visit(mail.HandoverMissed, c.After, link)
		l.Expires = time.Time{}
		return l, true // the time is over: there is nothing to enter
	case handover.ActOffers:
		if !c.Noticed() {
			return l, false
		}
		if c.After.State == handover.Missed {
			l = d.visit(mail.HandoverMissed, c.After, link)
			l.Expires = time.Time{}
			return l, true
		}
		l = d.visit(mail.HandoverInvitation, c.After, link)
	case handover.ActCancelled:
		l = d.visit(mail.HandoverCancelled, c.After, "")
		if lesson {
			l.Fields["what"] = "follow-up lesson"
		}
		l.Event = d.event(c.After, mail.Cancel)
		return l, true
	case handover.ActHeld:
		return t.practice(d, c.After), !lesson
	default:
		return l, false
	}
	l.Event = d.event(c.After, mail.Request)
	return l, true
}

// practice is the plan that a dog's owner takes home.
func (t Teller) practice(d *desk, a handover.Appointment) mail.Letter {
	l := d.begin(mail.PracticePlan, a.ID.String(), a.Version, a.RequestID, a.SiteID)
	l.Fields["trainer"] = d.trainers[a.TrainerID].Name
	l.Lists["skills"] = d.skills[d.cases[a.RequestID].Program.ID]
	return l
}

// fit lets the planned days that an appointment leaves and comes to follow it.
func (t Teller) fit(ctx context.Context, tx postgres.Tx, d *desk, c handover.Change) error {
	if c.After.Purpose != handover.PurposeHandover || c.Before.State.Live() == c.After.State.Live() && c.Before.Slot == c.After.Slot {
		return nil
	}
	for _, site := range slices.Compact([]ids.SiteID{c.Before.SiteID, c.After.SiteID}) {
		var days []calendar.Date
		for _, a := range []handover.Appointment{c.Before, c.After} {
			if a.SiteID == site && !site.IsZero() {
				days = append(days, calendar.DateIn(a.Begins, d.zones[site]))
			}
		}
		if err := dayplan.InsertFits(ctx, tx, t.Jobs, site, slices.Compact(days)...); err != nil {
			return err
		}
	}
	return nil
}
