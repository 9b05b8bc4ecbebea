package planner_test

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// envWorker makes the test binary a worker of the database that it names, until it is killed; envName is what the database
// calls it.
const (
	envWorker = "PLANNER_TEST_WORKER_DATABASE"
	envName   = "PLANNER_TEST_WORKER_NAME"
)

func TestMain(m *testing.M) {
	if url := os.Getenv(envWorker); url != "" {
		workForever(url)
	}
	os.Exit(m.Run())
}

func workForever(url string) {
	ctx := context.Background()
	pool, err := postgres.Open(ctx, url, postgres.Options{MaxConns: 6, AppName: os.Getenv(envName)})
	if err != nil {
		panic(err)
	}
	workers := jobs.NewWorkers()
	inserts, err := jobs.New(pool, nil, jobs.Config{Logger: quiet()})
	if err != nil {
		panic(err)
	}
	planner.NewWorker(pool, inserts, quiet()).Register(workers)
	client, err := jobs.New(pool, workers, jobs.Config{Queues: map[string]int{planner.Queue: 1}, Logger: quiet()})
	if err != nil {
		panic(err)
	}
	if err := client.Start(ctx); err != nil {
		panic(err)
	}
	planner.NewRescuer(pool, inserts, quiet()).Run(ctx)
}

// TestAnotherWorkerFinishes kills a worker process in the middle of a search; a worker in another process makes the plan.
func TestAnotherWorkerFinishes(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	started, err := s.planner.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 8})
	require.NoError(t, err)
	id := started.GetPlan().GetId()

	self, err := os.Executable()
	require.NoError(t, err)
	doomed := exec.CommandContext(t.Context(), self)
	doomed.Env = append(os.Environ(), envWorker+"="+postgrestest.URL(s.pool))
	require.NoError(t, doomed.Start())
	require.Eventually(t, func() bool { return s.read(t, id).GetPlan().GetValue() > 0 }, time.Minute, 20*time.Millisecond, "the first worker searches")
	require.NoError(t, doomed.Process.Kill())
	_ = doomed.Wait()
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFTING, s.read(t, id).GetPlan().GetState())

	s.startWorker(t)
	plan := s.follow(t, id, false)
	require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFT, plan.GetState(), plan.GetFailure())
	recount(t, s, s.read(t, id))
	var attempts, jobCount int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select attempt from planner.plan where id = $1`, id).Scan(&attempts))
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from river_job where kind = 'draft_month_plan'`).Scan(&jobCount))
	require.Equal(t, 2, attempts, "the second worker began anew")
	require.Equal(t, 2, jobCount, "the rescuer started one more job, and no more")
}

// TestWorkersThatStopInOrder starts and stops workers more often than a draft has attempts: that is no fault of the draft.
func TestWorkersThatStopInOrder(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	started, err := s.planner.DraftPlan(t.Context(), &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 600})
	require.NoError(t, err)
	id := started.GetPlan().GetId()
	for i := range 6 {
		t.Run(fmt.Sprint("worker ", i), func(t *testing.T) {
			s.startWorker(t) // it stops with this subtest
			require.Eventually(t, func() bool { return s.read(t, id).GetPlan().GetValue() > 0 }, time.Minute, 20*time.Millisecond)
		})
		require.Equal(t, plannerv1.PlanState_PLAN_STATE_DRAFTING, s.read(t, id).GetPlan().GetState())
	}
	var attempts int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select attempt from planner.plan where id = $1`, id).Scan(&attempts))
	require.Zero(t, attempts, "each gave its attempt back")
	_, err = s.planner.CancelDraft(t.Context(), &plannerv1.CancelDraftRequest{PlanId: id})
	require.NoError(t, err)
}

// TestDatabaseKeepsPromises writes to the tables as if there were no program: the database itself refuses what must not be.
func TestDatabaseKeepsPromises(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	ctx := t.Context()
	const copyStay = `
		insert into planner.stay (id, request_id, plan_id, site_id, run_id, trainer_id, nights, state, made_at)
		select gen_random_uuid(), $2, null, site_id, run_id, trainer_id, $3::daterange, $4, now() from planner.stay where id = $1`
	var stay, request, other, nights, nextDay string
	require.NoError(t, s.pool.QueryRow(ctx, `
		select id, request_id, nights::text, daterange(upper(nights), upper(nights) + 7)::text from planner.stay
		where state = 'confirmed' order by upper(nights) desc limit 1`).Scan(&stay, &request, &nights, &nextDay))
	require.NoError(t, s.pool.QueryRow(ctx, `select id from enrollment.request where code = 'M-040'`).Scan(&other))

	_, err := s.pool.Exec(ctx, copyStay, stay, other, nights, "published")
	name, _ := postgres.Constraint(err)
	require.Equal(t, "stay_run_nights_excl", name, "two stays in one run on one night: %v", err)

	_, err = s.pool.Exec(ctx, copyStay, stay, request, nextDay, "published")
	name, _ = postgres.Constraint(err)
	require.Equal(t, "stay_request_live_key", name, "a second live stay for one request: %v", err)

	_, err = s.pool.Exec(ctx, copyStay, stay, other, nights, "cancelled")
	require.NoError(t, err, "a cancelled stay holds no run")
	_, err = s.pool.Exec(ctx, copyStay, stay, other, nextDay, "published")
	require.NoError(t, err, "a run is free on the day that the dog before goes home")

	_, err = s.pool.Exec(ctx, `insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed)
		values (gen_random_uuid(), '2027-03-01', 1, 'published', now(), 'x', 1, 0, 1)`)
	require.NoError(t, err)
	_, err = s.pool.Exec(ctx, `insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed)
		values (gen_random_uuid(), '2027-03-01', 2, 'published', now(), 'x', 1, 0, 1)`)
	name, _ = postgres.Constraint(err)
	require.Equal(t, "plan_month_published_key", name, "two published plans of one month: %v", err)
}
