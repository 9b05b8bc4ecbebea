package planner_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// planned reads all pages of a list.
func (s *school) planned(t *testing.T, req *plannerv1.ListPlannedRequest, limit int32) (rows []*plannerv1.Planned, totals *plannerv1.PlannedTotals) {
	t.Helper()
	req.Limit = limit
	for {
		req.Offset = int32(len(rows))
		page, err := s.planner.ListPlanned(t.Context(), req)
		require.NoError(t, err)
		if totals = page.GetTotals(); len(page.GetRows()) == 0 {
			require.EqualValues(t, totals.GetMatching(), len(rows))
			return rows, totals
		}
		rows = append(rows, page.GetRows()...)
	}
}

// TestPiecesOfAPlanAreThePlan holds head, pages of requests and load against the whole plan.
func TestPiecesOfAPlanAreThePlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	whole := s.read(t, plan.GetId())

	head, err := s.planner.ReadPlanHead(t.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: plan.GetId(), WithWorkRules: true})
	require.NoError(t, err)
	want := &plannerv1.ReadPlanHeadResponse{Plan: whole.GetPlan(), Sites: whole.GetSites(), Policy: whole.GetPolicy(), Cautions: whole.GetCautions()}
	require.True(t, proto.Equal(want, head), "%v\n%v", want, head)
	head, err = s.planner.ReadPlanHead(t.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	require.Less(t, len(head.GetCautions()), len(whole.GetCautions()), "work rules only when asked for")

	rows, totals := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId()}, 37)
	require.EqualValues(t, plan.GetRequests(), totals.GetAll())
	require.EqualValues(t, plan.GetPlaced(), totals.GetPlaced())
	require.EqualValues(t, plan.GetRequests()-plan.GetPlaced(), totals.GetWaiting())
	require.Len(t, rows, int(plan.GetRequests()))
	for i, p := range whole.GetPlacements() {
		r := rows[i]
		require.True(t, r.GetPlaced())
		require.Equal(t, []string{p.GetRequestCode(), p.GetDogName(), p.GetSiteCode(), p.GetRunCode(), p.GetRunClass(), p.GetTrainerCode(), p.GetArrival(), p.GetGraduation(), p.GetStanding()},
			[]string{r.GetRequestCode(), r.GetDogName(), r.GetSiteCode(), r.GetRunCode(), r.GetRunClass(), r.GetTrainerCode(), r.GetArrival(), r.GetGraduation(), r.GetStanding()})
		require.Equal(t, p.GetValue(), r.GetPoints())
		require.Contains(t, r.GetSiteCodes(), r.GetSiteCode())
		require.True(t, p.GetStanding() != "new" || r.GetWindowFirst() <= r.GetArrival() && r.GetArrival() <= r.GetWindowLast(), r)
		require.False(t, r.GetPinned())
	}
	hard := 0
	for i, w := range whole.GetWaits() {
		r := rows[len(whole.GetPlacements())+i]
		require.False(t, r.GetPlaced())
		require.Equal(t, []string{w.GetRequestCode(), w.GetDogName(), w.GetReason(), w.GetRemedy()}, []string{r.GetRequestCode(), r.GetDogName(), r.GetReason(), r.GetRemedy()})
		require.ElementsMatch(t, w.GetSiteCodes(), r.GetSiteCodes())
		require.Equal(t, w.GetHard(), r.GetHard())
		if w.GetHard() {
			hard++
		}
	}
	require.EqualValues(t, hard, totals.GetHard())
	standings := map[string]int32{}
	for _, p := range whole.GetPlacements() {
		standings[p.GetStanding()]++
	}
	require.Equal(t, []int32{standings["new"], standings["kept"], standings["moved"], standings["confirmed"] + standings["in residence"], 0},
		[]int32{totals.GetFresh(), totals.GetKept(), totals.GetMoved(), totals.GetStanding(), totals.GetDropped()})
	checkExplained(t, s, whole)
	checkLoad(t, s, whole)
}

// checkExplained holds what is said of single requests against the whole plan.
func checkExplained(t *testing.T, s *school, whole *plannerv1.ReadPlanResponse) {
	t.Helper()
	explain := func(code string) *plannerv1.ExplainRequestResponse {
		why, err := s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: whole.GetPlan().GetId(), RequestCode: code})
		require.NoError(t, err)
		return why
	}
	for _, p := range whole.GetPlacements() {
		require.True(t, proto.Equal(p, explain(p.GetRequestCode()).GetPlacement()), "%v", p)
	}
	for _, w := range whole.GetWaits() {
		require.True(t, proto.Equal(w, explain(w.GetRequestCode()).GetWait()), "%v", w)
	}
}

