package planner_test

import (
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// endless is a draft that only somebody can end within the time of a test.
func endless() *plannerv1.DraftPlanRequest {
	return &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600}
}

func (s *school) finish(t *testing.T, id string) *plannerv1.Plan {
	t.Helper()
	done, err := s.planner.FinishDraft(t.Context(), &plannerv1.FinishDraftRequest{PlanId: id})
	require.NoError(t, err)
	return done.GetPlan()
}

func TestFinishKeepsTheBestPlanSoFar(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	started, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	require.Empty(t, started.GetPlan().GetFinishAskedBy())
	var seen int64
	require.Eventually(t, func() bool { seen = s.read(t, id).GetPlan().GetValue(); return seen > 0 }, time.Minute, 20*time.Millisecond)

	// Several at once: all are told of one plan, and nobody is refused.
	var calls sync.WaitGroup
	for range 4 {
		calls.Go(func() {
			done, err := s.planner.FinishDraft(t.Context(), &plannerv1.FinishDraftRequest{PlanId: id})
			if err != nil || done.GetPlan().GetFinishAskedBy() != "manager" {
				t.Errorf("finish: %v, %v", done.GetPlan(), err)
			}
		})
	}
	calls.Wait()
	plan := s.wait(t, id)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	require.GreaterOrEqual(t, plan.GetValue(), seen)
	require.Less(t, plan.GetSeconds(), 300.0)
	whole := s.read(t, id)
	require.Len(t, whole.GetPlacements(), int(plan.GetPlaced()))
	require.Len(t, whole.GetWaits(), int(plan.GetRequests()-plan.GetPlaced()))
	recount(t, s, whole)

	// Asked again, nothing changes; and a draft that was not finished early may be asked as well.
	require.Equal(t, plan.String(), s.finish(t, id).String())
	other := s.draft(t, quick())
	require.Equal(t, other.String(), s.finish(t, other.GetId()).String())
	require.Empty(t, other.GetFinishAskedBy())
	published, err := s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: id})
	require.NoError(t, err, "a finished draft is a draft like any other")
	require.Equal(t, published.GetPlan().String(), s.finish(t, id).String())
}

func TestFinishBeforeAnyWorkerGivesAFirstPlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	started, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	asked := s.finish(t, id)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFTING, asked.GetState())
	s.startWorker(t)
	plan := s.wait(t, id)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	require.Greater(t, plan.GetPlaced(), int32(100), "the first plan is a plan")
	require.GreaterOrEqual(t, plan.GetBound(), plan.GetValue())
	recount(t, s, s.read(t, id))
}

func TestFinishHasNothingToKeepOfACancelledDraft(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	started, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	_, err = s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: started.GetPlan().GetId()})
	require.NoError(t, err)
	_, err = s.planner.FinishDraft(t.Context(), &plannerv1.FinishDraftRequest{PlanId: started.GetPlan().GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "nothing to keep")
	_, err = s.planner.FinishDraft(t.Context(), &plannerv1.FinishDraftRequest{PlanId: "01a21213-406c-7ac0-82e0-cae06641f1d8"})
	requireRefusal(t, err, codes.NotFound, "there is no plan")
	// One that was asked to finish can still be cancelled, and stays so.
	again, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	s.finish(t, again.GetPlan().GetId())
	_, err = s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: again.GetPlan().GetId()})
	require.NoError(t, err)
	s.startWorker(t)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_CANCELLED, s.wait(t, again.GetPlan().GetId()).GetState())
}

// TestFinishEndsEveryRegion asks while the first region is searched and the second waits for the one worker: the first keeps its best
// plan, the second ends with its first, and both are joined.
func TestFinishEndsEveryRegion(t *testing.T) {
	t.Parallel()
	s := newTwinSchool(t)
	s.startWorker(t)
	started, err := s.planner.DraftPlan(t.Context(), endless())
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	require.Eventually(t, func() bool { return s.count(t, `select count(*) from planner.region where value > 0`) == 1 }, time.Minute, 5*time.Millisecond)
	require.Equal(t, 1, s.count(t, `select count(*) from planner.region where attempt = 0`), "one region waits")
	s.finish(t, id)
	s.finish(t, id)
	plan := s.wait(t, id)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	require.Zero(t, s.count(t, regionRows))
	whole := s.read(t, id)
	recount(t, s, whole)
	here := map[bool]int{}
	for _, p := range whole.GetPlacements() {
		here[p.GetSiteCode()[len(p.GetSiteCode())-1] == 'B']++
	}
	require.Greater(t, here[false], 50)
	require.Greater(t, here[true], 50, "the region that had not begun has its first plan")
}
