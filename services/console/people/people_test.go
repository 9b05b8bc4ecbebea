package people_test

import (
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

var shownPassword = regexp.MustCompile(`<code>([a-z2-9-]{19})</code>`)

// TestLettingSomebodyIn: from the manager's page to the new person's own password, behind the door that the program has.
func TestLettingSomebodyIn(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Kept: true})
	rosa := s.As(t, "manager")
	page := rosa.Get(t, "/people")
	require.Equal(t, http.StatusOK, page.Status)
	require.Contains(t, page.Body, "Ingo Marsh")
	require.Contains(t, page.Body, ">Tarnholt Yard (TARN)</option>")

	bad := rosa.Post(t, "/people", "/people", url.Values{"login": {"Jo Marsh"}, "name": {"Jo <b>Marsh</b>"}, "role": {"office"}})
	require.Equal(t, http.StatusUnprocessableEntity, bad.Status)
	require.Contains(t, bad.Body, `value="Jo Marsh"`, "what was written stays")
	require.Contains(t, bad.Body, "must be a letter or digit")

	added := rosa.Post(t, "/people", "/people", url.Values{"login": {"jo.marsh"}, "name": {"Jo Marsh"}, "role": {"site-lead"}, "site": {"TARN"}})
	require.Equal(t, http.StatusOK, added.Status)
	found := shownPassword.FindStringSubmatch(added.Body)
	require.Len(t, found, 2)
	for _, cookie := range added.Header.Values("Set-Cookie") {
		require.NotContains(t, cookie, found[1])
	}
	require.Contains(t, rosa.Get(t, "/people").Body, "to choose a password")

	jo := s.Visitor(t)
	in := jo.PostBare(t, "/sign-in", url.Values{"login": {"jo.marsh"}, "password": {found[1]}, "back": {"/"}})
	require.Equal(t, "/password", in.Path, "a password of one's own comes first")
	require.Equal(t, "/password", jo.Get(t, "/people").Path)
	weak := jo.Post(t, "/password", "/password", url.Values{"old": {found[1]}, "new": {"short"}, "again": {"short"}})
	require.Equal(t, http.StatusUnprocessableEntity, weak.Status)
	require.Contains(t, weak.Body, "at least 15 characters")
	done := jo.Post(t, "/password", "/password", url.Values{"old": {found[1]}, "new": {"ponds under seven lanterns"}, "again": {"ponds under seven lanterns"}})
	require.Contains(t, done.Body, "Your password is changed")
	require.Equal(t, http.StatusForbidden, jo.Get(t, "/people").Status, "a site lead does not say who may sign in")
	require.NotContains(t, jo.Get(t, "/password").Body, `href="/people"`, "and is shown no way there")

	out := rosa.Post(t, "/people/jo.marsh", "/people/jo.marsh/out", nil)
	require.Contains(t, out.Body, "Shut out. Their open visits have ended.")
	require.Equal(t, "/sign-in", jo.Get(t, "/password").Path, "at once")
	again := rosa.Post(t, "/people/jo.marsh", "/people/jo.marsh/in", nil)
	require.Contains(t, again.Body, "may sign in again")
	changed := rosa.Post(t, "/people/jo.marsh", "/people/jo.marsh", url.Values{"name": {"Jo Marsh-Field"}, "role": {"trainer"}, "trainer": {"IMARA"}})
	require.Contains(t, changed.Body, "Jo Marsh-Field")
	handed := rosa.Post(t, "/people/jo.marsh", "/people/jo.marsh/password", nil)
	require.Regexp(t, shownPassword, handed.Body)
	require.Equal(t, http.StatusNotFound, rosa.Get(t, "/people/nobody").Status)
}

