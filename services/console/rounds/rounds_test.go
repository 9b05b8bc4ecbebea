package rounds_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// day is a Tuesday on which AMINA works at DRUM, in Chicago; at is its 10:20 there.
const day = "2027-03-09"

var at = time.Date(2027, 3, 9, 16, 20, 0, 0, time.UTC)

const path = "/rounds/AMINA/" + day

// newSchool has the day planned.
func newSchool(t testing.TB) *consoletest.School {
	t.Helper()
	s := consoletest.New(t, consoletest.Set{March: true})
	s.SetNow(at)
	_, err := dayplanv1.NewDayPlanServiceClient(s.Conn).PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "DRUM", Day: day, LimitMs: 400, EvenIfBegun: true})
	require.NoError(t, err)
	return s
}

func sessions(t testing.TB, s *consoletest.School) (n int) {
	t.Helper()
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select count(*) from training.session where day = $1`, day).Scan(&n))
	return n
}

// fields are what a form on the page holds already.
func fields(t testing.TB, body string) url.Values {
	t.Helper()
	form := url.Values{}
	_, body, _ = strings.Cut(body, `<section id="log"`)
	for _, name := range []string{"key", "replaces", "line", "dog", "at"} {
		found := regexp.MustCompile(`name="` + name + `"[^>]* value="([^"]*)"|name="` + name + `" value="([^"]*)"`).FindStringSubmatch(body)
		require.NotNil(t, found, name)
		form.Set(name, found[1]+found[2])
	}
	found := regexp.MustCompile(`<option value="([^"]+)" selected>`).FindStringSubmatch(body)
	require.NotNil(t, found, "a skill is chosen")
	form.Set("skill", found[1])
	return form
}

func TestWhoSeesATrainersDay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for role, logs := range map[string]bool{"manager": true, "site-lead": true, "trainer": true, "office": false, "viewer": false} {
		in := s.As(t, role)
		page := in.Get(t, path)
		require.Equal(t, http.StatusOK, page.Status, role)
		require.Contains(t, page.Body, "Before you touch a dog", role)
		require.Equal(t, logs, strings.Contains(page.Body, `id="log"`), "%s: who may not log sees no form", role)
		if !logs {
			token := regexp.MustCompile(`name="form_token" value="([0-9a-f]+)"`).FindStringSubmatch(page.Body)
			require.NotNil(t, token)
			reply := in.PostBare(t, path, url.Values{"form_token": {token[1]}})
			require.Equal(t, http.StatusForbidden, reply.Status, role)
			require.Equal(t, http.StatusForbidden, in.Get(t, "/rounds-token").Status, role)
		}
	}
	require.Zero(t, sessions(t, s))
	require.Equal(t, path, s.As(t, "trainer").Get(t, "/rounds").Path, "a trainer comes to their own day")
	require.Contains(t, s.As(t, "site-lead").Get(t, "/rounds").Body, `href="/rounds/AMINA"`)
	require.Equal(t, http.StatusNotFound, s.As(t, "manager").Get(t, "/rounds/NOBODY/"+day).Status)
	require.Equal(t, http.StatusUnprocessableEntity, s.As(t, "manager").Get(t, "/rounds/AMINA/9.3.2027").Status)
}

func TestADayWithoutAPlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	page := s.As(t, "trainer").Get(t, "/rounds/AMINA/2027-03-10")
	require.Equal(t, http.StatusOK, page.Status)
	require.Contains(t, page.Body, "No plan.")
	require.Contains(t, page.Body, `id="log"`, "sessions can be logged all the same")
	require.Equal(t, http.StatusConflict, s.As(t, "trainer").Get(t, "/rounds/AMINA/2027-03-10/sheet").Status)
}

