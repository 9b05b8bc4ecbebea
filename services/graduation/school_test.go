package graduation_test

import (
	"log/slog"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/graduation"
	"github.com/longlead/longlead/services/handover"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/mail"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
	handoverv1 "github.com/longlead/longlead/proto/longlead/handover/v1"
)

// publicURL is where owners would reach the school of the tests.
const publicURL = "https://dogs.example.com"

// school is the invented school in a database of its own: stays of February, most of which end in March.
type school struct {
	pool     *postgres.Pool
	now      time.Time
	jobs     *jobs.Client
	book     *handover.Book
	outbox   *mail.Outbox
	looks    *graduation.Looks
	evenings *dayplan.Evenings
	// web serves the owners' pages.
	web http.Handler
	// office may manage handovers, viewer may look only.
	office, viewer graduationv1.GraduationServiceClient
}

// begin is nine in the morning at DRUM and FENN on the scenario's day.
var begin = time.Date(2027, 2, 22, 15, 0, 0, 0, time.UTC)

func newSchool(t testing.TB) *school {
	t.Helper()
	s := &school{pool: postgrestest.Database(t), now: begin}
	now := func() time.Time { return s.now }
	mint := ids.NewMint()
	files := exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: mint, Now: now, Caller: rpc.CallerName, Ports: ports()})
	report, err := files.Take(t.Context(), scenariotest.Files(t), exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Empty(t, report.Faults)
	s.jobs, err = jobs.New(s.pool, nil, jobs.Config{})
	require.NoError(t, err)
	s.outbox = mail.NewOutbox(mail.OutboxDeps{Jobs: s.jobs, Mint: mint, Now: now})
	teller := graduation.Teller{Outbox: s.outbox, Jobs: s.jobs, PublicURL: publicURL}
	s.book = handover.NewBook(handover.BookDeps{Mint: mint, Now: now, Known: planner.HandoverKnown(), Changed: teller.Changed, Fits: graduation.Fits})
	log := slog.New(slog.DiscardHandler)
	s.looks = graduation.NewLooks(graduation.LooksDeps{Pool: s.pool, Book: s.book, Outbox: s.outbox, Now: now, Log: log, PublicURL: publicURL})
	s.evenings = dayplan.NewEvenings(dayplan.EveningsDeps{Pool: s.pool, Jobs: s.jobs, Mint: mint, Now: now, Log: log})
	server := graduation.NewServer(graduation.Deps{Pool: s.pool, Book: s.book, Now: now, Caller: rpc.CallerName})
	pages := handover.NewServer(handover.Deps{Pool: s.pool, Book: s.book, Caller: rpc.CallerName, PublicURL: publicURL, Log: log})
	tokens := &rpc.Tokens{}
	edge, err := rpc.NewServer(log, tokens, rpc.Register{
		GRPC: func(r grpc.ServiceRegistrar) { graduationv1.RegisterGraduationServiceServer(r, server) }, HTTP: graduationv1.RegisterGraduationServiceHandler}, rpc.Register{
		GRPC: func(r grpc.ServiceRegistrar) { handoverv1.RegisterHandoverServiceServer(r, pages) }, HTTP: handoverv1.RegisterHandoverServiceHandler, Pages: pages.Pages})
	require.NoError(t, err)
	s.web = edge.Handler()
	t.Cleanup(func() { edge.Stop(time.Second) })
	for role, client := range map[string]*graduationv1.GraduationServiceClient{"manager": &s.office, "viewer": &s.viewer} {
		require.NoError(t, tokens.Add(role, role, "secret of "+role))
		conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret of " + role)))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		*client = graduationv1.NewGraduationServiceClient(conn)
	}
	return s
}

func ports() (all []records.Port) {
	for _, p := range [][]records.Port{facility.Ports(), roster.Ports(scenariotest.RosterSites), enrollment.Ports(scenariotest.EnrollmentSites), planner.Ports(),
		training.Ports(planner.TrainingKnown()), handover.Ports(planner.HandoverKnown()), graduation.Ports()} {
		all = append(all, p...)
	}
	return all
}

// arrange arranges March at a site.
func (s *school) arrange(t testing.TB, site string) *graduationv1.ArrangeHandoversResponse {
	t.Helper()
	got, err := s.office.ArrangeHandovers(t.Context(), &graduationv1.ArrangeHandoversRequest{SiteCode: site, Month: "2027-03"})
	require.NoError(t, err)
	return got
}

// exec changes the records as no call does.
func (s *school) exec(t testing.TB, sql string, args ...any) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), sql, args...)
	require.NoError(t, err)
}

// count counts rows.
func (s *school) count(t testing.TB, sql string, args ...any) (n int) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), sql, args...).Scan(&n))
	return n
}

// live lists the appointments to come of a site.
func (s *school) live(t testing.TB, site string) []handover.Appointment {
	t.Helper()
	at, err := facility.FindSite(t.Context(), s.pool, site)
	require.NoError(t, err)
	all, err := handover.ListLive(t.Context(), s.pool, at.ID, s.now, s.now.AddDate(1, 0, 0))
	require.NoError(t, err)
	return all
}

func zoneOf(t testing.TB, name string) *time.Location {
	t.Helper()
	zone, err := calendar.LoadZone(name)
	require.NoError(t, err)
	return zone
}

func (s *school) tryTx(t testing.TB, do func(postgres.Tx) error) error {
	t.Helper()
	return postgres.InTx(t.Context(), s.pool, do)
}

func (s *school) inTx(t testing.TB, do func(postgres.Tx) error) {
	t.Helper()
	require.NoError(t, s.tryTx(t, do))
}

// text reads one text.
func (s *school) text(t testing.TB, sql string, args ...any) (out string) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), sql, args...).Scan(&out))
	return out
}
