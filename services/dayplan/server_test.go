package dayplan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// TestWhoMayPlan: everybody who reads plans may look; trainers and viewers plan nothing.
func TestWhoMayPlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for name, client := range map[string]dayplanv1.DayPlanServiceClient{"trainer": s.trainer, "viewer": s.viewer} {
		_, err := client.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "DRUM", Day: "2027-03-01"})
		require.Equal(t, codes.PermissionDenied, status.Code(err), name)
		_, err = client.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: "INGA", Day: "2027-03-01"})
		require.Equal(t, codes.PermissionDenied, status.Code(err), name)
		_, err = client.CloseArea(t.Context(), &dayplanv1.CloseAreaRequest{SiteCode: "DRUM", AreaCode: "barn-hall", Day: "2027-03-01", Reason: "x"})
		require.Equal(t, codes.PermissionDenied, status.Code(err), name)
		_, err = client.EnterForecast(t.Context(), &dayplanv1.EnterForecastRequest{SiteCode: "DRUM", Day: "2027-03-01", Source: "x",
			Hours: []*dayplanv1.ForecastHour{{Hour: "14:00", TemperatureTenths: 900, Unit: "F", Humidity: 40}}})
		require.Equal(t, codes.PermissionDenied, status.Code(err), name)
		got, err := client.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "DRUM", Day: "2027-03-01"})
		require.NoError(t, err, name)
		require.Empty(t, got.GetPlan().GetId(), "nothing is kept by looking")
		require.NotEmpty(t, got.GetPlan().GetBlocks())
	}
	var n int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from dayplan.plan`).Scan(&n))
	require.Zero(t, n)
}

// TestKeptPlans: the plan that is shown is the one that was kept; one is live for each day, and the history stays.
func TestKeptPlans(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	first := s.plan(t, "QUILL", "2027-03-02")
	require.EqualValues(t, 1, first.GetNumber())
	got, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "QUILL", Day: "2027-03-02"})
	require.NoError(t, err)
	require.Equal(t, first.GetId(), got.GetPlan().GetId())
	require.Equal(t, first.GetFingerprint(), got.GetPlan().GetFingerprint())
	require.Equal(t, first.GetValue(), got.GetPlan().GetValue())
	require.Equal(t, first.GetBound(), got.GetPlan().GetBound())
	require.Equal(t, first.GetBlocks(), got.GetPlan().GetBlocks())
	require.False(t, got.GetPlan().GetStale())
	require.Equal(t, "site-lead", got.GetPlan().GetMadeBy())

	second := s.plan(t, "QUILL", "2027-03-02")
	require.EqualValues(t, 2, second.GetNumber())
	var live, all int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) filter (where state = 'live'), count(*) from dayplan.plan`).Scan(&live, &all))
	require.Equal(t, []int{1, 2}, []int{live, all})
	_, err = s.pool.Exec(t.Context(), `update dayplan.plan set state = 'live'`)
	require.ErrorContains(t, err, "plan_live_key", "the database keeps two live plans of a day apart")

	_, err = s.pool.Exec(t.Context(), `update facility.area set dogs_at_once = dogs_at_once + 1`)
	require.NoError(t, err)
	got, err = s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "QUILL", Day: "2027-03-02"})
	require.NoError(t, err)
	require.True(t, got.GetPlan().GetStale())
}

// TestBegunDays: a day that has begun is not planned over unless that is asked for.
func TestBegunDays(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	p := s.plan(t, "QUILL", "2027-03-02")
	first := p.GetBlocks()[0].GetStartsAt().AsTime()
	s.now = first.Add(-time.Hour)
	s.plan(t, "QUILL", "2027-03-02")
	s.now = first.Add(12 * time.Hour)
	_, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "QUILL", Day: "2027-03-02", LimitMs: 100})
	require.Equal(t, codes.FailedPrecondition, status.Code(err))
	require.ErrorContains(t, err, "has begun")
	got, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "QUILL", Day: "2027-03-02", LimitMs: 100, EvenIfBegun: true})
	require.NoError(t, err)
	require.EqualValues(t, 3, got.GetPlan().GetNumber())
}

// TestFaultyRequests: each fault is named.
func TestFaultyRequests(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, c := range []struct {
		req  *dayplanv1.CoverAbsenceRequest
		code codes.Code
	}{
		{&dayplanv1.CoverAbsenceRequest{TrainerCode: "NOBODY", Day: "2027-03-02"}, codes.NotFound},
		{&dayplanv1.CoverAbsenceRequest{TrainerCode: "INGA", Day: "2.3.2027"}, codes.InvalidArgument},
		{&dayplanv1.CoverAbsenceRequest{TrainerCode: "INGA", Day: "2027-03-02", From: "ten"}, codes.InvalidArgument},
		{&dayplanv1.CoverAbsenceRequest{TrainerCode: "INGA", Day: "2027-03-03"}, codes.FailedPrecondition},
	} {
		_, err := s.days.CoverAbsence(t.Context(), c.req)
		require.Equal(t, c.code, status.Code(err), "%v: %v", c.req, err)
	}
	_, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "NOWHERE", Day: "2027-03-02"})
	require.Equal(t, codes.NotFound, status.Code(err))
}
