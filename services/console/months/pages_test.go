package months_test

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"
	"github.com/longlead/longlead/services/postgres"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// hostile are texts that would break a page that does not escape them.
var hostile = []string{`<script>alert("x")</script>`, `"><img src=x onerror=alert(1)>'`, "\u202egnirts a\u202c", strings.Repeat("long ", 40)}

// rename gives dogs, sites' names and reasons hostile words.
func rename(t *testing.T, s *consoletest.School) {
	t.Helper()
	for i, text := range hostile {
		_, err := s.Pool.Exec(t.Context(), `update enrollment.dog set name = $1 where id in (select id from (select id, row_number() over (order by code) as n from enrollment.dog) d where n % 4 = $2)`, text, i)
		require.NoError(t, err)
		_, err = s.Pool.Exec(t.Context(), `update facility.site set name = $1 where id in (select id from (select id, row_number() over (order by code) as n from facility.site) d where n % 4 = $2)`, text, i)
		require.NoError(t, err)
		_, err = s.Pool.Exec(t.Context(), `update planner.wait set reason = $1, remedy = $1 where request_id in (select request_id from (select request_id, row_number() over (order by request_id) as n from planner.wait) d where n % 4 = $2)`, text, i)
		require.NoError(t, err)
	}
}

// everyPage are the addresses that only look.
func everyPage(plan, other *plannerv1.Plan) []string {
	return []string{
		"/month/" + month, "/month/2027-07", planPath(plan, ""), planPath(plan, "?order=code"), planPath(plan, "/site/DRUM"), planPath(plan, "/requests"),
		planPath(plan, "/requests?which=waiting&site=TARN"), planPath(plan, "/requests?from=100"), planPath(plan, "/request/M-029"), planPath(plan, "/request/M-013"),
		planPath(plan, "/compare/"+other.GetId()), planPath(plan, "/worth"), "/month/" + month + "/moves",
	}
}

func TestPagesByRole(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	plan, other := draft(t, s, 1, 30), draft(t, s, 2, 30)
	rename(t, s)
	for role, may := range map[string]struct{ draft, publish bool }{
		"manager": {true, true}, "site-lead": {true, false}, "office": {false, false}, "trainer": {false, false}, "viewer": {false, false},
	} {
		c := s.As(t, role)
		for _, path := range everyPage(plan, other) {
			page := c.Get(t, path)
			if strings.HasSuffix(path, "/worth") {
				require.Equal(t, http.StatusConflict, page.Status, "dogs have other names now, so it cannot be reckoned anew")
				continue
			}
			require.Equal(t, http.StatusOK, page.Status, "%s sees %s: %s", role, path, page.Body)
			require.NotContains(t, page.Body, "<script>alert", path)
			require.NotContains(t, page.Body, "<img src=x", path)
			require.NotContains(t, page.Body, "ZgotmplZ", "%s: nothing stands where it could not be escaped", path)
			require.Equal(t, may.draft && (path == "/month/"+month || path == "/month/2027-07" || strings.HasPrefix(path, planPath(plan, "?")) || path == planPath(plan, "")),
				strings.Contains(page.Body, "/draft\""), "%s is shown how to draft where it may: %s", role, path)
			require.Equal(t, may.publish && (path == planPath(plan, "") || path == "/month/"+month || strings.HasPrefix(path, planPath(plan, "?"))), strings.Contains(page.Body, "/promise"), "%s, %s", role, path)
		}
		refusedWhatItMayNot(t, c, plan, may.draft, may.publish)
	}
}

// refusedWhatItMayNot sends the forms that a role is not shown, with a token that is right.
func refusedWhatItMayNot(t *testing.T, c *consoletest.Client, plan *plannerv1.Plan, draft, publish bool) {
	t.Helper()
	if !publish {
		require.Equal(t, http.StatusForbidden, c.Get(t, planPath(plan, "/promise")).Status)
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", planPath(plan, "/promise"), nil).Status)
	}
	if draft {
		return
	}
	for _, path := range []string{"/month/" + month + "/draft", "/month/" + month + "/moves", planPath(plan, "/finish"), planPath(plan, "/discard")} {
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", path, url.Values{"seconds": {"1"}, "moves": {"1"}}).Status, path)
	}
}

