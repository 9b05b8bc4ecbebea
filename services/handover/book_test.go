package handover

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// TestOneHandoverFromOfferToLesson walks the usual way, and looks at all that is kept and told.
func TestOneHandoverFromOfferToLesson(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first, second := slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00")
	a, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Place(t.Context(), tx, s.placing("BO", first, second))
	})
	require.NoError(t, err)
	require.Equal(t, Appointment{ID: a.ID, Purpose: PurposeHandover, StayID: s.stays["BO"].ID, RequestID: s.stays["BO"].RequestID, DogID: s.stays["BO"].DogID, OwnerID: s.stays["BO"].OwnerID,
		SiteID: siteRef.ID, Slot: first, State: Offered, Version: 1, Revision: 1, MadeAt: testNow, ChangedAt: testNow}, a)
	kept, ok, err := OfStay(t.Context(), s.pool, a.StayID)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, a, kept)
	told := s.told()
	require.Len(t, told, 1)
	require.NotEmpty(t, told[0].LinkToken)
	require.Equal(t, Change{After: a, Act: ActPlaced, By: "planner", Why: "month published", LinkToken: told[0].LinkToken}, told[0])

	// The same again changes nothing and tells nobody.
	before := s.contents(t)
	same, _ := s.place(t, "BO", first, second)
	require.Equal(t, a, same)
	require.Equal(t, before, s.contents(t))

	confirmed, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Confirm(t.Context(), tx, a.ID, Word{By: ByOwner})
	})
	require.NoError(t, err)
	require.Equal(t, Confirmed, confirmed.State)
	require.Equal(t, 1, confirmed.Version)
	offers, err := s.book.FreeOffers(t.Context(), s.pool, confirmed)
	require.NoError(t, err)
	require.Len(t, offers, 1)
	chosen, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Choose(t.Context(), tx, a.ID, offers[0].ID, Word{By: ByOwner})
	})
	require.NoError(t, err)
	require.Equal(t, second, chosen.Slot)
	require.Equal(t, Confirmed, chosen.State)
	require.Equal(t, 2, chosen.Version)
	offers, err = s.book.FreeOffers(t.Context(), s.pool, chosen)
	require.NoError(t, err)
	require.Len(t, offers, 1, "the time before is offered instead")
	require.Equal(t, first, offers[0].Slot)

	_, err = in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Held(t.Context(), tx, a.ID, Word{By: "office"})
	})
	refuses(t, err, apperr.Precondition, "APPOINTMENT_TO_COME", "has not begun yet")
	s.at(second.Begins)
	_, err = in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Held(t.Context(), tx, a.ID, Word{By: "office"})
	})
	require.NoError(t, err)
	lesson, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.BookLesson(t.Context(), tx, s.stays["BO"], slotAt(t, "2027-04-03", "10:00"), Word{By: "office"})
	})
	require.NoError(t, err)
	require.Equal(t, Confirmed, lesson.State)
	var acts []Act
	for _, c := range s.told() {
		acts = append(acts, c.Act)
		require.Equal(t, c.Noticed(), c.LinkToken != "")
	}
	require.Equal(t, []Act{ActConfirmed, ActChosen, ActHeld, ActBooked}, acts)
	entries, err := ListChanges(t.Context(), s.pool, []ids.AppointmentID{a.ID})
	require.NoError(t, err)
	require.Len(t, entries, 4)
	require.Nil(t, entries[0].Before)
	for i, e := range entries {
		require.Equal(t, i+1, e.Revision)
		if i > 0 {
			require.Equal(t, entries[i-1].After, *e.Before)
		}
	}
	live, err := ListLive(t.Context(), s.pool, siteRef.ID, testNow, testNow.AddDate(0, 2, 0))
	require.NoError(t, err)
	require.Equal(t, []Appointment{lesson}, live)
}

// TestWhatChangedRefusesIsUndone: an error of the hook leaves nothing.
func TestWhatChangedRefusesIsUndone(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	before := s.contents(t)
	s.changed = errors.New("no mail")
	_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Place(t.Context(), tx, s.placing("BO", slotAt(t, "2027-03-20", "10:00")))
	})
	require.ErrorContains(t, err, "no mail")
	require.Equal(t, before, s.contents(t))
}

