package dayplan_test

import (
	"context"
	"io/fs"
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
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/training"
	"github.com/longlead/longlead/testdata/scenario"

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
	ports := append(facility.Ports(), roster.Ports(rosterSites)...)
	ports = append(ports, enrollment.Ports(enrollmentSites)...)
	ports = append(ports, planner.Ports()...)
	ports = append(ports, training.Ports(planner.TrainingKnown())...)
	files := exchange.NewServer(exchange.Deps{Pool: s.pool, Mint: ids.NewMint(), Now: now, Caller: rpc.CallerName, Ports: ports})
	report, err := files.Take(t.Context(), scenarioFiles(t), exchange.Settings{}, func(exchange.Progress) {})
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

func scenarioFiles(t testing.TB) (files []exchange.File) {
	t.Helper()
	names, err := fs.Glob(scenario.FS, "*.csv")
	require.NoError(t, err)
	for _, name := range names {
		content, err := fs.ReadFile(scenario.FS, name)
		require.NoError(t, err)
		files = append(files, exchange.File{Name: name, Content: content})
	}
	return files
}

func rosterSites(ctx context.Context, db postgres.DB) (refs []roster.SiteRef, err error) {
	sites, err := facility.ListSites(ctx, db)
	for _, s := range sites {
		refs = append(refs, roster.SiteRef{ID: s.ID, Code: s.Code, Zone: s.Zone})
	}
	return refs, err
}

func enrollmentSites(ctx context.Context, db postgres.DB) (rules []enrollment.SiteRules, err error) {
	sites, err := facility.ListSites(ctx, db)
	for _, s := range sites {
		rules = append(rules, enrollment.SiteRules{ID: s.ID, Code: s.Code, RabiesWaitingDays: s.RabiesWaitingDays, RequiredVaccines: s.RequiredVaccines})
	}
	return rules, err
}

// promise makes further stays until a day has twice the dogs or so: open requests of March move in beside those who are there, each with
// a trainer of the site. It stands for a published month, whose own rules are tested in package planner.
func (s *school) promise(t testing.TB) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), `
		with runs as (
		  select r.id, r.site_id, row_number() over (partition by r.site_id order by r.code) as n from facility.run r
		  where not r.isolation and not exists (select from planner.stay x where x.run_id = r.id and upper(x.nights) >= '2027-03-01')),
		requests as (
		  select q.id, c.site_id, p.nights, row_number() over (partition by c.site_id order by q.code) as n from enrollment.request q
		  join enrollment.program p on p.id = q.program_id
		  join lateral (select site_id from enrollment.request_site x where x.request_id = q.id order by x.site_id limit 1) c on true
		  where q.state = 'open' and q.code like 'M-%'),
		trainers as (
		  select id, home_site_id, row_number() over (partition by home_site_id order by code) as n, count(*) over (partition by home_site_id) as many from roster.trainer)
		insert into planner.stay (id, request_id, site_id, run_id, trainer_id, nights, state, made_at)
		select gen_random_uuid(), q.id, q.site_id, r.id, x.id, daterange(('2027-03-01'::date + (q.n % 10)::int), ('2027-03-01'::date + (q.n % 10)::int + q.nights)), 'published', now()
		from requests q join runs r on r.site_id = q.site_id and r.n = q.n
		join trainers x on x.home_site_id = q.site_id and x.n = 1 + q.n % x.many`)
	require.NoError(t, err)
}

func (s *school) plan(t testing.TB, site, day string) *dayplanv1.DayPlan {
	t.Helper()
	got, err := s.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: site, Day: day, LimitMs: 400})
	require.NoError(t, err)
	return got.GetPlan()
}