// TestLoggingWithoutScripts logs, sends the same once more, corrects, and takes back.
func TestLoggingWithoutScripts(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	in := s.As(t, "trainer")
	link := regexp.MustCompile(`href="(/rounds/AMINA/2027-03-09\?log=[0-9]+)#log"`).FindStringSubmatch(in.Get(t, path).Body)
	require.NotNil(t, link, "a session can be logged")
	form := fields(t, in.Get(t, link[1]).Body)
	for name, value := range map[string]string{"trials": "10", "successes": "8", "hold": "35", "metres": "1.5", "distraction": "1", "settled": "2", "note": "<b>looked</b> for the ball"} {
		form.Set(name, value)
	}
	reply := in.Post(t, path, path, form)
	require.Equal(t, http.StatusOK, reply.Status)
	require.Equal(t, path, reply.Path)
	require.Contains(t, reply.Body, "8 of 10")
	require.Contains(t, reply.Body, "&lt;b&gt;looked&lt;/b&gt; for the ball")
	require.NotContains(t, reply.Body, "<b>looked</b>")
	require.Equal(t, 1, sessions(t, s))
	require.Equal(t, path, in.Post(t, path, path, form).Path, "the same once more is no error")
	require.Equal(t, 1, sessions(t, s), "and arrives once")
	var by, trainer string
	var cm, hold, settled int
	require.NoError(t, s.Pool.QueryRow(t.Context(), `select s.logged_by, r.code, s.distance_cm, s.hold_seconds, s.settled from training.session s join roster.trainer r on r.id = s.trainer_id where s.id = $1`,
		form.Get("key")).Scan(&by, &trainer, &cm, &hold, &settled))
	require.Equal(t, []any{"amina", "AMINA", 150, 35, 2}, []any{by, trainer, cm, hold, settled})

	// A correction.
	link = regexp.MustCompile(`href="(/rounds/AMINA/2027-03-09\?correct=[0-9a-f-]+)#log"`).FindStringSubmatch(in.Get(t, path).Body)
	require.NotNil(t, link)
	mend := fields(t, in.Get(t, link[1]).Body)
	require.Equal(t, form.Get("key"), mend.Get("replaces"))
	mend.Set("trials", "9")
	mend.Set("successes", "8")
	require.Contains(t, in.Post(t, path, path, mend).Body, "8 of 9")
	require.Equal(t, 2, sessions(t, s), "history stays")

	// Taken back.
	link = regexp.MustCompile(`href="(/rounds/AMINA/2027-03-09\?correct=[0-9a-f-]+)#log"`).FindStringSubmatch(in.Get(t, path).Body)
	back := fields(t, in.Get(t, link[1]).Body)
	back.Set("trials", "0")
	back.Set("successes", "0")
	reply = in.Post(t, path, path, back)
	require.Contains(t, reply.Body, "Taken back")
	require.Contains(t, reply.Body, "Nothing is logged of this day yet")
}

func TestFaultsAreShownWithTheForm(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	in := s.As(t, "trainer")
	for name, c := range map[string]struct {
		form url.Values
		says string
	}{
		"no dog":    {url.Values{"dog": {"NOBODY"}, "skill": {"SIT-STAY"}, "trials": {"5"}, "successes": {"5"}, "at": {"10:00"}}, "there is no dog"},
		"no number": {url.Values{"dog": {"NOBODY"}, "trials": {"many"}, "at": {"10:00"}}, "no whole number"},
		"no time":   {url.Values{"dog": {"NOBODY"}, "trials": {"5"}, "at": {"<i>ten</i>"}}, "trained_at"},
	} {
		c.form.Set("key", "0198f000-0000-7000-8000-000000000001")
		c.form.Set("note", `"><script>alert(1)</script>`)
		reply := in.Post(t, path, path, c.form)
		require.Contains(t, []int{http.StatusUnprocessableEntity, http.StatusNotFound}, reply.Status, name)
		require.Contains(t, reply.Body, c.says, name)
		require.Contains(t, reply.Body, "&lt;script&gt;alert(1)", "what was written stays, as text")
		require.NotContains(t, reply.Body, "<script>alert")
		require.NotContains(t, reply.Body, "<i>ten")
	}
	require.Zero(t, sessions(t, s))
}

func TestHostileNamesAreText(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	const evil = `"><script>alert(1)</script>`
	_, err := s.Pool.Exec(t.Context(), `update enrollment.dog set name = $1, note = $1`, evil)
	require.NoError(t, err)
	for _, sql := range []string{`update roster.trainer set name = $1`, `update facility.site set name = $1`, `update training.skill set name = left($1, 60)`, `update enrollment.owner set name = $1`} {
		_, err := s.Pool.Exec(t.Context(), sql, evil)
		require.NoError(t, err, sql)
	}
	in := s.As(t, "trainer")
	for _, p := range []string{path, path + "?log=0", path + "/sheet"} {
		page := in.Get(t, p)
		require.Equal(t, http.StatusOK, page.Status, p)
		require.NotContains(t, page.Body, "<script>alert", p)
		require.Contains(t, page.Body, "&lt;script&gt;alert(1)", p)
	}
}

// TestStatements: the number of statements depends on nothing that is on the day.
func TestStatements(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	in := s.As(t, "trainer")
	n := s.Statements(func() { in.Get(t, path) })
	t.Logf("%d statements", n)
	require.LessOrEqual(t, n, int64(65))
	other := s.As(t, "manager")
	require.Equal(t, n, s.Statements(func() { other.Get(t, "/rounds/INGA/"+day) }), "another trainer's day takes as many")
}

func TestTheWorkerHasNoDoor(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	res, err := http.Get(s.URL + "/rounds-worker.js")
	require.NoError(t, err)
	defer func() { _ = res.Body.Close() }()
	require.Equal(t, http.StatusOK, res.StatusCode)
	require.Equal(t, "/", res.Header.Get("Service-Worker-Allowed"))
	require.Contains(t, res.Header.Get("Content-Type"), "javascript")
}
