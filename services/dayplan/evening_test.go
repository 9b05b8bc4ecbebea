package dayplan_test

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

const patience = time.Minute

// evenings is a school whose days the schedule plans, with a clock that a test sets.
type evenings struct {
	*school
	*dayplan.Evenings
	client, ofViewer dayplanv1.EveningServiceClient
	clock            atomic.Int64
}

// newEvenings has the promises of March and no worker.
func newEvenings(t *testing.T) *evenings {
	t.Helper()
	e := &evenings{school: newSchool(t)}
	scenariotest.FillMarch(t, e.pool)
	e.set("2027-03-08T12:00:00Z")
	e.Evenings = newWorker(t, e.pool, e.time)
	server := dayplan.NewEveningServer(dayplan.Deps{Pool: e.pool, Mint: ids.NewMint(), Now: e.time, Caller: rpc.CallerName})
	tokens := &rpc.Tokens{}
	edge, err := rpc.NewServer(slog.New(slog.DiscardHandler), tokens, rpc.Register{
		GRPC: func(r grpc.ServiceRegistrar) { dayplanv1.RegisterEveningServiceServer(r, server) }, HTTP: dayplanv1.RegisterEveningServiceHandler})
	require.NoError(t, err)
	t.Cleanup(func() { edge.Stop(time.Second) })
	for role, client := range map[string]*dayplanv1.EveningServiceClient{"site-lead": &e.client, "viewer": &e.ofViewer} {
		require.NoError(t, tokens.Add(role, role, "secret of "+role))
		conn, err := edge.Dial(grpc.WithPerRPCCredentials(rpc.TokenCredentials("secret of " + role)))
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		*client = dayplanv1.NewEveningServiceClient(conn)
	}
	return e
}

func newWorker(t testing.TB, pool *postgres.Pool, now func() time.Time) *dayplan.Evenings {
	t.Helper()
	inserts, err := jobs.New(pool, nil, jobs.Config{})
	require.NoError(t, err)
	return dayplan.NewEvenings(dayplan.EveningsDeps{Pool: pool, Jobs: inserts, Mint: ids.NewMint(), Now: now, Log: quiet()})
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func (e *evenings) time() time.Time { return time.Unix(e.clock.Load(), 0).UTC() }

// set is for the schedule's clock and that of the servers.
func (e *evenings) set(when string) {
	at, err := time.Parse(time.RFC3339, when)
	if err != nil {
		panic(err)
	}
	e.clock.Store(at.Unix())
	e.now = at
}

// work runs a worker of the queue until the test ends.
func (e *evenings) work(t *testing.T) {
	t.Helper()
	workers := jobs.NewWorkers()
	e.Register(workers)
	client, err := jobs.New(e.pool, workers, jobs.Config{Queues: map[string]int{dayplan.Queue: dayplan.JobsAtOnce}})
	require.NoError(t, err)
	require.NoError(t, client.Start(t.Context()))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		require.NoError(t, client.Stop(ctx))
	})
}

func (e *evenings) tick(t *testing.T) {
	t.Helper()
	require.NoError(t, e.Tick(t.Context()))
}

// settled waits until no day waits.
func (e *evenings) settled(t *testing.T) {
	t.Helper()
	require.Eventually(t, func() bool { return e.count(t, `select count(*) from dayplan.evening where outcome = 'waiting'`) == 0 }, patience, 20*time.Millisecond)
}

func (s *school) count(t *testing.T, query string, args ...any) (n int) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), query, args...).Scan(&n))
	return n
}

func (s *school) exec(t *testing.T, query string, args ...any) {
	t.Helper()
	_, err := s.pool.Exec(t.Context(), query, args...)
	require.NoError(t, err)
}

// outcome is what came of a day of a site, and the number of its plan.
func (e *evenings) outcome(t *testing.T, site, day string) (dayplanv1.Evening_Outcome, *dayplanv1.Evening) {
	t.Helper()
	got, err := e.client.ListEvenings(t.Context(), &dayplanv1.ListEveningsRequest{SiteCode: site, Days: 400})
	require.NoError(t, err)
	for _, x := range got.GetEvenings() {
		if x.GetDay() == day {
			return x.GetOutcome(), x
		}
	}
	return dayplanv1.Evening_OUTCOME_UNSPECIFIED, nil
}

