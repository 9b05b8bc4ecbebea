package planner_test

import (
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// today is the day on which the scenario is told.
var today = time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC)

// school is the invented school in a database of its own, with a planner server on an in-process connection.
type school struct {
	pool    *postgres.Pool
	jobs    *jobs.Client
	planner plannerv1.PlannerServiceClient
	mend    plannerv1.MendServiceClient
	files   *exchange.Server
	roster  *roster.Server
}

// newSchool imports the scenario. Without workers nothing drafts; startWorker adds one.
func newSchool(t *testing.T) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t)}
	mint := ids.NewMint()
	var err error
	s.jobs, err = jobs.New(s.pool, nil, jobs.Config{Logger: quiet()})
	require.NoError(t, err)
	now := func() time.Time { return today }
	s.files = exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: mint, Now: now, Caller: rpc.CallerName, Ports: allPorts()})
	s.roster = roster.NewServer(roster.Deps{Pool: s.pool, Mint: mint, Sites: scenariotest.RosterSites})
	server := planner.NewServer(planner.Deps{Pool: s.pool, Mint: mint, Now: now, Jobs: s.jobs, Caller: rpc.CallerName, Sites: scenariotest.RosterSites})
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("manager", "manager", "secret"))
	edge, err := rpc.NewServer(quiet(), tokens,
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, server) }, HTTP: plannerv1.RegisterPlannerServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterMendServiceServer(r, server) }, HTTP: plannerv1.RegisterMendServiceHandler})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret")))
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	s.planner, s.mend = plannerv1.NewPlannerServiceClient(conn), plannerv1.NewMendServiceClient(conn)
	s.take(t, scenariotest.Files(t)...)
	return s
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func allPorts() []records.Port {
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...)
	ports = append(ports, planner.Ports()...)
	return append(ports, training.Ports(planner.TrainingKnown())...)
}

// take imports files and requires that nothing is wrong with them.
func (s *school) take(t *testing.T, files ...exchange.File) {
	t.Helper()
	report, err := s.files.Take(t.Context(), files, exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
	require.True(t, report.Imported)
}

// startWorker runs a worker and a rescuer until the test ends.
func (s *school) startWorker(t *testing.T) {
	t.Helper()
	workers := jobs.NewWorkers()
	planner.NewWorker(s.pool, s.jobs, quiet()).Register(workers)
	client, err := jobs.New(s.pool, workers, jobs.Config{Queues: map[string]int{planner.Queue: 1}, Logger: quiet(), StopSoftly: time.Millisecond})
	require.NoError(t, err)
	require.NoError(t, client.Start(t.Context()))
	ctx, cancel := context.WithCancel(t.Context())
	rescued := make(chan struct{})
	go func() {
		defer close(rescued)
		planner.NewRescuer(s.pool, client, quiet()).Run(ctx)
	}()
	t.Cleanup(func() {
		cancel()
		<-rescued
		stop, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		require.NoError(t, client.Stop(stop))
	})
}

// quick is a draft that takes no longer than it must: the limit is in iterations, so that it is the same on any machine.
func quick() *plannerv1.DraftPlanRequest {
	return &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600, Iterations: 300}
}

// draft drafts and waits until the plan is a draft.
func (s *school) draft(t *testing.T, req *plannerv1.DraftPlanRequest) *plannerv1.Plan {
	t.Helper()
	started, err := s.planner.DraftPlan(t.Context(), req)
	require.NoError(t, err)
	plan := s.wait(t, started.GetPlan().GetId())
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	return plan
}

// wait follows a draft until it ends, and requires that its reports only get better.
func (s *school) wait(t *testing.T, id string) *plannerv1.Plan {
	t.Helper()
	return s.follow(t, id, true)
}

// follow is wait, without the requirement when workers are killed meanwhile.
func (s *school) follow(t *testing.T, id string, better bool) *plannerv1.Plan {
	t.Helper()
	stream, err := s.planner.WatchDraft(t.Context(), &plannerv1.WatchDraftRequest{PlanId: id})
	require.NoError(t, err)
	var last *plannerv1.Plan
	for {
		event, err := stream.Recv()
		if err != nil {
			require.ErrorContains(t, err, "EOF")
			return last
		}
		if plan := event.GetPlan(); better && last != nil && plan.GetState() <= plannerv1.PlanState_PLAN_STATE_DRAFT {
			require.GreaterOrEqual(t, plan.GetValue(), last.GetValue())
			require.True(t, last.GetBound() == 0 || plan.GetBound() <= last.GetBound(), "the bound rose from %d to %d", last.GetBound(), plan.GetBound())
		}
		last = event.GetPlan()
	}
}

func (s *school) read(t *testing.T, id string) *plannerv1.ReadPlanResponse {
	t.Helper()
	plan, err := s.planner.ReadPlan(t.Context(), &plannerv1.ReadPlanRequest{PlanId: id, WithUses: true})
	require.NoError(t, err)
	return plan
}
