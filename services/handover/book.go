package handover

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// BookDeps is what a Book needs; all fields but Fits are required.
type BookDeps struct {
	Mint  ids.Mint
	Now   func() time.Time
	Known Known
	// Changed is called after every change, in its transaction. An error undoes the change.
	Changed func(ctx context.Context, tx postgres.Tx, c Change) error
	// Fits looks at a time that an owner chooses, beyond what this package knows, under the lock of the site: an error refuses the choice. May
	// be nil.
	Fits func(ctx context.Context, tx postgres.Tx, chosen Appointment) error
}

// Book changes appointments. Its methods work in transactions of their callers, so that what goes with a change commits with it.
type Book struct{ deps BookDeps }

// NewBook makes a book. It panics when a dependency is missing, which is a fault in the wiring.
func NewBook(d BookDeps) *Book {
	if d.Mint == nil || d.Now == nil || d.Changed == nil || !d.Known.complete() {
		panic("handover.NewBook: Mint, Now, Changed and Known are required")
	}
	return &Book{deps: d}
}

// Word is who changes an appointment and why.
type Word struct {
	By, Why string
	// Revision is the revision that the caller has seen; 0 when it does not matter. Another one is a Conflict.
	Revision int
}

// now is the instant of a change as the database keeps it.
func (b *Book) now() time.Time { return b.deps.Now().UTC().Truncate(time.Microsecond) }

// Place gives a stay its handover, or moves the one that is open. The same time again changes nothing but what may be chosen. A time that is
// not free is a Conflict that says what is in the way.
func (b *Book) Place(ctx context.Context, tx postgres.Tx, p Placing) (Appointment, error) {
	if err := lockSite(ctx, tx, p.SiteID); err != nil {
		return Appointment{}, err
	}
	before, open, err := findOpen(ctx, tx, p.RequestID)
	if err != nil {
		return Appointment{}, err
	}
	after := before
	after.Purpose, after.StayID, after.RequestID, after.DogID, after.OwnerID, after.SiteID, after.Slot = PurposeHandover, p.StayID, p.RequestID, p.DogID, p.OwnerID, p.SiteID, p.Slot
	act := ActMoved
	switch {
	case !open:
		act, after.ID, after.MadeAt = ActPlaced, ids.AppointmentID(b.deps.Mint()), b.now()
	case before.State.Live() && before.same(p.Slot):
		if after, err = b.restay(ctx, tx, before, p); err != nil {
			return after, err
		}
		return b.setOffers(ctx, tx, after, p.Others, Word{By: p.By, Why: p.Why})
	case p.NotReady:
		act = ActNotReady
	}
	if after, err = b.keep(ctx, tx, before, after, act, Word{By: p.By, Why: p.Why}, func() error {
		_, err := putOffers(ctx, tx, b.deps.Mint, after.ID, p.Others, b.now())
		return err
	}); err != nil {
		return Appointment{}, err
	}
	return after, nil
}

// restay notes that the stay of an appointment was replaced by another one.
func (b *Book) restay(ctx context.Context, tx postgres.Tx, a Appointment, p Placing) (Appointment, error) {
	if a.StayID == p.StayID {
		return a, nil
	}
	after := a
	after.StayID, after.Revision, after.ChangedAt = p.StayID, a.Revision+1, b.now()
	if err := updateAppointment(ctx, tx, after); err != nil {
		return a, err
	}
	return after, insertChange(ctx, tx, Entry{AppointmentID: a.ID, Revision: after.Revision, ChangedAt: after.ChangedAt, ChangedBy: p.By, Act: ActStay, Before: &a, After: after, Why: p.Why})
}

// setOffers makes these the times that the owner may choose. It is noted when that changes anything.
func (b *Book) setOffers(ctx context.Context, tx postgres.Tx, a Appointment, others []Slot, w Word) (Appointment, error) {
	changed, err := putOffers(ctx, tx, b.deps.Mint, a.ID, others, b.now())
	if err != nil || !changed {
		return a, err
	}
	return b.keep(ctx, tx, a, a, ActOffers, w, nil)
}

