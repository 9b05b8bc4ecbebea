package months_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/console/consoletest"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

const month = "2027-03"

// draft makes a plan of March and waits until it is done.
func draft(t testing.TB, s *consoletest.School, seed int64, iterations int32) *plannerv1.Plan {
	t.Helper()
	calls := plannerv1.NewPlannerServiceClient(s.Conn)
	started, err := calls.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: month, Seconds: 20, Iterations: iterations, Seed: seed})
	require.NoError(t, err)
	stream, err := calls.WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: started.GetPlan().GetId()})
	require.NoError(t, err)
	plan := started.GetPlan()
	for {
		report, err := stream.Recv()
		if err != nil {
			break
		}
		plan = report.GetPlan()
	}
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	return plan
}

// planPath is the address of a plan, and of what is said about it.
func planPath(plan *plannerv1.Plan, more string) string {
	return fmt.Sprintf("/plan/%s%s", plan.GetId(), more)
}
