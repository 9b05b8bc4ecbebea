package months_test

import (
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// TestStudyOfMoves publishes a month, studies its moves, follows the study and judges the picture.
func TestStudyOfMoves(t *testing.T) {
	t.Parallel()
	s := consoletest.New(t, consoletest.Set{Work: true})
	plan := draft(t, s, 1, 30)
	calls := plannerv1.NewPlannerServiceClient(s.Conn)
	_, err := calls.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	c := s.As(t, "manager")
	page := "/month/" + month + "/moves"
	for _, wrong := range []url.Values{{"moves": {"1, two"}, "seconds": {"5"}}, {"moves": {"1"}, "seconds": {"soon"}}, {"moves": {"1001"}, "seconds": {"5"}}} {
		require.Equal(t, http.StatusUnprocessableEntity, c.Post(t, page, page, wrong).Status, wrong)
	}
	b := s.Browser(t, "manager")
	b.Open(t, page)
	b.Fill(t, "[name=moves]", "1, 3")
	b.Fill(t, "[name=seconds]", "6")
	b.Click(t, `form[action$="/moves"] button`)
	b.Await(t, "it is followed to its end", `(document.querySelector("#study [role=status]")?.textContent ?? "").includes("UTC, done")`)
	studies, err := calls.ListMoveStudies(t.Context(), &plannerv1.ListMoveStudiesRequest{Month: month})
	require.NoError(t, err)
	require.Len(t, studies.GetStudies(), 1)
	require.Equal(t, "rosa", studies.GetStudies()[0].GetMadeBy())
	points := studies.GetStudies()[0].GetPoints()
	require.NotEmpty(t, points)
	b.Await(t, "each point has its row", fmt.Sprintf(`document.querySelectorAll("#study tbody tr").length === %d`, len(points))) // the page loads once more at the end
	b.Judge(t, "moves", page)
	b.Judge(t, "month-published", "/month/"+month)
}

// TestByKeyboard goes from the first page to the requests of a plan and on without a pointer.
func TestByKeyboard(t *testing.T) {
	t.Parallel()
	s := bigSchool(t)
	plan, _ := bigMonth(t, s, "2027-05", "A", 400)
	b := s.Browser(t, "manager")
	b.Open(t, planPath(plan, "/requests"))
	// Each control can be reached, in the order in which it is read, and shows that it is.
	reached := consoletest.Evaluate[string](t, b, `(() => {
		const all = [...document.querySelectorAll("main a[href], main button, main input:not([type=hidden]), main select, main [tabindex='0']")];
		for (const e of all) {
			e.focus();
			if (document.activeElement !== e) return "cannot be reached: " + e.outerHTML.slice(0, 80);
			if (e.tabIndex < 0) return "is left out: " + e.outerHTML.slice(0, 80);
		}
		return all.length > 50 ? "" : "too few";
	})()`)
	require.Empty(t, reached)
	consoletest.Evaluate[bool](t, b, `document.querySelector("#find").focus(); true`)
	consoletest.Run(t, b, chromedp.KeyEvent("AR0004\r"))
	b.Await(t, "Enter looks for it", `document.querySelectorAll("#list tbody tr").length === 1 && location.search.includes("find=AR0004")`)
}