// keep does an act: it checks the time where it is new, stores the appointment, does what else belongs to it, and tells of it.
func (b *Book) keep(ctx context.Context, tx postgres.Tx, before, after Appointment, act Act, w Word, also func() error) (Appointment, error) {
	if w.Revision != 0 && w.Revision != before.Revision {
		return before, errChanged()
	}
	after.ChangedAt = b.now()
	after, err := apply(before, after, act)
	if err != nil {
		return before, err
	}
	if after.State.Live() && (!before.State.Live() || !before.same(after.Slot)) {
		if err := b.free(ctx, tx, after); err != nil {
			return before, err
		}
	}
	if before.Revision == 0 {
		err = insertAppointment(ctx, tx, after)
	} else {
		err = updateAppointment(ctx, tx, after)
	}
	if err != nil {
		return before, err
	}
	if also != nil {
		if err := also(); err != nil {
			return before, err
		}
	}
	return after, b.note(ctx, tx, before, after, act, w)
}

// note writes the history and tells Changed.
func (b *Book) note(ctx context.Context, tx postgres.Tx, before, after Appointment, act Act, w Word) error {
	e := Entry{AppointmentID: after.ID, Revision: after.Revision, ChangedAt: after.ChangedAt, ChangedBy: w.By, Act: act, After: after, Why: w.Why}
	if before.Revision > 0 {
		e.Before = &before
	}
	if err := insertChange(ctx, tx, e); err != nil {
		return err
	}
	c := Change{Before: before, After: after, Act: act, By: w.By, Why: w.Why}
	if c.Noticed() {
		token, _, err := b.MakeLink(ctx, tx, after, w.By)
		if err != nil {
			return err
		}
		c.LinkToken = token
	}
	if err := b.deps.Changed(ctx, tx, c); err != nil {
		return fmt.Errorf("tell of a change of an appointment: %w", err)
	}
	return nil
}

func errChanged() error {
	return apperr.Conflictf("APPOINTMENT_CHANGED", "The appointment has changed since you looked at it: look at it again.")
}

// AddOffers adds to the times that the owner may choose.
func (b *Book) AddOffers(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, more []Slot, w Word) (Appointment, error) {
	a, err := lockAppointment(ctx, tx, id)
	if err != nil {
		return a, err
	}
	offers, err := ListOffers(ctx, tx, id)
	if err != nil {
		return a, err
	}
	for _, o := range offers {
		more = append(more, o.Slot)
	}
	return b.setOffers(ctx, tx, a, more, w)
}

// Move gives an appointment another time. Others replace the times that could be chosen before. The time that it has already is no move.
func (b *Book) Move(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, to Slot, others []Slot, notReady bool, w Word) (Appointment, error) {
	before, err := lockForTime(ctx, tx, id)
	if err != nil {
		return before, err
	}
	if before.State.Live() && before.same(to) {
		return b.setOffers(ctx, tx, before, others, w)
	}
	after, act := before, ActMoved
	after.Slot = to
	if notReady {
		act = ActNotReady
	}
	return b.keep(ctx, tx, before, after, act, w, func() error {
		_, err := putOffers(ctx, tx, b.deps.Mint, id, others, b.now())
		return err
	})
}

// Confirm agrees on an appointment. One that is confirmed stays as it is.
func (b *Book) Confirm(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, w Word) (Appointment, error) {
	before, err := lockAppointment(ctx, tx, id)
	if err != nil || before.State == Confirmed {
		return before, err
	}
	if err := b.toCome(before, w); err != nil {
		return before, err
	}
	return b.keep(ctx, tx, before, before, ActConfirmed, w, nil)
}

// toCome refuses an owner's answer to an appointment that has begun.
func (b *Book) toCome(a Appointment, w Word) error {
	if w.By == ByOwner && a.State.Live() && !b.now().Before(a.Begins) {
		return apperr.Preconditionf("APPOINTMENT_PAST", "The time of this appointment has come or gone: please call the school.")
	}
	return nil
}

