package consoletest

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// flowMonth is the month that the flow plans.
const flowMonth = "2027-03"

// MonthDone is what the flow of a month has left in the database, for whoever looks at it there.
type MonthDone struct {
	// Kept is the plan whose search was stopped, Published the one that became promises; Held is the code of the request that is held to its place.
	Kept, Published, Held string
}

// MonthFlow is a month as the operations manager plans it, in a browser: draft, watch, stop and keep, compare, hold a request to its place once
// the cost was shown, draft again, publish. Each step is held against the page and against what the services say. The school needs workers, and the
// manager of that login must be signed in in the browser.
func MonthFlow(t testing.TB, s *School, b *Browser, login string) MonthDone {
	t.Helper()
	f := &monthFlow{b: b, login: login, calls: plannerv1.NewPlannerServiceClient(s.Conn)}
	f.b.Open(t, "/month")
	require.Contains(t, f.b.Text(t, "h1"), "no plan yet")
	first := f.draftAndKeep(t)
	second := f.draft(t, "3")
	f.compare(t, first, second)
	row := f.hold(t, second)
	third := f.draft(t, "3")
	f.heldIn(t, third, row)
	f.publish(t, third)
	return MonthDone{Kept: first, Published: third, Held: row.GetRequestCode()}
}

type monthFlow struct {
	b     *Browser
	login string
	calls plannerv1.PlannerServiceClient
}

// plan reads a plan.
func (f *monthFlow) plan(t testing.TB, id string) *plannerv1.Plan {
	t.Helper()
	reply, err := f.calls.ReadPlanHead(t.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: id})
	require.NoError(t, err)
	return reply.GetPlan()
}

// pins are the live pins of the month.
func (f *monthFlow) pins(t testing.TB) []*plannerv1.Pin {
	t.Helper()
	reply, err := f.calls.ListPins(t.Context(), &plannerv1.ListPinsRequest{Month: flowMonth})
	require.NoError(t, err)
	return reply.GetPins()
}

// placed lists requests of a plan that are placed, by a text.
func (f *monthFlow) placed(t testing.TB, id, find string) *plannerv1.ListPlannedResponse {
	t.Helper()
	reply, err := f.calls.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: id, Find: find, Which: plannerv1.PlannedKind_PLANNED_KIND_PLACED, Limit: 200})
	require.NoError(t, err)
	return reply
}

// start sends the form that starts a search.
func (f *monthFlow) start(t testing.TB, seconds string) {
	t.Helper()
	f.b.Open(t, "/month/"+flowMonth)
	f.b.Fill(t, `form[action$="/draft"] [name=seconds]`, seconds)
	f.b.Click(t, `form[action$="/draft"] button`)
}

// arrived waits for the page of a plan and returns its ID.
func (f *monthFlow) arrived(t testing.TB) string {
	t.Helper()
	f.b.Await(t, "the plan is shown", `/^\/plan\/[0-9a-f-]{36}$/.test(location.pathname) && document.querySelector("table.load tbody tr") !== null`)
	return strings.TrimPrefix(Evaluate[string](t, f.b, `location.pathname`), "/plan/")
}

// draftAndKeep starts a long search, watches value and bound come, and stops it with what it has.
func (f *monthFlow) draftAndKeep(t testing.TB) string {
	t.Helper()
	f.start(t, "300")
	f.b.Await(t, "the search is followed", `location.pathname.endsWith("/progress")`)
	id := strings.TrimSuffix(strings.TrimPrefix(Evaluate[string](t, f.b, `location.pathname`), "/plan/"), "/progress")
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFTING, f.plan(t, id).GetState())
	f.b.Await(t, "value and bound are drawn", `document.querySelector("#progress path.bound") !== null && document.querySelector("#progress path.value") !== null`)
	f.b.Await(t, "the picture goes on", `/[1-9][0-9]* s watched/.test(document.querySelector("#progress svg")?.textContent ?? "")`)
	f.b.JudgeSizes(t, "progress")
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFTING, f.plan(t, id).GetState(), "it was judged while it searched")
	f.b.Click(t, `form[action$="/finish"] button`)
	plan := f.arrived(t)
	require.Equal(t, id, plan)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, f.plan(t, plan).GetState())
	require.Equal(t, f.login, f.plan(t, plan).GetFinishAskedBy())
	require.Contains(t, f.b.Text(t, "dl.figures"), "of 260")
	return plan
}

