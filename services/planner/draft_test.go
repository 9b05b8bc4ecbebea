package planner_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// waiting are the requests of the scenario that no plan can place; its README says why each.
var waiting = map[string]string{
	"M-007": "no site has room for all of it", "M-008": "no site has room for all of it", "M-009": "M-010", "M-010": "distemper lapsed after 2026-12-02", "M-013": "rabies lapses after 2027-03-20",
	"M-014": "rabies counts from 2027-03-20", "M-016": "in season", "M-020": "under 6 months", "M-022": "no intake places on a Sunday",
	"M-023": "boiler", "M-026": "no influenza vaccination", "M-027": "Good Friday", "M-028": "rabies lapses after 2027-03-18", "M-036": "no trainer at QUILL",
}

func TestDraftOfTheScenario(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	require.EqualValues(t, 260, plan.GetRequests())
	require.Greater(t, plan.GetPlaced(), int32(180))
	require.GreaterOrEqual(t, plan.GetBound(), plan.GetValue())
	whole := s.read(t, plan.GetId())
	require.Len(t, whole.GetPlacements(), int(plan.GetPlaced()))
	require.Len(t, whole.GetWaits(), int(plan.GetRequests()-plan.GetPlaced()))
	recount(t, s, whole)

	waits := map[string]*plannerv1.Wait{}
	for _, w := range whole.GetWaits() {
		require.NotEmpty(t, w.GetReason(), w.GetRequestCode())
		require.NotEmpty(t, w.GetRemedy(), w.GetRequestCode())
		waits[w.GetRequestCode()] = w
	}
	for code, reason := range waiting {
		require.Contains(t, waits, code)
		require.Contains(t, waits[code].GetReason(), reason, code)
	}
	for code, w := range waits {
		if w.GetHard() {
			require.Contains(t, waiting, code, w.GetReason())
		}
	}
	placed := map[string]*plannerv1.Placement{}
	for _, p := range whole.GetPlacements() {
		placed[p.GetRequestCode()] = p
	}
	requireTogether(t, placed, [][2]string{{"M-001", "M-002"}, {"M-003", "M-004"}, {"M-005", "M-006"}, {"M-011", "M-012"},
		{"M-253", "M-254"}, {"M-255", "M-256"}, {"M-257", "M-258"}, {"M-259", "M-260"}})
	if p := placed["M-015"]; p != nil {
		require.Equal(t, "FENN", p.GetSiteCode(), "its rabies shot counts in time at FENN only")
	}
	if p := placed["M-018"]; p != nil {
		require.Equal(t, "IMARA", p.GetTrainerCode(), "only IMARA may handle it")
	}
	if p := placed["M-024"]; p != nil {
		require.EqualValues(t, 120, p.GetMinutesADay(), "a person's word counts")
	}
}

func requireTogether(t *testing.T, placed map[string]*plannerv1.Placement, households [][2]string) {
	t.Helper()
	for _, pair := range households {
		a, b := placed[pair[0]], placed[pair[1]]
		require.Equal(t, a == nil, b == nil, "%s and %s come together or not at all", pair[0], pair[1])
		if a != nil {
			require.Equal(t, a.GetSiteCode(), b.GetSiteCode(), pair)
			require.Equal(t, a.GetArrival(), b.GetArrival(), pair)
		}
	}
}

