package handover

import (
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
)

// TestAnOwnerWhoDidNotComeChoosesAgain: the page says that the dog stays, offers the next times, and takes one.
func TestAnOwnerWhoDidNotComeChoosesAgain(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	slot := slotAt(t, "2027-03-20", "10:00")
	a, token := s.place(t, "BO", slot)
	s.at(slot.Ends)
	_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Missed(t.Context(), tx, a.ID, []Slot{slotAt(t, "2027-03-20", "11:00"), slotAt(t, "2027-03-21", "10:00")}, Word{By: "office", Why: "did not come"})
	})
	require.NoError(t, err)
	page := s.send(t, "GET", LinkPath(token), nil, nil).Body.String()
	require.Contains(t, page, "We missed you")
	require.Contains(t, page, "bo stays with us for the night.")
	require.Contains(t, page, "Choose a new time")
	require.NotContains(t, page, "11:00 to 12:30", "that has begun")
	require.NotContains(t, page, "Yes, we will come")
	form := inputs(t, page)
	form.Set("do", "choose")
	form.Set("offer", regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(page)[1])
	require.Equal(t, 303, s.send(t, "POST", LinkPath(token), form, nil).Code)
	page = s.send(t, "GET", LinkPath(token), nil, nil).Body.String()
	require.Contains(t, page, "Sunday, 21 March 2027")
	require.Contains(t, page, `<p class="state">Confirmed</p>`)
	now, err := Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, 3, now.Version)
	offers, err := ListOffers(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	for _, o := range offers {
		require.False(t, o.same(slot), "a time that is over is offered to nobody")
	}
}

// TestLessonsOnThePage: after the handover the page shows what was held and the lessons, each with an entry for the calendar.
func TestLessonsOnThePage(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	slot := slotAt(t, "2027-03-20", "10:00")
	a, token := s.place(t, "BO", slot)
	s.at(slot.Ends)
	_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Held(t.Context(), tx, a.ID, Word{By: "office"})
	})
	require.NoError(t, err)
	lesson, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.BookLesson(t.Context(), tx, s.stays["BO"], slotAt(t, "2027-04-03", "10:00"), Word{By: "office"})
	})
	require.NoError(t, err)
	page := s.send(t, "GET", LinkPath(token), nil, nil).Body.String()
	require.Contains(t, page, "bo and you")
	require.Less(t, strings.Index(page, "Handover of bo"), strings.Index(page, "Lesson with bo"))
	require.NotContains(t, page, "What to bring")
	require.Equal(t, 1, strings.Count(page, ".ics"))
	require.Equal(t, 200, s.send(t, "GET", LinkPath(token)+"/"+lesson.ID.String()+".ics", nil, nil).Code)
	form := inputs(t, page)
	form.Set("do", "ask")
	form.Set("note", "a week later")
	require.Equal(t, 303, s.send(t, "POST", LinkPath(token), form, nil).Code)
	asked, err := Find(t.Context(), s.pool, lesson.ID)
	require.NoError(t, err)
	require.Equal(t, Asked, asked.State)
	held, err := Find(t.Context(), s.pool, a.ID)
	require.NoError(t, err)
	require.Equal(t, Held, held.State)
}

// FuzzAnAnswer: whatever a form holds, it is read as an answer that could be one, or refused with words.
func FuzzAnAnswer(f *testing.F) {
	f.Add("do=confirm&appointment=0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f&revision=1&form=x")
	f.Add("do=ask&appointment=0193a5c0-7b1e-7cc1-9d2f-3a4b5c6d7e8f&revision=1&note=%ff%00")
	f.Add("do=choose&offer=1&do=ask;&%zz=1")
	f.Fuzz(func(t *testing.T, body string) {
		r := httptest.NewRequest("POST", "/handover/x", strings.NewReader(body))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		a, err := readAnswer(httptest.NewRecorder(), r)
		if err != nil {
			known, ok := apperr.From(err)
			require.True(t, ok)
			require.NotEmpty(t, known.Message)
			return
		}
		require.Contains(t, []string{"confirm", "choose", "ask"}, a.do)
		require.False(t, a.id.IsZero())
		require.Positive(t, a.revision)
		require.Equal(t, a.do == "choose", !a.offer.IsZero())
		if a.do == "ask" {
			require.True(t, a.note != "" && utf8.ValidString(a.note) && !strings.ContainsRune(a.note, 0) && utf8.RuneCountInString(a.note) <= mostNote, "%q", a.note)
		}
	})
}
