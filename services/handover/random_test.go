package handover

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// TestAnythingInAnyOrder does acts at random with three dogs in a real database, and recounts after each what must hold, without the code that
// keeps it. An act that is refused must leave no trace.
func TestAnythingInAnyOrder(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	done := map[Act]int{}
	rapid.Check(t, func(r *rapid.T) {
		s.at(testNow)
		outer, err := s.pool.Begin(context.Background())
		require.NoError(r, err)
		defer func() { _ = outer.Rollback(context.Background()) }()
		w := &walk{school: s, r: r, outer: outer}
		for range rapid.IntRange(3, 14).Draw(r, "acts") {
			for _, c := range w.step() {
				done[c.Act]++
			}
		}
	})
	require.Greater(t, len(done), 8, "most acts were done: %v", done)
}

type walk struct {
	*school
	r     *rapid.T
	outer postgres.Tx
}

// slot draws a time of which others are likely to be in the way.
func (w *walk) slot(name string) Slot {
	r := w.r
	s := Slot{TrainerID: rapid.SampledFrom([]TrainerRef{ana, ben}).Draw(r, name+" trainer").ID, Gate: rapid.SampledFrom([]string{"main gate", "north gate"}).Draw(r, name+" gate"),
		AreaID: rapid.SampledFrom([]ids.AreaID{quiet.ID, yard.ID, {}}).Draw(r, name+" area")}
	s.Begins = testNow.Add(time.Duration(rapid.IntRange(0, 60).Draw(r, name+" begin")) * 5 * time.Minute)
	s.Ends = s.Begins.Add(time.Duration(rapid.IntRange(3, 18).Draw(r, name+" length")) * 5 * time.Minute)
	return s
}

// step does one thing in a transaction inside the outer one, and undoes it when it is refused.
func (w *walk) step() []Change {
	r, ctx := w.r, context.Background()
	if rapid.IntRange(0, 3).Draw(r, "wait") == 0 {
		w.at(w.clock().Add(time.Duration(rapid.IntRange(1, 24).Draw(r, "minutes")) * 10 * time.Minute))
	}
	before := w.dump()
	w.told()
	tx, err := w.outer.Begin(ctx)
	require.NoError(r, err)
	err = w.act(ctx, tx)
	told := w.told()
	if err != nil {
		_, known := apperr.From(err)
		require.True(r, known, "%v", err)
		require.NoError(r, tx.Rollback(ctx))
		require.Equal(r, before, w.dump())
		return nil
	}
	require.NoError(r, tx.Commit(ctx))
	require.LessOrEqual(r, len(told), 1)
	if len(told) == 0 {
		require.Equal(r, before, w.dump(), "nobody is told of nothing")
		return nil
	}
	c := told[0]
	require.Equal(r, c.Noticed(), c.LinkToken != "")
	w.recount(c)
	return told
}

// act draws a thing to do with one of the dogs and does it.
func (w *walk) act(ctx context.Context, tx postgres.Tx) error {
	r := w.r
	dog := rapid.SampledFrom([]string{"BO", "DOT", "EMU"}).Draw(r, "dog")
	a, _, err := OfRequest(ctx, tx, w.stays[dog].RequestID)
	require.NoError(r, err)
	word := Word{By: rapid.SampledFrom([]string{"office", "office", ByOwner}).Draw(r, "by"), Why: "test", Revision: rapid.SampledFrom([]int{0, 0, 0, 1, a.Revision}).Draw(r, "revision")}
	what := rapid.IntRange(0, 17).Draw(r, "what")
	if a.Revision == 0 && what != 11 {
		what = 0 // nothing else can be done before
	}
	switch what {
	case 0, 1:
		p := w.placing(dog, w.slot("place"), w.slot("other"))
		p.NotReady = rapid.Bool().Draw(r, "not ready")
		_, err = w.book.Place(ctx, tx, p)
	case 2:
		_, err = w.book.Confirm(ctx, tx, a.ID, word)
	case 3, 12, 13, 14, 15:
		offers, bad := ListOffers(ctx, tx, a.ID)
		require.NoError(r, bad)
		id := ids.OfferID(testID(1))
		if len(offers) > 0 {
			id = offers[rapid.IntRange(0, len(offers)-1).Draw(r, "offer")].ID
		}
		_, err = w.book.Choose(ctx, tx, a.ID, id, word)
	case 4:
		_, err = w.book.Ask(ctx, tx, a.ID, "in the evening", word)
	case 5:
		_, err = w.book.Move(ctx, tx, a.ID, w.slot("move"), []Slot{w.slot("other")}, rapid.Bool().Draw(r, "not ready"), word)
	case 6:
		_, err = w.book.Late(ctx, tx, a.ID, 20, word)
	case 7, 16:
		_, err = w.book.Missed(ctx, tx, a.ID, []Slot{w.slot("next")}, word)
	case 8:
		_, err = w.book.Held(ctx, tx, a.ID, word)
	case 9, 17:
		_, err = w.book.Cancel(ctx, tx, a.ID, word)
	case 10:
		_, err = w.book.AddOffers(ctx, tx, a.ID, []Slot{w.slot("more")}, word)
	case 11:
		_, err = w.book.BookLesson(ctx, tx, w.stays[dog], w.slot("lesson"), word)
	}
	return err
}

