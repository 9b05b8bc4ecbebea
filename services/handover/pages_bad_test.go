package handover

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
)

// alter changes one character of a token.
func alter(token string) string {
	last := token[len(token)-2]
	other := byte('a')
	if last == other {
		other = 'b'
	}
	return token[:len(token)-2] + string(other) + token[len(token)-1:]
}

// TestReadingChangesNothing: programs that open the links in mail, whatever they ask for, confirm nothing.
func TestReadingChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	before := s.contents(t)
	path := LinkPath(token)
	query := "?do=confirm&appointment=" + a.ID.String() + "&revision=1&form=" + formToken(token, a)
	for _, c := range []struct {
		method, path string
		code         int
	}{
		{"GET", path, 200}, {"HEAD", path, 200}, {"GET", path + query, 200}, {"HEAD", path + query, 200}, {"GET", path + "/" + a.ID.String() + ".ics", 200},
		{"GET", path + "/" + a.ID.String() + ".ics" + query, 200}, {"GET", path + "/confirm", 404}, {"OPTIONS", path, 404}, {"PUT", path + query, 404}, {"DELETE", path, 404},
		{"GET", path + "/", 404}, {"POST", path + "/" + a.ID.String() + ".ics", 404},
	} {
		for range 2 {
			got := s.send(t, c.method, c.path, nil, map[string]string{"Sec-Purpose": "prefetch", "User-Agent": "link scanner"})
			require.Equal(t, c.code, got.Code, "%s %s", c.method, strings.ReplaceAll(c.path, token, "TOKEN"))
		}
	}
	require.Equal(t, before, s.contents(t))
	require.Empty(t, s.told())
}

// TestLinksThatOpenNothing: whatever is wrong with a link, the answer is the same, and nothing is changed.
func TestLinksThatOpenNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, expired := s.place(t, "BO", slotAt(t, "2027-03-10", "10:00"))
	b, shut := s.place(t, "DOT", slotAt(t, "2027-03-12", "10:00"))
	_, foreign := s.place(t, "EMU", slotAt(t, "2027-05-12", "10:00"))
	require.NoError(t, postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error { return shutLinks(t.Context(), tx, b.RequestID, "office", testNow) }))
	s.told()
	s.at(a.Ends.AddDate(0, 0, linkDays).Add(time.Hour)) // an hour more for the clocks that went forward
	before := s.contents(t)
	form := func(token string) url.Values {
		return url.Values{"do": {"confirm"}, "appointment": {a.ID.String()}, "revision": {"1"}, "form": {formToken(token, a)}}
	}
	var first string
	for name, token := range map[string]string{"expired": expired, "shut": shut, "altered": alter(foreign), "short": foreign[:20], "empty": "%20", "long": strings.Repeat("A", 4000), "hash": "0x" + strings.Repeat("ab", 32)} {
		for _, got := range []*httptest.ResponseRecorder{s.send(t, "GET", LinkPath(token), nil, nil), s.send(t, "POST", LinkPath(token), form(token), nil),
			s.send(t, "GET", LinkPath(token)+"/"+a.ID.String()+".ics", nil, nil)} {
			require.Equal(t, 404, got.Code, "%s %s", name, got.Body)
			require.Contains(t, got.Body.String(), "This link does not open anything, or not any more.", name)
			if first == "" {
				first = got.Body.String()
			}
			require.Equal(t, first, got.Body.String(), name)
			require.NotContains(t, got.Body.String(), token[:min(len(token), 20)])
		}
	}
	// The link of another stay opens that one, and answers for no other.
	require.Contains(t, s.send(t, "GET", LinkPath(foreign), nil, nil).Body.String(), "emu goes home")
	got := s.send(t, "POST", LinkPath(foreign), form(foreign), nil)
	require.Equal(t, 403, got.Code)
	require.Contains(t, got.Body.String(), "did not come from the page of this link")
	require.Equal(t, 404, s.send(t, "GET", LinkPath(foreign)+"/"+a.ID.String()+".ics", nil, nil).Code)
	require.Equal(t, before, s.contents(t))
	require.Empty(t, s.told())
	for _, token := range []string{expired, shut, foreign} {
		require.NotContains(t, s.log.String(), token, "no link goes into the log")
	}
	require.NotEmpty(t, s.contents(t))
	for _, row := range s.contents(t) {
		require.NotContains(t, row, foreign, "the token is kept nowhere")
	}
}