func TestMonthSaysWhatIsThere(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	c := s.As(t, "manager")
	require.Equal(t, "/month/2027-03", c.Get(t, "/month").Path, "the month after today's")
	require.Contains(t, c.Get(t, "/month").Body, "no plan yet")
	require.Equal(t, http.StatusNotFound, c.Get(t, "/month/2027-13").Status)
	require.Equal(t, http.StatusNotFound, c.Get(t, "/plan/019506e8-1111-7000-8000-000000000000").Status)
	require.Equal(t, http.StatusUnprocessableEntity, c.Post(t, "/month", "/month/"+month+"/draft", url.Values{"seconds": {"601"}}).Status)

	plan := draft(t, s, 1, 30)
	page := c.Get(t, "/month/"+month)
	calls := plannerv1.NewPlannerServiceClient(s.Conn)
	head, err := calls.ReadPlanHead(t.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	for _, site := range head.GetSites() {
		require.Contains(t, page.Body, planPath(plan, "/site/"+site.GetSiteCode()))
	}
	require.Contains(t, page.Body, "placed of 260 requests")
	require.Equal(t, http.StatusNotFound, c.Get(t, planPath(plan, "/site/NOWHERE")).Status)
	require.Equal(t, http.StatusNotFound, c.Get(t, planPath(plan, "/request/NOBODY")).Status)
	waiting := c.Get(t, planPath(plan, "/request/M-013")).Body
	require.Contains(t, waiting, "No plan of the month could place it")
	require.Contains(t, waiting, "rabies")
	require.Contains(t, c.Get(t, planPath(plan, "/requests?find=m-013")).Body, "1 to 1 of 1")
	part := c.Part(t, planPath(plan, "/requests?find=m-013"))
	require.NotContains(t, part.Body, "<html", "htmx is given the list alone")
	require.Contains(t, part.Body, "M-013")
}

// TestPublishing goes the whole way: what is promised is said first, then it is promised, and an old draft is refused with the way out.
func TestPublishing(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	first, second := draft(t, s, 1, 30), draft(t, s, 2, 30)
	c := s.As(t, "manager")
	before := c.Get(t, planPath(first, "/promise"))
	require.Contains(t, before.Body, "Publish plan 1")
	require.Zero(t, stays(t, s.Pool, "published"))
	after := c.Post(t, planPath(first, "/promise"), planPath(first, "/promise"), nil)
	require.Equal(t, "/month/"+month, after.Path)
	require.Contains(t, after.Body, "Plan 1 is published")
	promised := stays(t, s.Pool, "published")
	require.Positive(t, promised)
	require.LessOrEqual(t, promised, first.GetPlaced())
	require.NotContains(t, c.Get(t, planPath(first, "/promise")).Body, "<button>Publish", "once")

	refused := c.Post(t, planPath(second, "/promise"), planPath(second, "/promise"), nil)
	require.Equal(t, http.StatusConflict, refused.Status)
	require.Contains(t, refused.Body, "draft it again")
	require.Contains(t, refused.Body, `action="/month/2027-03/draft"`, "the way out")
	require.Equal(t, promised, stays(t, s.Pool, "published"))
	require.Equal(t, http.StatusConflict, c.Get(t, planPath(second, "/worth")).Status, "worth is refused once inputs have changed")
}

func stays(t testing.TB, db postgres.DB, state string) (n int32) {
	t.Helper()
	require.NoError(t, db.QueryRow(context.WithoutCancel(t.Context()), `select count(*)::int from planner.stay where state = $1`, state).Scan(&n))
	return n
}

// TestTheMonthInWork: the first page leads to the month that people work on, also when that is not the next one.
func TestTheMonthInWork(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	draft(t, s, 1, 1)
	s.SetNow(consoletest.Now.AddDate(0, -3, 0))
	require.Equal(t, "/month/2027-03", s.As(t, "manager").Get(t, "/month").Path)
	s.SetNow(consoletest.Now.AddDate(0, 2, 0))
	require.Equal(t, "/month/2027-05", s.As(t, "manager").Get(t, "/month").Path)
}
