package months_test

import (
	"net/http"
	"net/url"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var printOnPage = regexp.MustCompile(`name="fingerprint" value="([^"]+)"`)

// TestHoldingWithoutScripts holds a request to its place by forms alone, and lets it go.
func TestHoldingWithoutScripts(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	plan := draft(t, s, 1, 30)
	calls := plannerv1.NewPlannerServiceClient(s.Conn)
	placed, err := calls.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Which: plannerv1.PlannedKind_PLANNED_KIND_PLACED, Limit: 1})
	require.NoError(t, err)
	row := placed.GetRows()[0]
	request := planPath(plan, "/request/"+row.GetRequestCode())
	query := url.Values{"site": {row.GetSiteCode()}, "arrival": {row.GetArrival()}}

	for _, role := range []string{"office", "viewer"} {
		c := s.As(t, role)
		require.NotContains(t, c.Get(t, request).Body, `action="`+request+`/hold"`, role)
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", request+"/hold", query).Status, role)
		require.Equal(t, http.StatusForbidden, c.Post(t, "/password", "/month/"+month+"/unpin", url.Values{"code": {row.GetRequestCode()}}).Status, role)
	}
	c := s.As(t, "site-lead")
	require.Equal(t, http.StatusUnprocessableEntity, c.Get(t, request+"/hold?site="+row.GetSiteCode()+"&arrival=soon").Status)
	refused := c.Get(t, request+"/hold?arrival="+row.GetArrival()+"&site="+url.QueryEscape(hostile[0]))
	require.Contains(t, []int{http.StatusNotFound, http.StatusUnprocessableEntity}, refused.Status)
	require.NotContains(t, refused.Body, "<script>alert")
	shown := c.Get(t, request+"/hold?"+query.Encode())
	require.Equal(t, http.StatusOK, shown.Status, shown.Body)
	found := printOnPage.FindStringSubmatch(shown.Body)
	require.Len(t, found, 2)
	require.Equal(t, http.StatusConflict, c.Post(t, request, request+"/hold", url.Values{"site": {row.GetSiteCode()}, "arrival": {row.GetArrival()}, "fingerprint": {"another"}}).Status)

	kept := c.Post(t, request, request+"/hold", url.Values{"site": {row.GetSiteCode()}, "arrival": {row.GetArrival()}, "fingerprint": {found[1]}, "note": {hostile[1]}})
	require.Equal(t, http.StatusOK, kept.Status, kept.Body)
	require.Contains(t, kept.Body, "is held to "+row.GetSiteCode())
	require.NotContains(t, kept.Body, "<img src=x")
	onMonth := c.Get(t, "/month/"+month).Body
	require.Contains(t, onMonth, "Held to a place by hand")
	require.NotContains(t, onMonth, "<img src=x")
	require.Contains(t, c.Get(t, planPath(plan, "/requests?find="+row.GetRequestCode())).Body, "held to its place")

	// The plan was made before: it can be solved with no more, and the page says what to do.
	old := c.Get(t, request+"/hold?"+query.Encode())
	require.Equal(t, http.StatusConflict, old.Status)
	require.Contains(t, old.Body, `action="/month/2027-03/draft"`)

	let := c.Post(t, request, "/month/"+month+"/unpin", url.Values{"code": {row.GetRequestCode()}})
	require.Contains(t, let.Body, "is held to no place any more")
	pins, err := calls.ListPins(t.Context(), &plannerv1.ListPinsRequest{Month: month, WithEnded: true})
	require.NoError(t, err)
	require.Len(t, pins.GetPins(), 1)
	require.Equal(t, "ingo", pins.GetPins()[0].GetEndedBy(), "that it was there stays on record")
}

// TestWishes asks what another wish would do.
func TestWishes(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	plan := draft(t, s, 1, 30)
	c := s.As(t, "viewer")
	shown := c.Get(t, planPath(plan, "/request/M-013/wish?first=2027-03-01&last=2027-03-10&site=TARN&site=QUILL"))
	require.Equal(t, http.StatusOK, shown.Status, shown.Body)
	require.Contains(t, shown.Body, "at TARN or QUILL")
	require.NotContains(t, shown.Body, "fingerprint", "a wish is the owner's: nothing can be kept here")
}