func (e *evenings) requireOutcome(t *testing.T, day string, want dayplanv1.Evening_Outcome, number int32, says string) {
	t.Helper()
	got, row := e.outcome(t, "FENN", day)
	require.Equal(t, want.String(), got.String(), "%s: %v", day, row)
	require.Equal(t, number, row.GetNumber(), "%v", row)
	require.Contains(t, row.GetNote(), says)
}

// only leaves one site with a schedule.
func (e *evenings) only(t *testing.T, site string) {
	t.Helper()
	e.exec(t, `insert into dayplan.schedule (site_id, at, changed_at, changed_by) select id, null, now(), 'test' from facility.site where code <> $1
		on conflict on constraint schedule_pkey do update set at = null`, site)
}

// TestTomorrowIsPlannedInTheEvening: at half past six by its own clock each site's next day is planned, once, and shown as it was kept.
func TestTomorrowIsPlannedInTheEvening(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.work(t)
	e.only(t, "") // none
	e.exec(t, `delete from dayplan.schedule where site_id in (select id from facility.site where code in ('FENN', 'QUILL'))`)
	e.set("2027-03-08T12:30:00Z") // 06:30 in Chicago: the evening of the 7th was missed, and the 8th has not begun
	e.tick(t)
	e.settled(t)
	e.requireOutcome(t, "2027-03-08", dayplanv1.Evening_OUTCOME_PLANNED, 1, "")
	e.set("2027-03-09T00:29:59Z")
	e.tick(t)
	got, _ := e.outcome(t, "FENN", "2027-03-09")
	require.Equal(t, dayplanv1.Evening_OUTCOME_UNSPECIFIED, got, "it is not yet half past six")
	e.set("2027-03-09T00:30:00Z")
	for range 3 {
		e.tick(t)
	}
	e.settled(t)
	e.requireOutcome(t, "2027-03-09", dayplanv1.Evening_OUTCOME_PLANNED, 1, "")
	got, _ = e.outcome(t, "QUILL", "2027-03-09")
	require.Equal(t, dayplanv1.Evening_OUTCOME_UNSPECIFIED, got, "it is half past five in Denver")
	e.set("2027-03-09T01:30:00Z")
	e.tick(t)
	e.settled(t)
	got, row := e.outcome(t, "QUILL", "2027-03-09")
	require.Equal(t, dayplanv1.Evening_OUTCOME_PLANNED, got)
	require.Equal(t, "2027-03-08 18:30", row.GetDue())
	require.EqualValues(t, 1, row.GetAttempts())

	require.Equal(t, 4, e.count(t, `select count(*) from dayplan.plan where state = 'live'`))
	require.Equal(t, 4, e.count(t, `select count(*) from dayplan.plan`))
	require.Equal(t, 4, e.count(t, `select count(*) from river_job where kind = 'plan_day_by_schedule'`))
	require.Zero(t, e.count(t, `select count(*) from dayplan.evening v join facility.site s on s.id = v.site_id where s.code in ('DRUM', 'TARN')`))
	shown, err := e.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "FENN", Day: "2027-03-09"})
	require.NoError(t, err)
	require.Equal(t, "evening schedule", shown.GetPlan().GetMadeBy())
	require.False(t, shown.GetPlan().GetStale())
	require.NotEmpty(t, shown.GetPlan().GetBlocks())
	require.Empty(t, broken(t, e.pool))
}

