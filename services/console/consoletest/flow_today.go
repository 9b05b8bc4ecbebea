package consoletest

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// flowDay is the day of flows at DRUM, as the database has it.
func (s *School) flowDay(t testing.TB) *dayplanv1.GetDayResponse {
	t.Helper()
	got, err := dayplanv1.NewDayPlanServiceClient(s.Conn).GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "DRUM", Day: FlowDay, KeptOnly: true})
	require.NoError(t, err)
	return got
}

// AbsenceFlow is how a site lead handles an absence: what is on the day, who is away, what that changes, and keeping just that. s must be a school
// whose day PlanFlowDay has planned. Each step is held against the page and the database.
func AbsenceFlow(t testing.TB, s *School) {
	t.Helper()
	before := s.flowDay(t)
	b := s.Browser(t, "site-lead")
	b.Open(t, "/today")
	b.Await(t, "the site's day is there", `location.pathname === "/today/DRUM/`+FlowDay+`"`)
	require.Contains(t, b.Text(t, "h1"), "Tuesday, 9 March 2027")
	require.Contains(t, b.Text(t, "dl.figures"), fmt.Sprintf("%d of %d", len(before.GetPlan().GetBlocks()), len(before.GetPlan().GetBlocks())+len(before.GetPlan().GetDrops())))

	b.Click(t, "#report-absence summary")
	b.Fill(t, "#report-absence [name=trainer]", "AMINA")
	b.Fill(t, "#report-absence [name=from]", "11:00")
	b.Click(t, "#report-absence button")
	b.Await(t, "what it changes is shown", `document.querySelector("h1").innerText.includes("AMINA is away from 11:00 on: what it changes")`)
	b.JudgeHere(t, "flow-today-absence", 1280)
	changes := Evaluate[int64](t, b, `document.querySelectorAll("main tbody tr").length`)
	require.Positive(t, changes)
	still := s.flowDay(t)
	require.Equal(t, before.GetPlan().GetId(), still.GetPlan().GetId(), "looking keeps nothing")
	require.Empty(t, still.GetConditions().GetAway(), "and records nothing")

	b.Click(t, "main form[method=post] button")
	b.Await(t, "it is kept", `document.querySelector(".notice")?.innerText.includes("The day is kept as you saw it")`)
	require.Contains(t, b.Text(t, "main"), "Amina Thorne (AMINA): sickness.")
	after := s.flowDay(t)
	require.Equal(t, before.GetPlan().GetNumber()+1, after.GetPlan().GetNumber())
	require.False(t, after.GetPlan().GetStale())
	require.Len(t, after.GetConditions().GetAway(), 1)
	for _, x := range after.GetPlan().GetBlocks() {
		require.False(t, x.GetTrainerCode() == "AMINA" && x.GetStarts() >= "11:00", "%v", x)
	}
	b.Picture(t, "flow-today-kept")
}