// draft makes another plan.
func (f *monthFlow) draft(t testing.TB, seconds string) string {
	t.Helper()
	f.start(t, seconds)
	plan := f.arrived(t)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, f.plan(t, plan).GetState())
	return plan
}

// compare holds the second plan against the first, as the form on its page does.
func (f *monthFlow) compare(t testing.TB, first, second string) {
	t.Helper()
	f.b.Fill(t, `[name=with]`, first)
	f.b.Click(t, `form[action$="/compare"] button`)
	f.b.Await(t, "both are shown", `location.pathname.endsWith("/compare/`+first+`")`)
	differ, err := f.calls.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: second, OtherPlanId: first, Limit: 1})
	require.NoError(t, err)
	shown := Evaluate[int](t, f.b, `document.querySelectorAll('section[aria-labelledby=each] tbody tr').length`)
	require.Equal(t, min(int(differ.GetDiffering()), 50), shown, "each request that differs stands there, fifty on a page")
}

// hold shows what it costs to hold a placed request where it is, and holds it.
func (f *monthFlow) hold(t testing.TB, plan string) *plannerv1.Planned {
	t.Helper()
	row := f.placed(t, plan, "M-").GetRows()[0]
	code := row.GetRequestCode()
	f.b.Open(t, "/plan/"+plan+"/request/"+code)
	f.b.Click(t, `form[action$="/hold"] button`)
	f.b.Await(t, "the cost is shown", `document.querySelector('input[name=fingerprint]') !== null`)
	require.Contains(t, f.b.Text(t, "dl.figures"), "proven")
	require.Empty(t, f.pins(t), "nothing is kept by looking")
	f.b.JudgeSizes(t, "hold")
	f.b.Fill(t, "[name=note]", "the owner flies out that day")
	f.b.Click(t, `form[method=post][action$="/hold"] button`)
	f.b.Await(t, "it is held", `(document.querySelector(".notice")?.textContent ?? "").includes("is held to")`)
	pins := f.pins(t)
	require.Len(t, pins, 1)
	require.Equal(t, []string{code, row.GetSiteCode(), row.GetArrival(), f.login, "the owner flies out that day"},
		[]string{pins[0].GetRequestCode(), pins[0].GetAt().GetSiteCode(), pins[0].GetAt().GetArrival(), pins[0].GetMadeBy(), pins[0].GetNote()})
	return row
}

// heldIn looks whether a plan keeps to what was held, and says so.
func (f *monthFlow) heldIn(t testing.TB, plan string, held *plannerv1.Planned) {
	t.Helper()
	rows := f.placed(t, plan, held.GetRequestCode()).GetRows()
	require.Len(t, rows, 1)
	require.Equal(t, []string{held.GetSiteCode(), held.GetArrival()}, []string{rows[0].GetSiteCode(), rows[0].GetArrival()})
	require.True(t, rows[0].GetPinned())
	require.Contains(t, f.b.Text(t, "section[aria-labelledby=held]"), held.GetRequestCode())
}

// publish reads what is promised, and promises it.
func (f *monthFlow) publish(t testing.TB, plan string) {
	t.Helper()
	f.b.Click(t, `a[href$="/promise"]`)
	f.b.Await(t, "what it promises is shown", `location.pathname.endsWith("/promise")`)
	fresh := int(f.placed(t, plan, "").GetTotals().GetFresh())
	require.Equal(t, fresh, Evaluate[int](t, f.b, `Number(document.querySelector("dl.figures dd").textContent.replace(",", ""))`))
	f.b.Click(t, `form[action$="/promise"] button`)
	f.b.Await(t, "it is published", `(document.querySelector(".notice")?.textContent ?? "").includes("is published")`)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_PUBLISHED, f.plan(t, plan).GetState())
	require.Contains(t, f.b.Text(t, "h1"), "published")
}
