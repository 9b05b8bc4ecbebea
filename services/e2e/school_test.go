// Package e2e_test uses the planner as programs of somebody else's do: over real ports, knowing an address, a token and
// what the server says about itself. It holds tests only.
package e2e_test

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
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
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

const secret = "the-manager's-token"

// callers are the names and roles beside the manager; the token of each is its name.
var callers = map[string]string{"AMINA": "trainer", "front": "office", "guest": "viewer"}

// school is where a server of the invented school listens.
type school struct {
	grpc, http string
	client     *http.Client
	// token is the manager's when it is empty.
	token string
}

// as is the same server to another caller.
func (s school) as(token string) school {
	s.token = token
	return s
}

// newSchool imports the scenario into a database of its own, starts a worker and serves on ports of this machine.
func newSchool(t *testing.T) school {
	t.Helper()
	pool := postgrestest.Database(t)
	mint, log := ids.NewMint(), slog.New(slog.DiscardHandler)
	now := func() time.Time { return time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC) }
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...), planner.Ports()...)
	ports = append(ports, training.Ports(planner.TrainingKnown())...)
	files := exchange.NewServer(exchange.Deps{Pool: pool, Mint: mint, Now: now, Caller: rpc.CallerName, Ports: ports})
	plans := planner.NewServer(planner.Deps{Pool: pool, Mint: mint, Now: now, Jobs: startWorker(t, pool, log), Caller: rpc.CallerName, Sites: scenariotest.RosterSites})
	report, err := files.Take(t.Context(), scenariotest.Files(t), exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)

	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("manager", "manager", secret))
	for name, role := range callers {
		require.NoError(t, tokens.Add(name, role, name))
	}
	logs := training.NewServer(training.Deps{Pool: pool, Now: now, Caller: rpc.CallerName, Known: planner.TrainingKnown()})
	edge, err := rpc.NewServer(log, tokens,
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { trainingv1.RegisterTrainingServiceServer(r, logs) }, HTTP: trainingv1.RegisterTrainingServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { plannerv1.RegisterPlannerServiceServer(r, plans) }, HTTP: plannerv1.RegisterPlannerServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { exchangev1.RegisterExchangeServiceServer(r, files) }, HTTP: exchangev1.RegisterExchangeServiceHandler})
	require.NoError(t, err)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	served := make(chan error, 1)
	go func() { served <- edge.ServeGRPC(listener) }()
	web := httptest.NewServer(edge.Handler())
	t.Cleanup(func() {
		web.Close()
		edge.Stop(10 * time.Second)
		require.NoError(t, <-served)
	})
	return school{grpc: listener.Addr().String(), http: web.URL, client: web.Client()}
}

// startWorker drafts in the background until the test ends.
func startWorker(t *testing.T, pool *postgres.Pool, log *slog.Logger) *jobs.Client {
	t.Helper()
	inserts, err := jobs.New(pool, nil, jobs.Config{Logger: log})
	require.NoError(t, err)
	workers := jobs.NewWorkers()
	planner.NewWorker(pool, inserts, log).Register(workers)
	client, err := jobs.New(pool, workers, jobs.Config{Queues: map[string]int{planner.Queue: 1}, Logger: log, StopSoftly: time.Millisecond})
	require.NoError(t, err)
	require.NoError(t, client.Start(context.WithoutCancel(t.Context())))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		require.NoError(t, client.Stop(ctx))
	})
	return client
}