// recount holds a plan against the rules with nothing but what the API says of it: no resource is used beyond what there is,
// no two stays share a run on a night, and the points add up.
func recount(t *testing.T, s *school, whole *plannerv1.ReadPlanResponse) {
	t.Helper()
	overdrawn := map[string]bool{"AMINA": true, "AMINAB": true} // sick, with dogs promised to her before: a caution says so
	for _, u := range whole.GetUses() {
		if !overdrawn[u.GetUnit()] {
			require.LessOrEqual(t, u.GetUsed(), u.GetCapacity(), "%v", u)
		}
		require.GreaterOrEqual(t, u.GetPrice(), 0.0, "%v", u)
	}
	var total int64
	nights := map[string]string{}
	sleep := func(who, site, run, arrival, graduation string) {
		for d := calendar.MustDate(arrival); d.Before(calendar.MustDate(graduation)); d = d.AddDays(1) {
			key := fmt.Sprintf("%s %s %s", site, run, d)
			require.Empty(t, nights[key], "%s and %s share run %s", who, nights[key], key)
			nights[key] = who
		}
	}
	for _, p := range whole.GetPlacements() {
		var points int64
		for _, one := range p.GetPoints() {
			points += one.GetPoints()
		}
		require.Equal(t, p.GetValue(), points, p.GetRequestCode())
		total += points
		if p.GetStanding() == "new" || p.GetStanding() == "moved" {
			sleep(p.GetRequestCode(), p.GetSiteCode(), p.GetRunCode(), p.GetArrival(), p.GetGraduation())
		}
	}
	for _, d := range whole.GetLongDays() {
		require.Negative(t, d.GetPoints(), "%v", d)
		total += d.GetPoints()
	}
	require.Equal(t, whole.GetPlan().GetValue(), total, "placements and long days add up to the plan's value")
	var sites, long int64
	for _, site := range whole.GetSites() {
		sites, long = sites+site.GetValue(), long+int64(site.GetLongDays())
	}
	require.Equal(t, total, sites, "and so do the sites")
	require.EqualValues(t, len(whole.GetLongDays()), long)
	stays, err := s.planner.ListStays(t.Context(), &plannerv1.ListStaysRequest{Month: scenario.Month})
	require.NoError(t, err)
	moved := map[string]bool{}
	for _, p := range whole.GetPlacements() {
		moved[p.GetRequestCode()] = p.GetStanding() == "moved" || p.GetStanding() == "new"
	}
	for _, stay := range stays.GetStays() {
		if !moved[stay.GetRequestCode()] {
			sleep(stay.GetRequestCode(), stay.GetSiteCode(), stay.GetRunCode(), stay.GetArrival(), stay.GetGraduation())
		}
	}
}

func TestPublishing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	first := s.draft(t, quick())
	second := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 100, Seed: 2})

	published, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: first.GetId()})
	require.NoError(t, err)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_PUBLISHED, published.GetPlan().GetState())
	require.Equal(t, first.GetPlaced(), published.GetNewStays())
	require.Zero(t, published.GetMovedStays()+published.GetKeptStays()+published.GetDroppedStays())

	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: first.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "published already")
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: second.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "have changed")

	var changes, stays int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from planner.stay_change where reason like 'plan 1 of%' and before is null and changed_by = 'manager'`).Scan(&changes))
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from planner.stay where plan_id = $1 and state = 'published'`, first.GetId()).Scan(&stays))
	require.Equal(t, int(first.GetPlaced()), changes, "every promise stands in the audit trail")
	require.Equal(t, int(first.GetPlaced()), stays)

	// Planned again, the promises stand: nothing is better than what was promised by more than the promises are worth.
	again := s.draft(t, quick())
	whole := s.read(t, again.GetId())
	recount(t, s, whole)
	kept := 0
	for _, p := range whole.GetPlacements() {
		if p.GetStanding() == "kept" {
			kept++
		}
	}
	require.Greater(t, kept, int(first.GetPlaced())*9/10)
	result, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: again.GetId()})
	require.NoError(t, err)
	require.EqualValues(t, kept, result.GetKeptStays())
	old, err := s.planner.ReadPlan(t.Context(), &plannerv1.ReadPlanRequest{PlanId: first.GetId()})
	require.NoError(t, err)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_SUPERSEDED, old.GetPlan().GetState())
}