// TestSettings: who may set a time, and what is said of a wrong one.
func TestSettings(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	ctx := t.Context()
	for _, c := range []struct {
		req  *dayplanv1.SetEveningRequest
		code codes.Code
	}{
		{&dayplanv1.SetEveningRequest{SiteCode: "NOWHERE", At: "17:00"}, codes.NotFound},
		{&dayplanv1.SetEveningRequest{SiteCode: "FENN", At: "5 pm"}, codes.InvalidArgument},
		{&dayplanv1.SetEveningRequest{SiteCode: "FENN"}, codes.InvalidArgument},
		{&dayplanv1.SetEveningRequest{SiteCode: "FENN", At: "17:00", Off: true}, codes.InvalidArgument},
	} {
		_, err := e.client.SetEvening(ctx, c.req)
		require.Equal(t, c.code, status.Code(err), "%v: %v", c.req, err)
	}
	_, err := e.ofViewer.SetEvening(ctx, &dayplanv1.SetEveningRequest{SiteCode: "FENN", At: "17:00"})
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	set, err := e.client.SetEvening(ctx, &dayplanv1.SetEveningRequest{SiteCode: "FENN", At: "17:15"})
	require.NoError(t, err)
	require.Equal(t, "2027-03-08T23:15:00Z", set.GetTime().GetNextAt().AsTime().Format(time.RFC3339))
	_, err = e.client.SetEvening(ctx, &dayplanv1.SetEveningRequest{SiteCode: "DRUM", Off: true})
	require.NoError(t, err)
	list, err := e.ofViewer.ListEvenings(ctx, &dayplanv1.ListEveningsRequest{})
	require.NoError(t, err)
	var said []string
	for _, x := range list.GetTimes() {
		said = append(said, fmt.Sprint(x.GetSiteCode(), " ", x.GetAt(), " ", x.GetUsual(), " ", x.GetChangedBy()))
	}
	require.Equal(t, []string{"DRUM  false site-lead", "FENN 17:15 false site-lead", "QUILL 18:30 true ", "TARN 18:30 true "}, said)
	e.set("2027-03-08T23:15:00Z")
	e.tick(t)
	require.Equal(t, 1, e.count(t, `select count(*) from dayplan.evening where day = '2027-03-09'`))
	_, err = e.client.ListEvenings(ctx, &dayplanv1.ListEveningsRequest{SiteCode: "NOWHERE"})
	require.Equal(t, codes.NotFound, status.Code(err))
}

// TestTicksThroughClockChanges looks every half hour, often twice at once, around both clock changes of several zones, at times of day that are
// skipped and repeated: each day has one row, due at its instant, and one job.
func TestTicksThroughClockChanges(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	daily := map[string]jobs.Daily{}
	for site, c := range map[string][2]string{"DRUM": {"America/New_York", "02:30"}, "FENN": {"America/Chicago", "01:30"}, "QUILL": {"Europe/Berlin", "02:30"}, "TARN": {"Australia/Lord_Howe", "02:15"}} {
		zone, err := calendar.LoadZone(c[0])
		require.NoError(t, err)
		daily[site] = jobs.Daily{At: calendar.MustClock(c[1]), Zone: zone}
		e.exec(t, `update facility.site set zone = $2 where code = $1`, site, c[0])
		_, err = e.client.SetEvening(t.Context(), &dayplanv1.SetEveningRequest{SiteCode: site, At: c[1]})
		require.NoError(t, err)
	}
	for _, around := range []string{"2027-03-14", "2027-03-28", "2027-04-04", "2027-10-03", "2027-10-31", "2027-11-07"} {
		first := calendar.MustDate(around).AddDays(-2)
		e.exec(t, `delete from dayplan.evening`)
		e.exec(t, `delete from river_job`)
		at, err := calendar.At(first, 0, time.UTC)
		require.NoError(t, err)
		for n := range 4 * 48 {
			e.clock.Store(at.Add(time.Duration(n) * 30 * time.Minute).Unix())
			var both sync.WaitGroup
			for range 1 + n%2 {
				both.Go(func() {
					if err := e.Tick(t.Context()); err != nil {
						t.Error(err)
					}
				})
			}
			both.Wait()
			e.exec(t, `update dayplan.evening set outcome = 'late', done_at = now() where outcome = 'waiting'`) // as a worker might
		}
		for site, d := range daily {
			for n := range 5 {
				day := first.AddDays(n)
				var due time.Time
				require.NoError(t, e.pool.QueryRow(t.Context(), `select v.due_at from dayplan.evening v join facility.site s on s.id = v.site_id where s.code = $1 and v.day = $2`, site, day).Scan(&due))
				want, err := d.On(day.AddDays(-1))
				require.NoError(t, err)
				require.True(t, want.Equal(due), "%s %s: %s, %s", site, day, want, due)
			}
		}
		require.Equal(t, e.count(t, `select count(*) from dayplan.evening`), e.count(t, `select count(*) from river_job where kind = 'plan_day_by_schedule'`))
		require.Equal(t, e.count(t, `select count(*) from dayplan.evening`), e.count(t, `select count(distinct (args->>'site_id', args->>'day')) from river_job`))
	}
}