// TestFormsThatAreNotTaken: each forged or spoilt answer is refused with words that say what to do, and changes nothing.
func TestFormsThatAreNotTaken(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	b, other := s.place(t, "DOT", slotAt(t, "2027-03-21", "10:00"), slotAt(t, "2027-03-21", "13:00"))
	path := LinkPath(token)
	good := inputs(t, s.send(t, "GET", path, nil, nil).Body.String())
	theirs := s.send(t, "GET", LinkPath(other), nil, nil).Body.String()
	foreignOffer := regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(theirs)[1]
	before := s.contents(t)
	with := func(pairs ...string) url.Values {
		form := url.Values{}
		for k, v := range good {
			form[k] = v
		}
		for i := 0; i < len(pairs); i += 2 {
			form.Set(pairs[i], pairs[i+1])
		}
		return form
	}
	site := map[string]string{"Sec-Fetch-Site": "same-origin"}
	for _, c := range []struct {
		name   string
		form   url.Values
		header map[string]string
		code   int
		says   string
	}{
		{"nothing", url.Values{}, site, 403, "did not come from the page of this link"},
		{"no form token", with("do", "confirm", "form", ""), site, 403, "did not come from the page of this link"},
		{"altered form token", with("do", "confirm", "form", alter(good.Get("form"))), site, 403, "did not come from the page of this link"},
		{"form token of another link", with("do", "confirm", "form", formToken(other, a)), site, 403, "did not come from the page of this link"},
		{"another appointment", with("do", "confirm", "appointment", b.ID.String()), site, 403, "did not come from the page of this link"},
		{"another appointment, bound", with("do", "confirm", "appointment", b.ID.String(), "form", formToken(token, b)), site, 403, "did not come from the page of this link"},
		{"another revision", with("do", "confirm", "revision", "2"), site, 403, "did not come from the page of this link"},
		{"revision 0", with("do", "confirm", "revision", "0", "form", formToken(token, Appointment{ID: a.ID})), site, 403, "did not come from the page of this link"},
		{"unknown act", with("do", "cancel"), site, 403, "did not come from the page of this link"},
		{"no time", with("do", "choose"), site, 400, "choose one of the times"},
		{"somebody else's time", with("do", "choose", "offer", foreignOffer), site, 409, "not free any more"},
		{"no note", with("do", "ask", "note", "  \n "), site, 400, "write when you could come"},
		{"long note", with("do", "ask", "note", strings.Repeat("é", 501)), site, 400, "longer than 500 characters"},
		{"broken note", with("do", "ask", "note", "a\x00b"), site, 400, "cannot be read"},
		{"no UTF-8", with("do", "ask", "note", "a\xffb"), site, 400, "cannot be read"},
		{"10 MB", with("do", "ask", "note", strings.Repeat("a", 10<<20)), site, 413, "far too long"},
		{"another site", with("do", "confirm"), map[string]string{"Sec-Fetch-Site": "cross-site"}, 403, "CROSS_ORIGIN"},
		{"another origin", with("do", "confirm"), map[string]string{"Origin": "https://elsewhere.example"}, 403, "CROSS_ORIGIN"},
	} {
		got := s.send(t, http.MethodPost, path, c.form, c.header)
		require.Equal(t, c.code, got.Code, "%s: %.200s", c.name, got.Body)
		require.Contains(t, got.Body.String(), c.says, c.name)
		require.NotContains(t, got.Body.String(), "elsewhere")
		require.Equal(t, before, s.contents(t), c.name)
	}
	multipart := httptest.NewRequestWithContext(t.Context(), "POST", path, strings.NewReader("--x\r\n\r\n--x--"))
	multipart.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	w := httptest.NewRecorder()
	s.web.ServeHTTP(w, multipart)
	require.Equal(t, 403, w.Code)
	require.Empty(t, s.told())
	require.Equal(t, before, s.contents(t))
}