func TestStaleInputsAreNotPublished(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	_, err := s.roster.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: "IMARA", FirstDay: "2027-03-10", LastDay: "2027-03-12", Kind: rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS})
	require.NoError(t, err)
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "have changed since plan 1 of 2027-03 was drafted")
	var stays int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from planner.stay where state = 'published'`).Scan(&stays))
	require.Zero(t, stays, "nothing was published")
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, s.read(t, plan.GetId()).GetPlan().GetState())
}

func TestCancelledDraftStops(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	started, err := s.planner.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600})
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	require.Eventually(t, func() bool { return s.read(t, id).GetPlan().GetValue() > 0 }, time.Minute, 50*time.Millisecond, "the search begins")
	cancelled, err := s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: id})
	require.NoError(t, err)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_CANCELLED, cancelled.GetPlan().GetState())
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_CANCELLED, s.wait(t, id).GetState())
	_, err = s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: id})
	requireRefusal(t, err, codes.FailedPrecondition, "not being drafted")
	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: id})
	requireRefusal(t, err, codes.FailedPrecondition, "nothing to publish")
	require.Empty(t, s.read(t, id).GetPlacements())
	// The worker is free again: the next draft is made.
	s.draft(t, quick())
}

func TestRequestsThatMakeNoSense(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	ctx := t.Context()
	_, err := s.planner.DraftPlan(ctx, &plannerv1.DraftPlanRequest{Month: "2027-13"})
	requireRefusal(t, err, codes.InvalidArgument, "2027-13")
	_, err = s.planner.DraftPlan(ctx, &plannerv1.DraftPlanRequest{Month: "March"})
	requireRefusal(t, err, codes.InvalidArgument, "month")
	_, err = s.planner.DraftPlan(ctx, &plannerv1.DraftPlanRequest{Month: "2027-03", Seconds: 601})
	requireRefusal(t, err, codes.InvalidArgument, "seconds")
	_, err = s.planner.ReadPlan(ctx, &plannerv1.ReadPlanRequest{PlanId: "01a21213-406c-7ac0-82e0-cae06641f1d8"})
	requireRefusal(t, err, codes.NotFound, "there is no plan")
	_, err = s.planner.SetPolicy(ctx, &plannerv1.SetPolicyRequest{Terms: []*plannerv1.PolicyTerm{{Term: "charm", Points: 3}}})
	requireRefusal(t, err, codes.InvalidArgument, "charm")
	policy, err := s.planner.SetPolicy(ctx, &plannerv1.SetPolicyRequest{Terms: []*plannerv1.PolicyTerm{{Term: "travel", Points: 5}}})
	require.NoError(t, err)
	for _, term := range policy.GetTerms() {
		if term.GetTerm() == "travel" {
			require.EqualValues(t, 5, term.GetPoints())
		}
	}
}

func TestExplainAndCompare(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	first := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50})
	_, err := s.planner.SetPolicy(t.Context(), &plannerv1.SetPolicyRequest{Terms: []*plannerv1.PolicyTerm{{Term: "travel", Points: 40}}})
	require.NoError(t, err)
	second := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 50, Seed: 3})

	same, err := s.planner.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: first.GetId(), OtherPlanId: first.GetId()})
	require.NoError(t, err)
	require.Empty(t, same.GetDifferences())
	other, err := s.planner.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: first.GetId(), OtherPlanId: second.GetId()})
	require.NoError(t, err)
	require.NotEmpty(t, other.GetDifferences(), "travel at 40 points a quarter of an hour changes the plan")
	for _, d := range other.GetDifferences() {
		require.NotEmpty(t, d.GetChanges())
		require.False(t, d.GetFirst() == nil && d.GetSecond() == nil)
	}

	why, err := s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: first.GetId(), RequestCode: "M-014"})
	require.NoError(t, err)
	require.True(t, why.GetWait().GetHard())
	require.Zero(t, why.GetOpenChoices())
	require.NotEmpty(t, why.GetRefusals())
	_, err = s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: first.GetId(), RequestCode: "M-261"})
	requireRefusal(t, err, codes.NotFound, "did not consider")
	for _, w := range s.read(t, first.GetId()).GetWaits() {
		if w.GetHard() {
			continue
		}
		why, err := s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: first.GetId(), RequestCode: w.GetRequestCode()})
		require.NoError(t, err)
		require.Positive(t, why.GetOpenChoices())
		held := 0
		for _, r := range why.GetRefusals() {
			held += len(r.GetHeldBy())
		}
		require.Positive(t, held, "%s gave way to somebody", w.GetRequestCode())
	}
}

func requireRefusal(t *testing.T, err error, code codes.Code, text string) {
	t.Helper()
	require.Equal(t, code.String(), status.Code(err).String(), "%v", err)
	require.ErrorContains(t, err, text)
}