// TestChangedRecords: a day is planned anew when its records change, as long as it has not begun; then it asks. What somebody planned is left.
func TestChangedRecords(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.work(t)
	e.only(t, "FENN")
	look := func() {
		t.Helper()
		require.NoError(t, e.Changes(t.Context()))
		e.settled(t)
	}
	change := func() {
		t.Helper()
		e.exec(t, `update facility.area set dogs_at_once = dogs_at_once + 1`)
	}
	const day = "2027-03-09"
	e.set("2027-03-09T00:30:00Z")
	e.tick(t)
	e.settled(t)
	look()
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_PLANNED, 1, "")
	require.Equal(t, 2, e.count(t, `select count(*) from river_job where kind = 'plan_day_by_schedule'`), "today, which is late, and tomorrow: nothing has changed")
	change()
	look()
	look()
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_PLANNED, 2, "")

	// It has begun.
	shown, err := e.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "FENN", Day: day})
	require.NoError(t, err)
	require.False(t, shown.GetPlan().GetStale())
	first := shown.GetPlan().GetBlocks()[0].GetStartsAt().AsTime()
	e.set(first.Add(-time.Minute).Format(time.RFC3339))
	look()
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_PLANNED, 2, "")
	e.set(first.Add(time.Hour).Format(time.RFC3339))
	change()
	look()
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_ASK, 2, "it has begun")
	shown, err = e.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "FENN", Day: day})
	require.NoError(t, err)
	require.True(t, shown.GetPlan().GetStale())

	// Somebody decides; after that the schedule leaves the day alone.
	_, err = e.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "FENN", Day: day, LimitMs: 100, EvenIfBegun: true})
	require.NoError(t, err)
	look()
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_KEPT, 3, "somebody made")

	// A day that somebody planned ahead is kept, and asks when its records change.
	const next = "2027-03-10"
	e.plan(t, "FENN", next)
	e.set("2027-03-10T00:30:00Z")
	e.tick(t)
	e.settled(t)
	e.requireOutcome(t, next, dayplanv1.Evening_OUTCOME_KEPT, 1, "somebody made")
	change()
	look()
	e.requireOutcome(t, next, dayplanv1.Evening_OUTCOME_ASK, 1, "somebody made it")
	require.Empty(t, broken(t, e.pool))
}

// TestImpossibleDay: a day that cannot be planned says why, is not tried again until its records change, and is planned then.
func TestImpossibleDay(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.work(t)
	e.only(t, "FENN")
	e.exec(t, `insert into facility.area (id, site_id, code, kind, dogs_at_once) select gen_random_uuid(), id, 'X' || n, 'yard', 1
		from facility.site, generate_series(1, 70) n where code = 'FENN'`)
	const day = "2027-03-09"
	e.set("2027-03-09T00:30:00Z")
	e.tick(t)
	e.settled(t)
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_FAILED, 0, "64 at most")
	tries := e.count(t, `select count(*) from river_job`)
	for range 3 {
		e.tick(t)
		require.NoError(t, e.Changes(t.Context()))
	}
	require.Equal(t, tries, e.count(t, `select count(*) from river_job`))
	e.exec(t, `delete from facility.area where code like 'X%'`)
	require.NoError(t, e.Changes(t.Context()))
	e.settled(t)
	e.requireOutcome(t, day, dayplanv1.Evening_OUTCOME_PLANNED, 1, "")
}

// TestLateDay: a day that begins before it could be planned has no plan by itself.
func TestLateDay(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.work(t)
	e.only(t, "FENN")
	e.set("2027-03-09T20:00:00Z") // 14:00 in Chicago, and nothing has been planned yet
	e.tick(t)
	e.settled(t)
	e.requireOutcome(t, "2027-03-09", dayplanv1.Evening_OUTCOME_LATE, 0, "had begun")
	require.NoError(t, e.Changes(t.Context()))
	e.requireOutcome(t, "2027-03-09", dayplanv1.Evening_OUTCOME_LATE, 0, "had begun")
	_, err := e.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "FENN", Day: "2027-03-09", LimitMs: 100})
	require.NoError(t, err)
	require.NoError(t, e.Changes(t.Context()))
	e.requireOutcome(t, "2027-03-09", dayplanv1.Evening_OUTCOME_KEPT, 1, "")
}
