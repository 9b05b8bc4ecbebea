package dayplan_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// envWorker makes the test binary a worker of the database that it names, until it is killed; envName is what the database calls it, and
// envEpoch when, in nanoseconds, its clock showed crashStart. The clock is fast, so that a lost job is missed soon.
const (
	envWorker  = "DAYPLAN_TEST_WORKER_DATABASE"
	envName    = "DAYPLAN_TEST_WORKER_NAME"
	envEpoch   = "DAYPLAN_TEST_WORKER_EPOCH"
	crashStart = "2027-03-09T01:30:00Z" // half past six in the evening in Denver
	crashSpeed = 20
)

func TestMain(m *testing.M) {
	if url := os.Getenv(envWorker); url != "" {
		if err := workForever(url); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

func workForever(url string) error {
	ctx := context.Background()
	pool, err := postgres.Open(ctx, url, postgres.Options{MaxConns: 6, AppName: os.Getenv(envName)})
	if err != nil {
		return err
	}
	epoch, err := strconv.ParseInt(os.Getenv(envEpoch), 10, 64)
	if err != nil {
		return err
	}
	start, err := time.Parse(time.RFC3339, crashStart)
	if err != nil {
		return err
	}
	now := func() time.Time { return start.Add(crashSpeed * time.Since(time.Unix(0, epoch))) }
	inserts, err := jobs.New(pool, nil, jobs.Config{})
	if err != nil {
		return err
	}
	work := dayplan.NewEvenings(dayplan.EveningsDeps{Pool: pool, Jobs: inserts, Mint: ids.NewMint(), Now: now, Log: quiet()})
	workers := jobs.NewWorkers()
	work.Register(workers)
	client, err := jobs.New(pool, workers, jobs.Config{Queues: map[string]int{dayplan.Queue: dayplan.JobsAtOnce}})
	if err != nil {
		return err
	}
	if err := client.Start(ctx); err != nil {
		return err
	}
	for {
		if err := work.Tick(ctx); err != nil {
			return err
		}
		time.Sleep(200 * time.Millisecond)
	}
}

func (s *school) startProcess(t *testing.T, name string, epoch time.Time) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	worker := exec.CommandContext(t.Context(), self)
	worker.Env = append(os.Environ(), envWorker+"="+postgrestest.URL(s.pool), envName+"="+name, envEpoch+"="+strconv.FormatInt(epoch.UnixNano(), 10))
	require.NoError(t, worker.Start())
	t.Cleanup(func() {
		_ = worker.Process.Kill()
		_ = worker.Wait()
	})
	return worker
}

// TestAKilledWorkerLosesNoDay has two processes plan a school's evening and kills one of them (SIGKILL) after it has planned and before it has
// kept. The other plans all days, once each.
func TestAKilledWorkerLosesNoDay(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	hold, err := e.pool.Begin(t.Context())
	require.NoError(t, err)
	defer func() { _ = hold.Rollback(context.Background()) }()
	_, err = hold.Exec(t.Context(), `lock table dayplan.plan in share mode`) // plans can be read, and none kept
	require.NoError(t, err)
	epoch := time.Now()
	doomed := e.startProcess(t, "doomed", epoch)
	waits := func(name string) bool {
		return e.count(t, `select count(*) from pg_stat_activity where application_name = $1 and wait_event_type = 'Lock'`, name) > 0
	}
	require.Eventually(t, func() bool { return waits("doomed") }, patience, 20*time.Millisecond, "it has planned, and cannot keep")
	e.startProcess(t, "survivor", epoch)
	require.Eventually(t, func() bool { return waits("survivor") }, patience, 20*time.Millisecond)
	require.NoError(t, doomed.Process.Kill())
	_ = doomed.Wait()
	require.Zero(t, e.count(t, `select count(*) from dayplan.plan`))
	require.NoError(t, hold.Rollback(t.Context()))
	e.settled(t)

	require.Equal(t, 4, e.count(t, `select count(*) from dayplan.evening where day = '2027-03-09' and outcome = 'planned'`))
	require.Equal(t, 4, e.count(t, `select count(*) from dayplan.evening v join dayplan.plan p on p.id = v.plan_id and p.state = 'live' and p.site_id = v.site_id and p.day = v.day`))
	require.Equal(t, 4, e.count(t, `select count(*) from dayplan.plan`), "once each")
	require.Positive(t, e.count(t, `select count(*) from dayplan.evening where attempts > 1`), "what the killed one had in hand was taken up again")
	require.Empty(t, broken(t, e.pool))
}

// TestManyWorkersOneDay has workers take up a day at once, again and again, while somebody plans it too: one plan is live at any time, and the
// row says whose it is.
func TestManyWorkersOneDay(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.only(t, "TARN")
	var site ids.SiteID
	require.NoError(t, e.pool.QueryRow(t.Context(), `select id from facility.site where code = 'TARN'`).Scan(&site))
	day := calendar.MustDate("2027-03-09")
	e.set("2027-03-09T01:30:00Z")
	e.tick(t)
	for round := range 3 {
		var all sync.WaitGroup
		for range 3 {
			all.Go(func() { _ = newWorker(t, e.pool, e.time).Plan(t.Context(), site, day) }) // one that others were faster than may give up
		}
		if round > 0 {
			all.Go(func() {
				_, _ = e.days.PlanDay(t.Context(), &dayplanv1.PlanDayRequest{SiteCode: "TARN", Day: "2027-03-09", LimitMs: 500})
			})
		}
		all.Wait()
		require.NoError(t, e.Plan(t.Context(), site, day))
		require.NoError(t, e.Changes(t.Context()))
		require.Equal(t, 1, e.count(t, `select count(*) from dayplan.plan where state = 'live'`))
		require.Equal(t, 1, e.count(t, `select count(*) from dayplan.evening v join dayplan.plan p on p.site_id = v.site_id and p.day = v.day and p.state = 'live'
			where v.day = '2027-03-09' and v.outcome = case when p.id = v.plan_id then 'planned' else 'kept' end`), "round %d", round)
		if round == 0 {
			require.Equal(t, 1, e.count(t, `select count(*) from dayplan.plan`), "three workers kept one plan")
		}
		e.exec(t, `update dayplan.evening set outcome = 'waiting', done_at = null, attempts = 0`)
	}
	require.Empty(t, broken(t, e.pool))
}

// TestGivenUp: a day that no worker comes to an end with is given up, with words; one that was broken off in order costs no attempt.
func TestGivenUp(t *testing.T) {
	t.Parallel()
	e := newEvenings(t)
	e.only(t, "TARN")
	var site ids.SiteID
	require.NoError(t, e.pool.QueryRow(t.Context(), `select id from facility.site where code = 'TARN'`).Scan(&site))
	day := calendar.MustDate("2027-03-09")
	e.set("2027-03-09T01:30:00Z")
	e.tick(t)
	attempts := func() int {
		return e.count(t, `select attempts from dayplan.evening where day = '2027-03-09'`)
	}
	e.exec(t, `alter table dayplan.plan add constraint broken check (seed <> 1)`) // nothing can be kept
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(100*time.Millisecond, cancel)
	err := e.Plan(ctx, site, day)
	require.Error(t, err)
	if errors.Is(err, context.Canceled) { // a fast machine may have come to the end before
		require.Zero(t, attempts())
	}
	e.exec(t, `update dayplan.evening set attempts = 0`)
	for n := range 4 {
		require.Error(t, e.Plan(t.Context(), site, day))
		require.Equal(t, n+1, attempts())
	}
	require.NoError(t, e.Plan(t.Context(), site, day))
	got, row := e.outcome(t, "TARN", "2027-03-09")
	require.Equal(t, dayplanv1.Evening_OUTCOME_FAILED, got)
	require.Contains(t, row.GetNote(), "4 attempts did not come to an end")
	require.NoError(t, e.Changes(t.Context()))
	got, _ = e.outcome(t, "TARN", "2027-03-09")
	require.Equal(t, dayplanv1.Evening_OUTCOME_FAILED, got, "until its records change")
}
