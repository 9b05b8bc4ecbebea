package handover

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// inputs reads the hidden fields of the first form of a page, which all forms of an appointment share.
func inputs(t testing.TB, body string) url.Values {
	t.Helper()
	form := url.Values{}
	for _, m := range regexp.MustCompile(`<input type="hidden" name="(\w+)" value="([^"]*)">`).FindAllStringSubmatch(body, 3) {
		form.Set(m[1], m[2])
	}
	require.Len(t, form, 3, body)
	return form
}

// TestAnOwnerConfirmsAndMoves goes the way of a browser without script.
func TestAnOwnerConfirmsAndMoves(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	_, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	path := LinkPath(token)
	page := s.send(t, "GET", path, nil, nil)
	require.Equal(t, 200, page.Code, page.Body)
	for _, words := range []string{"bo goes home", "Please answer", "Saturday, 20 March 2027", "10:00 to 11:30", "MDT (America/Denver, UTC-06:00)", "Hillside Yard; arrive at the main gate", "Ana Reyes",
		"Yes, we will come", "13:00 to 14:30", "Heel: on the left, on a loose lead", "other dogs", "until Friday, 19 March 2027, 10:00"} {
		require.Contains(t, page.Body.String(), words)
	}
	form := inputs(t, page.Body.String())
	form.Set("do", "confirm")
	done := s.send(t, "POST", path, form, map[string]string{"Sec-Fetch-Site": "same-origin"})
	require.Equal(t, 303, done.Code, done.Body)
	require.Equal(t, path, done.Header().Get("Location"))
	page = s.send(t, "GET", path, nil, nil)
	require.Contains(t, page.Body.String(), `<p class="state">Confirmed</p>`)
	require.NotContains(t, page.Body.String(), "Yes, we will come")

	form = inputs(t, page.Body.String())
	form.Set("do", "choose")
	form.Set("offer", regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(page.Body.String())[1])
	done = s.send(t, "POST", path, form, nil)
	require.Equal(t, 303, done.Code, done.Body)
	page = s.send(t, "GET", path, nil, nil)
	require.Contains(t, page.Body.String(), `<b>13:00 to 14:30</b>`)

	form = inputs(t, page.Body.String())
	form.Set("do", "ask")
	form.Set("note", "after work, <b>please</b>")
	done = s.send(t, "POST", path, form, nil)
	require.Equal(t, 303, done.Code, done.Body)
	page = s.send(t, "GET", path, nil, nil)
	require.Contains(t, page.Body.String(), "after work, &lt;b&gt;please&lt;/b&gt;")
	var acts []Act
	for _, c := range s.told() {
		acts = append(acts, c.Act)
		require.Equal(t, ByOwner, c.By)
	}
	require.Equal(t, []Act{ActConfirmed, ActChosen, ActAsked}, acts)
}

// TestTwoWhoWantOneTime: of owners who choose the same time at the same moment one gets it, and the others are told.
func TestTwoWhoWantOneTime(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	wanted := slotAt(t, "2027-03-22", "10:00")
	var posts []func() int
	for i, dog := range []string{"BO", "DOT", "EMU"} {
		_, token := s.place(t, dog, slotAt(t, fmt.Sprintf("2027-03-1%d", 2+i), "10:00"), wanted)
		page := s.send(t, "GET", LinkPath(token), nil, nil).Body.String()
		form := inputs(t, page)
		form.Set("do", "choose")
		form.Set("offer", regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(page)[1])
		for range 2 { // a tap too many
			posts = append(posts, func() int { return s.send(t, "POST", LinkPath(token), form, nil).Code })
		}
	}
	codes := make([]int, len(posts))
	var all sync.WaitGroup
	for i, post := range posts {
		all.Go(func() { codes[i] = post() })
	}
	all.Wait()
	slices.Sort(codes)
	require.Equal(t, []int{303, 409, 409, 409, 409, 409}, codes)
	live, err := ListLive(t.Context(), s.pool, siteRef.ID, wanted.Begins, wanted.Ends)
	require.NoError(t, err)
	require.Len(t, live, 1)
	require.Equal(t, wanted, live[0].Slot)
	require.Len(t, s.told(), 1)
}