// TestTheLastManagerStays: what may not be done is not shown, and is refused all the same.
func TestTheLastManagerStays(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true, Kept: true})
	rosa := s.As(t, "manager")
	page := rosa.Get(t, "/people/rosa")
	require.Contains(t, page.Body, "The last manager.")
	require.NotContains(t, page.Body, "/people/rosa/out")
	require.NotContains(t, page.Body, `value="viewer"`)
	refused := rosa.Post(t, "/people/rosa", "/people/rosa/out", nil)
	require.Equal(t, http.StatusConflict, refused.Status)
	require.Contains(t, refused.Body, "is the last manager who may sign in")
	rosa.Post(t, "/people/ingo", "/people/ingo", url.Values{"name": {"Ingo Marsh"}, "role": {"manager"}})
	require.Contains(t, rosa.Get(t, "/people/rosa").Body, "/people/rosa/out")
}

// TestGuessingAtTheDoor: the page says when to try again, and what is wrong in words that do not tell who is here.
func TestGuessingAtTheDoor(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true, Kept: true})
	c := s.Visitor(t)
	var bodies []string
	for _, login := range []string{"rosa", "nobody<script>"} {
		r := c.PostBare(t, "/sign-in", url.Values{"login": {login}, "password": {"wrong, all wrong"}})
		require.Equal(t, http.StatusUnauthorized, r.Status)
		require.Contains(t, r.Body, "do not go together")
		require.NotContains(t, r.Body, "<script>")
		bodies = append(bodies, regexp.MustCompile(`value="[^"]*"`).ReplaceAllString(r.Body, ""))
	}
	require.Equal(t, bodies[0], bodies[1])
	for range 4 {
		c.PostBare(t, "/sign-in", url.Values{"login": {"rosa"}, "password": {"wrong, all wrong"}})
	}
	held := c.PostBare(t, "/sign-in", url.Values{"login": {"rosa"}, "password": {consoletest.Password}})
	require.Equal(t, http.StatusTooManyRequests, held.Status)
	require.Contains(t, held.Body, "Try again in")
}

func TestNobodyIsThere(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true, Kept: true})
	_, err := s.Pool.Exec(t.Context(), `update people.person set disabled_at = now()`)
	require.NoError(t, err)
	require.Contains(t, s.Visitor(t).Get(t, "/sign-in").Body, "longlead people add")
}

// TestHostileNames: whatever a name holds, it is text.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true, Kept: true})
	const hostile = `"><script>alert(1)</script>'` + "`{{.}}"
	_, err := peoplev1.NewPeopleServiceClient(s.Conn).AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: "a+b@c.d", Name: hostile, Role: "viewer"})
	require.NoError(t, err)
	rosa := s.As(t, "manager")
	for _, path := range []string{"/people", "/people/a+b@c.d"} {
		page := rosa.Get(t, path)
		require.Equal(t, http.StatusOK, page.Status, path)
		require.NotContains(t, page.Body, "<script>alert")
		require.Contains(t, page.Body, "&lt;script&gt;alert(1)")
	}
}

// TestStatements: what a page costs does not grow with the people on it.
func TestStatements(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Kept: true})
	rosa := s.As(t, "manager")
	rosa.Get(t, "/people")
	few := s.Statements(func() { rosa.Get(t, "/people") })
	for _, login := range []string{"a", "b", "c", "d", "e"} {
		_, err := peoplev1.NewPeopleServiceClient(s.Conn).AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: login, Name: login, Role: "trainer", Password: consoletest.Password})
		require.NoError(t, err)
	}
	require.Equal(t, few, s.Statements(func() { rosa.Get(t, "/people") }))
	require.LessOrEqual(t, few, int64(12))
}

func TestPeopleInABrowser(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Kept: true})
	b := s.Browser(t, "manager")
	b.Judge(t, "people", "/people")
	b.Judge(t, "person", "/people/ingo")
	b.Judge(t, "person-last", "/people/rosa")
	b.Open(t, "/people/ingo")
	b.Click(t, `form[action$="/password"] button`)
	b.Await(t, "the password is shown", `document.querySelector("code") !== null`)
	b.JudgeHere(t, "person-password", 1280)
}
