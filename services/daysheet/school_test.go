package daysheet_test

import (
	"bytes"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/daysheet"
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
	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// school is the invented school in a database of its own, with its days and sheets as callers see them.
type school struct {
	pool *postgres.Pool
	// server is what stands behind sheets, for calls with permissions that no role has.
	server *daysheet.Server
	days   dayplanv1.DayPlanServiceClient
	sheets map[string]daysheetv1.DaySheetServiceClient // by role
	web    http.Handler
	log    *logBuffer
	files  *exchange.Server

	mu  sync.Mutex
	now time.Time
}

func (s *school) clock() time.Time {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now
}

func (s *school) setNow(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now = now
}

// logBuffer is a log that tests read; every level goes into it.
type logBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func secretOf(role string) string { return "secret of " + role }

// newSchool imports the scenario; now is its 22 February 2027.
func newSchool(t *testing.T) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t), now: time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC), log: &logBuffer{}, sheets: map[string]daysheetv1.DaySheetServiceClient{}}
	log := slog.New(slog.NewTextHandler(s.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...), planner.Ports()...)
	ports = append(ports, training.Ports(planner.TrainingKnown())...)
	s.files = exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: s.clock, Caller: rpc.CallerName, Ports: ports})
	s.take(t, scenariotest.Files(t)...)
	days := dayplan.NewServer(dayplan.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: s.clock, Caller: rpc.CallerName})
	s.server = daysheet.NewServer(daysheet.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: s.clock, Caller: rpc.CallerName, Allows: rpc.Allows, Log: log})
	tokens := &rpc.Tokens{}
	edge, err := rpc.NewServer(log, tokens,
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterDayPlanServiceServer(r, days) }, HTTP: dayplanv1.RegisterDayPlanServiceHandler},
		rpc.Register{GRPC: func(r grpc.ServiceRegistrar) { daysheetv1.RegisterDaySheetServiceServer(r, s.server) }, HTTP: daysheetv1.RegisterDaySheetServiceHandler, Pages: s.server.Pages})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	s.web = edge.Handler()
	for _, role := range []string{"manager", "site-lead", "office", "trainer", "viewer"} {
		require.NoError(t, tokens.Add(role, role, secretOf(role)))
		conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials(secretOf(role))))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		s.sheets[role] = daysheetv1.NewDaySheetServiceClient(conn)
		if role == "manager" {
			s.days = dayplanv1.NewDayPlanServiceClient(conn)
		}
	}
	return s
}

// take imports files that have no fault.
func (s *school) take(t *testing.T, files ...exchange.File) {
	t.Helper()
	report, err := s.files.Take(t.Context(), files, exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
}

// plan plans a day and keeps the plan.
func (s *school) plan(t *testing.T, site, day string) *dayplanv1.DayPlan {
	t.Helper()
	got, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: site, Day: day, LimitMs: 300, EvenIfBegun: true})
	require.NoError(t, err)
	return got.GetPlan()
}

// sheet is all sheets of a day as a trainer reads them.
func (s *school) sheet(t *testing.T, site, day string) *daysheetv1.DaySheet {
	t.Helper()
	got, err := s.sheets["trainer"].GetDaySheet(t.Context(), &daysheetv1.GetDaySheetRequest{SiteCode: site, Day: day})
	require.NoError(t, err)
	return got.GetSheet()
}

// print is PrintDaySheet as a trainer.
func (s *school) print(t *testing.T, req *daysheetv1.PrintDaySheetRequest) string {
	t.Helper()
	got, err := s.sheets["trainer"].PrintDaySheet(t.Context(), req)
	require.NoError(t, err)
	return string(got.GetContent())
}

// get asks for a path over HTTP; without a role there is no token.
func (s *school) get(t *testing.T, role, path string, header map[string]string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
	if role != "" {
		r.Header.Set("Authorization", "Bearer "+secretOf(role))
	}
	for k, v := range header {
		r.Header.Set(k, v)
	}
	w := httptest.NewRecorder()
	s.web.ServeHTTP(w, r)
	return w
}