// Choose moves an appointment to one of the offered times, which is then confirmed; the time before is offered instead. An offer that is gone
// is a Conflict.
func (b *Book) Choose(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, offer ids.OfferID, w Word) (Appointment, error) {
	before, err := lockForTime(ctx, tx, id)
	if err != nil {
		return before, err
	}
	if err := b.mayChoose(ctx, tx, before, w); err != nil {
		return before, err
	}
	offers, err := ListOffers(ctx, tx, id)
	if err != nil {
		return before, err
	}
	after, left, found := before, []Slot{}, false
	for _, o := range offers {
		if o.ID == offer && o.Begins.After(b.now()) {
			after.Slot, found = o.Slot, true
			continue
		}
		left = append(left, o.Slot)
	}
	if !found {
		return before, errGone()
	}
	if before.State.Live() {
		left = append(left, before.Slot)
	}
	return b.keep(ctx, tx, before, after, ActChosen, w, func() error {
		if b.deps.Fits != nil {
			if err := b.deps.Fits(ctx, tx, after); err != nil {
				return err
			}
		}
		if err := takeOffer(ctx, tx, offer, b.now()); err != nil {
			return err
		}
		_, err := putOffers(ctx, tx, b.deps.Mint, id, left, b.now())
		return err
	})
}

func errGone() error {
	return apperr.Conflictf("TIME_GONE", "This time is not free any more: choose another one.")
}

// mayChoose refuses an owner who comes too late to choose.
func (b *Book) mayChoose(ctx context.Context, tx postgres.Tx, a Appointment, w Word) error {
	if w.By != ByOwner || !a.State.Live() {
		return nil
	}
	s, err := ReadSetting(ctx, tx, a.SiteID)
	if err != nil {
		return err
	}
	if !b.now().Before(s.lastMove(a)) {
		return apperr.Preconditionf("TOO_LATE_TO_MOVE", "The appointment is less than %d hours away, so it cannot be moved here: please call the school.", s.MoveHours)
	}
	return nil
}

// lastMove is until when an owner may choose another time.
func (s Setting) lastMove(a Appointment) time.Time {
	return a.Begins.Add(-time.Duration(s.MoveHours) * time.Hour)
}

// Ask notes that the owner asks for another time, in words of up to 500 characters.
func (b *Book) Ask(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, wish string, w Word) (Appointment, error) {
	before, err := lockAppointment(ctx, tx, id)
	if err != nil {
		return before, err
	}
	if err := b.toCome(before, w); err != nil {
		return before, err
	}
	after := before
	after.Wish = wish
	return b.keep(ctx, tx, before, after, ActAsked, w, nil)
}

// Late notes that the owner will be late by some minutes, 1 to 240.
func (b *Book) Late(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, minutes int, w Word) (Appointment, error) {
	before, err := lockAppointment(ctx, tx, id)
	if err != nil {
		return before, err
	}
	after := before
	after.LateMinutes = minutes
	return b.keep(ctx, tx, before, after, ActLate, w, nil)
}

// Missed notes that the owner did not come. The next times are those among which the owner may choose.
func (b *Book) Missed(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, next []Slot, w Word) (Appointment, error) {
	before, err := lockAppointment(ctx, tx, id)
	if err != nil {
		return before, err
	}
	return b.keep(ctx, tx, before, before, ActMissed, w, func() error {
		_, err := putOffers(ctx, tx, b.deps.Mint, id, next, b.now())
		return err
	})
}

// Held notes that an appointment was held. Nothing can be chosen any more.
func (b *Book) Held(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, w Word) (Appointment, error) {
	return b.end(ctx, tx, id, ActHeld, w)
}

// Cancel cancels an appointment.
func (b *Book) Cancel(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, w Word) (Appointment, error) {
	return b.end(ctx, tx, id, ActCancelled, w)
}

func (b *Book) end(ctx context.Context, tx postgres.Tx, id ids.AppointmentID, act Act, w Word) (Appointment, error) {
	before, err := lockAppointment(ctx, tx, id)
	if err != nil {
		return before, err
	}
	return b.keep(ctx, tx, before, before, act, w, func() error {
		_, err := putOffers(ctx, tx, b.deps.Mint, id, nil, b.now())
		return err
	})
}

// BookLesson books a lesson after a stay, as agreed with the owner.
func (b *Book) BookLesson(ctx context.Context, tx postgres.Tx, stay StayRef, slot Slot, w Word) (Appointment, error) {
	if err := lockSite(ctx, tx, stay.SiteID); err != nil {
		return Appointment{}, err
	}
	after := Appointment{ID: ids.AppointmentID(b.deps.Mint()), Purpose: PurposeLesson, StayID: stay.ID, RequestID: stay.RequestID, DogID: stay.DogID, OwnerID: stay.OwnerID,
		SiteID: stay.SiteID, Slot: slot, MadeAt: b.now()}
	return b.keep(ctx, tx, Appointment{}, after, ActBooked, w, nil)
}