// TestPlannedIsFound looks for requests by everything that a person could remember of them.
func TestPlannedIsFound(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	all, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId()}, 200)
	some := all[3]
	var owner string
	require.NoError(t, s.pool.QueryRow(t.Context(), `select o.name from enrollment.owner o join enrollment.dog d on d.owner_id = o.id where d.code = $1`, some.GetDogCode()).Scan(&owner))
	for what, find := range map[string]string{"code": some.GetRequestCode(), "dog's code": some.GetDogCode(), "dog": strings.ToUpper(some.GetDogName()), "owner": strings.ToLower(owner), "blanks": "  " + some.GetRequestCode() + " "} {
		rows, totals := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Find: find}, 200)
		require.True(t, slices.ContainsFunc(rows, func(r *plannerv1.Planned) bool { return r.GetRequestCode() == some.GetRequestCode() }), "%s %q", what, find)
		require.Less(t, len(rows), len(all), what)
		require.EqualValues(t, len(all), totals.GetAll(), "totals are of the plan")
	}
	for _, nothing := range []string{"nobody is called this", "%", "_", `\`} {
		rows, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Find: nothing}, 200)
		require.Empty(t, rows, "%q", nothing)
	}
	of := func(which plannerv1.PlannedKind, site string) []*plannerv1.Planned {
		rows, _ := s.planned(t, &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Which: which, SiteCode: site}, 200)
		return rows
	}
	pick := func(keep func(*plannerv1.Planned) bool) (out []*plannerv1.Planned) {
		for _, r := range all {
			if keep(r) {
				out = append(out, r)
			}
		}
		return out
	}
	same := func(want, got []*plannerv1.Planned) {
		t.Helper()
		require.NotEmpty(t, want)
		require.Equal(t, len(want), len(got))
		for i := range want {
			require.Equal(t, want[i].String(), got[i].String())
		}
	}
	same(pick((*plannerv1.Planned).GetPlaced), of(plannerv1.PlannedKind_PLANNED_KIND_PLACED, ""))
	same(pick(func(r *plannerv1.Planned) bool { return !r.GetPlaced() }), of(plannerv1.PlannedKind_PLANNED_KIND_WAITING, ""))
	same(pick(func(r *plannerv1.Planned) bool {
		return r.GetSiteCode() == "FENN" || !r.GetPlaced() && slices.Contains(r.GetSiteCodes(), "FENN")
	}), of(plannerv1.PlannedKind_PLANNED_KIND_UNSPECIFIED, "FENN"))
	require.Empty(t, of(plannerv1.PlannedKind_PLANNED_KIND_MOVED, ""))

	_, err := s.planner.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), SiteCode: "NOWHERE"})
	requireRefusal(t, err, codes.NotFound, "NOWHERE")
	_, err = s.planner.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: plan.GetId(), Limit: 201})
	requireRefusal(t, err, codes.InvalidArgument, "limit")
	_, err = s.planner.ListPlanned(t.Context(), &plannerv1.ListPlannedRequest{PlanId: "01a21213-406c-7ac0-82e0-cae06641f1d8"})
	requireRefusal(t, err, codes.NotFound, "there is no plan")
}

// checkLoad adds the uses of a whole plan up by hand and holds the load against them, by day and by week.
func checkLoad(t *testing.T, s *school, whole *plannerv1.ReadPlanResponse) {
	t.Helper()
	type cell struct {
		used, capacity int64
		full           int32
		price          float32
	}
	month := calendar.MustMonth(whole.GetPlan().GetMonth())
	for _, by := range []plannerv1.LoadBy{plannerv1.LoadBy_LOAD_BY_DAY, plannerv1.LoadBy_LOAD_BY_WEEK} {
		load, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{PlanId: whole.GetPlan().GetId(), By: by})
		require.NoError(t, err)
		spanOf := map[string]int{}
		for i, first := range load.GetFirstDays() {
			day := calendar.MustDate(first)
			for range load.GetDays()[i] {
				spanOf[day.String()], day = i, day.AddDays(1)
			}
			if by == plannerv1.LoadBy_LOAD_BY_WEEK && i > 0 {
				require.Equal(t, 1, calendar.MustDate(first).ISOWeekday())
			}
		}
		require.Len(t, spanOf, month.Days())
		daily := map[string]map[string]cell{} // by line, then day
		add := func(line string, u *plannerv1.Use) {
			if daily[line] == nil {
				daily[line] = map[string]cell{}
			}
			c := daily[line][u.GetDay()]
			c.used, c.capacity, c.price = c.used+int64(u.GetUsed()), c.capacity+int64(u.GetCapacity()), max(c.price, float32(u.GetPrice()))
			daily[line][u.GetDay()] = c
		}
		for _, u := range whole.GetUses() {
			if _, inMonth := spanOf[u.GetDay()]; !inMonth || u.GetResource() == "trainer dogs" {
				continue
			}
			add(u.GetSiteCode()+"/"+u.GetResource()+"/"+u.GetUnit(), u)
			if u.GetResource() == "trainer minutes" {
				add(u.GetSiteCode()+"/"+u.GetResource()+"/", u)
			}
		}
		require.Len(t, load.GetLines(), len(daily))
		for _, line := range load.GetLines() {
			want := make([]cell, len(load.GetDays()))
			for day, c := range daily[line.GetSiteCode()+"/"+line.GetResource()+"/"+line.GetUnit()] {
				at := &want[spanOf[day]]
				at.used, at.capacity, at.price = at.used+c.used, at.capacity+c.capacity, max(at.price, c.price)
				if c.used >= c.capacity {
					at.full++
				}
			}
			for i, c := range want {
				require.Equal(t, c, cell{line.GetUsed()[i], line.GetCapacity()[i], line.GetFullDays()[i], line.GetPrice()[i]}, "%v %d", line, i)
			}
		}
	}
}

func TestLoadOfAMonthIsThatOfItsPublishedPlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	_, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{Month: scenario.Month})
	requireRefusal(t, err, codes.NotFound, "no plan of 2027-03 is published")
	_, err = s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{})
	requireRefusal(t, err, codes.InvalidArgument, "names no plan")
	plan := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50})
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	byMonth, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{Month: scenario.Month})
	require.NoError(t, err)
	byPlan, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{PlanId: plan.GetId(), By: plannerv1.LoadBy_LOAD_BY_WEEK})
	require.NoError(t, err)
	require.True(t, proto.Equal(byPlan, byMonth))
	one, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{Month: scenario.Month, SiteCode: "FENN"})
	require.NoError(t, err)
	var fenn []*plannerv1.LoadLine
	for _, line := range byMonth.GetLines() {
		if line.GetSiteCode() == "FENN" {
			fenn = append(fenn, line)
		}
	}
	require.NotEmpty(t, fenn)
	require.Len(t, one.GetLines(), len(fenn))
	for i := range fenn {
		require.True(t, proto.Equal(fenn[i], one.GetLines()[i]))
	}
	// A plan that is being drafted has no load yet.
	drafting, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	none, err := s.planner.ReadLoad(t.Context(), &plannerv1.ReadLoadRequest{PlanId: drafting.GetPlan().GetId()})
	require.NoError(t, err)
	require.Empty(t, none.GetLines())
	s.finish(t, drafting.GetPlan().GetId())
	s.wait(t, drafting.GetPlan().GetId())
}

// TestComparedPagesAreTheComparison also holds what is compared against the two whole plans.
func TestComparedPagesAreTheComparison(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	first := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50})
	second := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50, Seed: 3})
	all, err := s.planner.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: first.GetId(), OtherPlanId: second.GetId()})
	require.NoError(t, err)
	a, b := s.read(t, first.GetId()), s.read(t, second.GetId())
	for i, site := range a.GetSites() {
		require.True(t, proto.Equal(site, all.GetFirstSites()[i]))
		require.True(t, proto.Equal(b.GetSites()[i], all.GetSecondSites()[i]))
	}
	placed := func(whole *plannerv1.ReadPlanResponse) map[string]*plannerv1.Placement {
		out := map[string]*plannerv1.Placement{}
		for _, p := range whole.GetPlacements() {
			out[p.GetRequestCode()] = p
		}
		return out
	}
	inA, inB := placed(a), placed(b)
	differ := map[string]bool{}
	for _, d := range all.GetDifferences() {
		differ[d.GetRequestCode()] = true
		require.True(t, proto.Equal(inA[d.GetRequestCode()], d.GetFirst()))
		require.True(t, proto.Equal(inB[d.GetRequestCode()], d.GetSecond()))
		require.NotEmpty(t, d.GetChanges())
		require.NotEmpty(t, d.GetDogName())
	}
	require.Len(t, differ, int(all.GetDiffering()))
	var onlyA, onlyB int32
	for code, p := range inA {
		q := inB[code]
		if q == nil {
			onlyA++
		}
		same := q != nil && p.GetSiteCode() == q.GetSiteCode() && p.GetArrival() == q.GetArrival() && p.GetRunCode() == q.GetRunCode() && p.GetTrainerCode() == q.GetTrainerCode()
		require.Equal(t, !same, differ[code], code)
	}
	for code := range inB {
		if inA[code] == nil {
			onlyB++
			require.True(t, differ[code])
		}
	}
	require.Equal(t, [2]int32{onlyA, onlyB}, [2]int32{all.GetFirstOnly(), all.GetSecondOnly()})
	var paged []*plannerv1.Difference
	for len(paged) < int(all.GetDiffering()) {
		page, err := s.planner.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: first.GetId(), OtherPlanId: second.GetId(), Limit: 17, Offset: int32(len(paged))})
		require.NoError(t, err)
		require.NotEmpty(t, page.GetDifferences())
		require.Equal(t, all.GetDiffering(), page.GetDiffering())
		paged = append(paged, page.GetDifferences()...)
	}
	for i, d := range all.GetDifferences() {
		require.True(t, proto.Equal(d, paged[i]))
	}
}
