// Package consoletest helps tests of the console: the invented school with all its services in one process, people of every role, a client that
// keeps cookies as a browser does, a real browser, and a count of statements. It is test support: no program links it.
package consoletest

import (
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/assembly"
	"github.com/longlead/longlead/services/console/frame"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/rpc"

	peoplev1 "github.com/longlead/longlead/proto/longlead/people/v1"
)

// Now is the instant that the school of a test lives in: a Monday afternoon before the month of the scenario.
var Now = time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC)

// School is the invented school with its console.
type School struct {
	// Pool is its database.
	Pool *postgres.Pool
	// URL is where the console is served.
	URL string
	// Conn is for calls as the manager.
	Conn *grpc.ClientConn
	// Assembly is all of its services.
	Assembly *assembly.School

	statements *atomic.Int64
	clock      *atomic.Int64
	door       *Door
}

// Set says what a school of a test has beside its records.
type Set struct {
	// Empty leaves the records of the scenario out.
	Empty bool
	// March lets stays fill March 2027, as if a month had been published (scenariotest.FillMarch).
	March bool
	// Work starts workers of all jobs.
	Work bool
	// Kept keeps People in the database, behind the door that the program has; else they are let in from memory, which is quicker.
	Kept bool
}

// New serves the school until the test ends.
func New(t testing.TB, set Set) *School {
	t.Helper()
	s := &School{statements: &atomic.Int64{}, clock: &atomic.Int64{}, door: NewDoor()}
	s.clock.Store(Now.UnixMicro())
	s.Pool = countingPool(t, postgrestest.URL(postgrestest.Database(t)), s.statements)
	if !set.Empty {
		takeScenario(t, s.Pool)
	}
	if set.March {
		scenariotest.FillMarch(t, s.Pool)
	}
	log := slog.New(slog.DiscardHandler)
	inserts, err := jobs.New(s.Pool, nil, jobs.Config{Logger: log})
	require.NoError(t, err)
	tokens := &rpc.Tokens{}
	require.NoError(t, tokens.Add("manager", "manager", "the-manager's-token"))
	var door frame.Door = s.door
	if set.Kept {
		door = assembly.NewDoor(s.Pool, s.now, log)
	}
	s.Assembly, err = assembly.New(assembly.Deps{Pool: s.Pool, Jobs: inserts, Tokens: tokens, Log: log, Now: s.now, PublicURL: "https://dogs.example.com", Door: door})
	require.NoError(t, err)
	web := httptest.NewServer(s.Assembly.Server.Handler())
	s.URL = web.URL
	s.Conn, err = s.Assembly.Server.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("the-manager's-token")))
	require.NoError(t, err)
	t.Cleanup(func() {
		web.CloseClientConnections()
		web.Close()
		_ = s.Conn.Close()
		s.Assembly.Server.Stop(time.Second)
	})
	if set.Kept {
		s.keepPeople(t)
	}
	if set.Work {
		s.work(t, log)
	}
	return s
}

func (s *School) now() time.Time { return time.UnixMicro(s.clock.Load()).UTC() }

// EndSession ends the session of a role on the server; the browser knows nothing of it.
func (s *School) EndSession(t testing.TB, role string) {
	t.Helper()
	require.True(t, s.door.end(role), "the role %s has a session", role)
}

// SetNow moves the clock of the school.
func (s *School) SetNow(now time.Time) { s.clock.Store(now.UnixMicro()) }

// keepPeople adds People, without what only the scenario has.
func (s *School) keepPeople(t testing.TB) {
	t.Helper()
	for _, p := range People {
		_, err := peoplev1.NewPeopleServiceClient(s.Conn).AddPerson(t.Context(), &peoplev1.AddPersonRequest{Login: p.Login, Name: p.Name, Role: p.Role, Password: Password, KeepPassword: true})
		require.NoError(t, err)
	}
}

func (s *School) work(t testing.TB, log *slog.Logger) {
	t.Helper()
	client, err := s.Assembly.Worker(assembly.Work{})
	require.NoError(t, err)
	require.NoError(t, client.Start(context.WithoutCancel(t.Context())))
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	go planner.NewRescuer(s.Pool, client, log).Run(ctx)
	t.Cleanup(func() {
		stop()
		ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
		defer cancel()
		require.NoError(t, client.Stop(ctx))
	})
}

func takeScenario(t testing.TB, pool *postgres.Pool) {
	t.Helper()
	files := exchange.NewServer(exchange.Deps{Pool: pool, Mint: ids.NewMint(), Now: func() time.Time { return Now }, Caller: rpc.CallerName, Ports: assembly.Ports()})
	report, err := files.Take(t.Context(), scenariotest.Files(t), exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
}

// countingPool counts what it sends to the database.
func countingPool(t testing.TB, url string, statements *atomic.Int64) *postgres.Pool {
	t.Helper()
	pool, err := postgres.Open(t.Context(), url, postgres.Options{Configure: func(c *pgxpool.Config) { c.ConnConfig.Tracer = counter{statements} }})
	require.NoError(t, err)
	t.Cleanup(pool.Close)
	return pool
}

// counter counts statements and batches; begin and commit are statements too.
type counter struct{ n *atomic.Int64 }

func (c counter) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	c.n.Add(1)
	return ctx
}

func (c counter) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

func (c counter) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	c.n.Add(1)
	return ctx
}

func (c counter) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}

func (c counter) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData) {}

// Statements returns how many statements f sends to the database. Nothing else may happen in the school meanwhile.
func (s *School) Statements(f func()) int64 {
	before := s.statements.Load()
	f()
	return s.statements.Load() - before
}

// Handler is for tests that need the console without a port.
func (s *School) Handler() http.Handler { return s.Assembly.Server.Handler() }
