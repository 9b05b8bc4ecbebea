package months_test

import (
	_ "embed"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

//go:embed testdata/sites.sql
var sitesSQL string

//go:embed testdata/plan.sql
var planSQL string

// bigSchool is a school of sixty sites without records but what these pages read; bigMonth adds a month.
func bigSchool(t testing.TB) *consoletest.School {
	t.Helper()
	s := consoletest.New(t, consoletest.Set{Empty: true})
	_, err := s.Pool.Exec(t.Context(), sitesSQL)
	require.NoError(t, err)
	return s
}

// bigMonth adds a month of so many requests with two plans, and returns these. The letter tells its codes apart.
func bigMonth(t testing.TB, s *consoletest.School, month, letter string, requests int) (first, second *plannerv1.Plan) {
	t.Helper()
	_, err := s.Pool.Exec(t.Context(), fmt.Sprintf(planSQL, letter, requests, month))
	require.NoError(t, err)
	_, err = s.Pool.Exec(t.Context(), `analyze`)
	require.NoError(t, err)
	plans, err := plannerv1.NewPlannerServiceClient(s.Conn).ListPlans(t.Context(), &plannerv1.ListPlansRequest{Month: month})
	require.NoError(t, err)
	require.Len(t, plans.GetPlans(), 2)
	return plans.GetPlans()[1], plans.GetPlans()[0]
}

// bigPages are the pages that are measured, by name.
func bigPages(month, letter string, plan, other *plannerv1.Plan) map[string]string {
	return map[string]string{
		"month": "/month/" + month, "site": planPath(plan, "/site/S07"), "requests": planPath(plan, "/requests"), "waiting": planPath(plan, "/requests?which=waiting&from=50"),
		"found": planPath(plan, "/requests?find=owner+1&site=S07"), "compare": planPath(plan, "/compare/"+other.GetId()), "promise": planPath(plan, "/promise"),
		"request": planPath(plan, "/request/"+letter+"R0004"), "moves": "/month/" + month + "/moves",
	}
}

// TestStatementsAreFixed: a page asks as many things of the database over 2,000 requests as over 400, and says the same of both.
func TestStatementsAreFixed(t *testing.T) {
	t.Parallel()
	s := bigSchool(t)
	few, otherFew := bigMonth(t, s, "2027-05", "A", 400)
	many, otherMany := bigMonth(t, s, "2027-08", "B", 2000)
	c := s.As(t, "manager")
	large := bigPages("2027-08", "B", many, otherMany)
	for name, path := range bigPages("2027-05", "A", few, otherFew) {
		var page consoletest.Reply
		small := s.Statements(func() { page = c.Get(t, path) })
		require.Equal(t, http.StatusOK, page.Status, "%s: %s", name, page.Body)
		require.Equal(t, small, s.Statements(func() { page = c.Get(t, large[name]) }), name)
		require.Equal(t, http.StatusOK, page.Status, "%s: %s", name, page.Body)
		require.Less(t, small, int64(50), name)
		require.Less(t, len(page.Body), 235<<10, "%s: what the frame loads beside weighs 65 KB", name)
		t.Logf("%-8s %2d statements, %d KB", name, small, len(page.Body)>>10)
	}
}

// TestMonthOfSixtySites is judged as the others are, and printed.
func TestMonthOfSixtySites(t *testing.T) {
	t.Parallel()
	s := bigSchool(t)
	plan, other := bigMonth(t, s, "2027-08", "B", 2000)
	b := s.Browser(t, "manager")
	b.Judge(t, "big-month", "/month/2027-08")
	require.Equal(t, 60, consoletest.Evaluate[int](t, b, `document.querySelectorAll("table.load tbody tr").length`))
	for _, paper := range []string{"A4", "Letter"} {
		sheets := b.Print(t, "big-month", paper)
		require.True(t, 2 <= sheets && sheets <= 6, "%d sheets of %s", sheets, paper)
	}
	b.Judge(t, "big-compare", planPath(plan, "/compare/"+other.GetId()))
}

// BenchmarkPages reports the server time of each page over 2,000 requests and 60 sites, in milliseconds: run with -benchtime 200x.
func BenchmarkPages(b *testing.B) {
	s := bigSchool(b)
	plan, other := bigMonth(b, s, "2027-08", "B", 2000)
	consoletest.TimePages(b, s.As(b, "manager"), bigPages("2027-08", "B", plan, other))
}