// dump is all rows but those of links, whose tokens differ.
func (w *walk) dump() []string {
	var out []string
	for _, table := range []string{"appointment", "offer", "change", "link"} {
		rows, err := postgres.List[struct{ Text string }](context.Background(), w.outer, "read "+table, `select r::text as text from handover.`+table+` r order by 1`)
		require.NoError(w.r, err)
		for _, row := range rows {
			out = append(out, table+" "+row.Text)
		}
	}
	return out
}

// recount holds all appointments against what must hold of them.
func (w *walk) recount(c Change) {
	r, ctx := w.r, context.Background()
	all, err := ListAll(ctx, w.outer, siteRef.ID, testNow.AddDate(-1, 0, 0), testNow.AddDate(1, 0, 0))
	require.NoError(r, err)
	openHandovers := map[ids.StayID]int{}
	for i, a := range all {
		if a.ID == c.After.ID {
			require.Equal(r, c.After, a)
		}
		if a.Purpose == PurposeHandover && a.State != Held && a.State != Cancelled {
			openHandovers[a.StayID]++
			require.Equal(r, 1, openHandovers[a.StayID])
		}
		taken := func(x Appointment) bool { return x.State != Missed && x.State != Cancelled }
		if !taken(a) {
			continue
		}
		for _, o := range all[i+1:] {
			if !taken(o) {
				continue
			}
			together := a.Begins.Before(o.Ends) && o.Begins.Before(a.Ends)
			if together && (a.TrainerID == o.TrainerID || a.DogID == o.DogID || a.AreaID == o.AreaID && a.AreaID == quiet.ID) {
				r.Fatalf("%s and %s are together", a.ID, o.ID)
			}
			if a.Gate == o.Gate && (a.Begins.Sub(o.Begins).Abs() < 10*time.Minute || a.Ends.Sub(o.Ends).Abs() < 10*time.Minute) {
				r.Fatalf("%s and %s meet at the %s", a.ID, o.ID, a.Gate)
			}
		}
	}
	w.recountHistory(all)
}

// recountHistory: revisions are whole, each begins where the one before ended, each is an act of the table, and the last is what there is.
func (w *walk) recountHistory(all []Appointment) {
	r, ctx := w.r, context.Background()
	for _, a := range all {
		entries, err := ListChanges(ctx, w.outer, []ids.AppointmentID{a.ID})
		require.NoError(r, err)
		require.Len(r, entries, a.Revision)
		slices.SortFunc(entries, func(x, y Entry) int { return x.Revision - y.Revision })
		before := Appointment{}
		for i, e := range entries {
			require.Equal(r, i+1, e.Revision)
			if i > 0 {
				require.Equal(r, before, *e.Before)
			}
			require.Contains(r, steps[e.Act].from, before.State, fmt.Sprint(e.Act))
			before = e.After
		}
		require.Equal(r, a, before)
	}
}