// TestAFormIsTakenOnce: a form that was sent already, or that is older than the appointment, has no effect.
func TestAFormIsTakenOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	path := LinkPath(token)
	page := s.send(t, "GET", path, nil, nil).Body.String()
	confirm, choose := inputs(t, page), inputs(t, page)
	confirm.Set("do", "confirm")
	choose.Set("do", "choose")
	choose.Set("offer", regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(page)[1])
	require.Equal(t, 303, s.send(t, "POST", path, confirm, nil).Code)
	before := s.contents(t)
	require.Equal(t, 303, s.send(t, "POST", path, confirm, nil).Code, "a second tap on yes is a yes")
	require.Equal(t, before, s.contents(t))
	got := s.send(t, "POST", path, choose, nil)
	require.Equal(t, 409, got.Code)
	require.Contains(t, got.Body.String(), "has changed since you looked at it")
	require.Contains(t, got.Body.String(), `<a href="`+path+`">Back to the appointment</a>`)
	require.Equal(t, before, s.contents(t))
	require.Len(t, s.told(), 1)

	// What was cancelled is shown and asks for nothing.
	_, err := in(t, s, func(tx postgres.Tx) (Appointment, error) {
		return s.book.Cancel(t.Context(), tx, a.ID, Word{By: "office", Why: "test"})
	})
	require.NoError(t, err)
	page = s.send(t, "GET", path, nil, nil).Body.String()
	require.Contains(t, page, `<p class="state">Cancelled</p>`)
	require.NotContains(t, page, "<form")
	require.Equal(t, 404, s.send(t, "GET", path+"/"+a.ID.String()+".ics", nil, nil).Code)
}

// TestAnOwnerWhoComesTooLate: close to the appointment only calling helps, and once it has begun nothing is answered here.
func TestAnOwnerWhoComesTooLate(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	a, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"), slotAt(t, "2027-03-20", "13:00"))
	path := LinkPath(token)
	page := s.send(t, "GET", path, nil, nil).Body.String()
	confirm, choose, ask := inputs(t, page), inputs(t, page), inputs(t, page)
	confirm.Set("do", "confirm")
	choose.Set("do", "choose")
	choose.Set("offer", regexp.MustCompile(`name="offer" value="([^"]+)"`).FindStringSubmatch(page)[1])
	ask.Set("do", "ask")
	ask.Set("note", "tomorrow")
	s.at(a.Begins.Add(-24 * time.Hour))
	page = s.send(t, "GET", path, nil, nil).Body.String()
	require.Contains(t, page, "Yes, we will come")
	require.NotContains(t, page, "Take this time")
	require.Contains(t, page, "too close to be moved here")
	before := s.contents(t)
	got := s.send(t, "POST", path, choose, nil)
	require.Equal(t, 409, got.Code)
	require.Contains(t, got.Body.String(), "less than 24 hours away")
	s.at(a.Begins)
	for _, form := range []url.Values{confirm, ask} {
		got = s.send(t, "POST", path, form, nil)
		require.Equal(t, 409, got.Code)
		require.Contains(t, got.Body.String(), "has come or gone")
	}
	page = s.send(t, "GET", path, nil, nil).Body.String()
	require.NotContains(t, page, "<form")
	require.Equal(t, before, s.contents(t))
}

// TestNotesAndNamesAreText: what people write comes out as they wrote it and is never markup.
func TestNotesAndNamesAreText(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	stay := s.stays["BO"]
	stay.DogName = `</title><script>alert(1)</script> "Żółw" & O'Brien`
	s.stays["BO"] = stay
	set := Defaults(siteRef.ID)
	set.Phone, set.Who, set.Place = "javascript:alert(1) 555-0100", "<img src=x onerror=alert(1)>", "</style><script>"
	set.Bring = []string{`<a href="javascript:alert(1)">x</a>`}
	require.NoError(t, postgres.InTx(t.Context(), s.pool, func(tx postgres.Tx) error { return putSettings(t.Context(), tx, []Setting{set}) }))
	_, token := s.place(t, "BO", slotAt(t, "2027-03-20", "10:00"))
	got := s.send(t, "GET", LinkPath(token), nil, nil)
	body := got.Body.String()
	require.NotContains(t, body, "<script")
	require.NotContains(t, body, "<img")
	require.NotContains(t, body, `href="javascript`)
	require.Contains(t, body, `href="tel:15550100"`)
	require.Contains(t, body, "&lt;script&gt;alert(1)&lt;/script&gt; &#34;Żółw&#34; &amp; O&#39;Brien goes home")
	policy := got.Header().Get("Content-Security-Policy")
	require.NotContains(t, policy, "unsafe")
	require.Contains(t, policy, "default-src 'none'; style-src 'sha256-")
	require.Equal(t, "no-store", got.Header().Get("Cache-Control"))
	require.Equal(t, "same-origin", got.Header().Get("Referrer-Policy"))
}
