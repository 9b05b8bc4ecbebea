package planner_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func TestStandingsSayWhatThePlanSays(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	server := planner.NewServer(planner.Deps{Pool: s.pool, Mint: uuid.New, Now: func() time.Time { return today }, Jobs: s.jobs, Caller: rpc.CallerName,
		Sites: scenariotest.RosterSites})
	s.startWorker(t)
	plan := s.draft(t, quick())
	whole, err := s.planner.ReadPlan(t.Context(), &plannerv1.ReadPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	require.NotEmpty(t, whole.GetPlacements())
	require.NotEmpty(t, whole.GetWaits())

	wait, placed := whole.GetWaits()[0], whole.GetPlacements()[0]
	for _, w := range whole.GetWaits() {
		if len(w.GetChanges()) > len(wait.GetChanges()) {
			wait = w
		}
	}
	require.NotEmpty(t, wait.GetChanges())
	for _, p := range whole.GetPlacements() {
		if p.GetStanding() == "new" {
			placed = p
		}
	}
	ask := &plannerv1.ReadStandingsRequest{RequestCodes: []string{wait.GetRequestCode(), "NOBODY", placed.GetRequestCode()}}
	got, err := server.ReadStandings(t.Context(), ask)
	require.NoError(t, err)
	require.Len(t, got.GetStandings(), 2, "an unknown code is absent")
	w, p := got.GetStandings()[0], got.GetStandings()[1]
	require.Equal(t, []any{wait.GetRequestCode(), wait.GetReason(), wait.GetRemedy(), wait.GetHard(), false, plan.GetId(), "2027-03", plannerv1.PlanState_PLAN_STATE_DRAFT},
		[]any{w.GetRequestCode(), w.GetReason(), w.GetRemedy(), w.GetHard(), w.GetPlaced(), w.GetPlanId(), w.GetMonth(), w.GetPlanState()})
	require.Equal(t, []any{placed.GetRequestCode(), true, placed.GetSiteCode(), placed.GetArrival()}, []any{p.GetRequestCode(), p.GetPlaced(), p.GetSiteCode(), p.GetArrival()})
	require.Equal(t, len(wait.GetChanges()), len(w.GetChanges()))
	for i, c := range wait.GetChanges() {
		require.Equal(t, c.GetText(), w.GetChanges()[i].GetText())
	}
	require.Nil(t, p.GetStay(), "nothing is promised yet")

	_, err = s.planner.PublishPlan(t.Context(), &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	require.NoError(t, err)
	got, err = server.ReadStandings(t.Context(), ask)
	require.NoError(t, err)
	stay := got.GetStandings()[1].GetStay()
	require.Equal(t, []string{placed.GetRequestCode(), placed.GetSiteCode(), placed.GetRunCode(), placed.GetTrainerCode(), placed.GetArrival(), placed.GetGraduation(), "published"},
		[]string{stay.GetRequestCode(), stay.GetSiteCode(), stay.GetRunCode(), stay.GetTrainerCode(), stay.GetArrival(), stay.GetGraduation(), stay.GetState()})

	promised, err := planner.ListPromisedRequests(t.Context(), s.pool)
	require.NoError(t, err)
	var count int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from planner.stay where state in `+live).Scan(&count))
	require.Len(t, promised, count)
	require.Positive(t, count)
}
