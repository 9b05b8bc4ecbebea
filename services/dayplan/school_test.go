package dayplan_test

import (
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// school is the invented school in a database of its own, with a day planner as several callers see it.
type school struct {
	pool                  *postgres.Pool
	now                   time.Time
	days, trainer, viewer dayplanv1.DayPlanServiceClient
}

// newSchool imports the scenario; now is its 22 February 2027.
func newSchool(t testing.TB) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t), now: time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC)}
	now := func() time.Time { return s.now }
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...)
	ports = append(ports, planner.Ports()...)
	ports = append(ports, training.Ports(planner.TrainingKnown())...)
	files := exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: now, Caller: rpc.CallerName, Ports: ports})
	report, err := files.Take(t.Context(), scenariotest.Files(t), exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
	server := dayplan.NewServer(dayplan.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: now, Caller: rpc.CallerName})
	tokens := &rpc.Tokens{}
	edge, err := rpc.NewServer(slog.New(slog.DiscardHandler), tokens, rpc.Register{
		GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterDayPlanServiceServer(r, server) }, HTTP: dayplanv1.RegisterDayPlanServiceHandler})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	for role, client := range map[string]*dayplanv1.DayPlanServiceClient{"site-lead": &s.days, "trainer": &s.trainer, "viewer": &s.viewer} {
		require.NoError(t, tokens.Add(role, role, "secret of "+role))
		conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret of " + role)))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		*client = dayplanv1.NewDayPlanServiceClient(conn)
	}
	return s
}

func (s *school) plan(t testing.TB, site, day string) *dayplanv1.DayPlan {
	t.Helper()
	got, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: site, Day: day, LimitMs: 400})
	require.NoError(t, err)
	return got.GetPlan()
}