// TestAStayThatIsExtendedKeepsItsAppointment: the appointment goes on with the stay that takes the place of the first.
func TestAStayThatIsExtendedKeepsItsAppointment(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, _ := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"))
	_, err := s.pool.Exec(t.Context(), `update planner.stay set state = 'replaced' where id = $1`, a.StayID)
	require.NoError(t, err)
	stay := s.stays["BO"]
	stay.ID, stay.Graduation = ids.StayID(testID(90)), stay.Graduation.AddDays(3)
	s.newStay(t, stay, testID(23))
	s.stays["BO"] = stay
	p := s.placing("BO", slotAt(t, "2027-03-23", "10:00"))
	p.NotReady = true
	moved, err := in(t, s, func(tx postgres.Tx) (Appointment, error) { return s.book.Place(t.Context(), tx, p) })
	require.NoError(t, err)
	require.Equal(t, a.ID, moved.ID)
	require.Equal(t, a.UID(), moved.UID())
	require.Equal(t, stay.ID, moved.StayID)
	require.Equal(t, 2, moved.Version)
	told := s.told()
	require.Len(t, told, 1)
	require.Equal(t, ActNotReady, told[0].Act)
	_, ok, err := OfStay(t.Context(), s.pool, a.StayID)
	require.NoError(t, err)
	require.False(t, ok)

	// A stay that got another run is replaced as well: nobody is told of that.
	_, err = s.pool.Exec(t.Context(), `update planner.stay set state = 'replaced' where id = $1`, stay.ID)
	require.NoError(t, err)
	stay.ID = ids.StayID(testID(91))
	s.newStay(t, stay, testID(23))
	s.stays["BO"] = stay
	again, token := s.place(t, "BO", moved.Slot)
	require.Empty(t, token)
	require.Equal(t, stay.ID, again.StayID)
	require.Equal(t, moved.Version, again.Version)
	require.Equal(t, moved.Revision+1, again.Revision)
}

// TestTimesThatAreNotFree: each thing that can be in the way is named.
func TestTimesThatAreNotFree(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	ten := slotAt(t, "2027-03-20", "10:00")
	s.place(t, "BO", ten)
	with := func(change func(*Slot)) Slot {
		slot := ten
		slot.TrainerID, slot.AreaID, slot.Gate = ben.ID, yard.ID, "north gate"
		change(&slot)
		return slot
	}
	shift := func(slot *Slot, minutes int) {
		slot.Begins, slot.Ends = slot.Begins.Add(time.Duration(minutes)*time.Minute), slot.Ends.Add(time.Duration(minutes)*time.Minute)
	}
	for _, c := range []struct {
		name string
		slot Slot
		says string
	}{
		{"trainer", with(func(x *Slot) { x.TrainerID = ana.ID; shift(x, 60) }), "the trainer has another appointment then"},
		{"area", with(func(x *Slot) { x.AreaID = quiet.ID; shift(x, 60) }), "QUIET is taken then"},
		{"gate", with(func(x *Slot) { x.Gate = "main gate"; shift(x, 9) }), "within 10 minutes"},
		{"gate at the end", with(func(x *Slot) { x.Gate = "main gate"; shift(x, 30); x.Ends = ten.Ends }), "within 10 minutes"},
		{"another gate", with(func(x *Slot) {}), ""},
		{"gate later", with(func(x *Slot) { x.Gate = "main gate"; shift(x, 10) }), ""},
		{"after it", with(func(x *Slot) { x.TrainerID, x.AreaID = ana.ID, quiet.ID; shift(x, 90) }), ""},
	} {
		_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
			if _, err := s.book.Place(t.Context(), tx, s.placing("DOT", c.slot)); err != nil {
				return Appointment{}, err
			}
			return Appointment{}, errUndo
		})
		if c.says == "" {
			require.ErrorIs(t, err, errUndo, c.name)
			continue
		}
		refuses(t, err, apperr.Conflict, "TIME_TAKEN", c.says)
	}
}
