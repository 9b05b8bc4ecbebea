package jobs_test

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

type greet struct {
	Name string `json:"name"`
}

func (greet) Kind() string { return "greet" }

const patience = 20 * time.Second

// started returns a client that works the default queue with the given work.
func started(t *testing.T, pool *postgres.Pool, cfg jobs.Config, work jobs.Work[greet]) *jobs.Client {
	t.Helper()
	w := jobs.NewWorkers()
	jobs.Add(w, 0, work)
	if cfg.Queues == nil {
		cfg.Queues = map[string]int{jobs.DefaultQueue: 4}
	}
	c, err := jobs.New(pool, w, cfg)
	require.NoError(t, err)
	require.NoError(t, c.Start(t.Context()))
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		require.NoError(t, c.Stop(ctx))
	})
	return c
}

func reaches(t *testing.T, c *jobs.Client, id int64, want jobs.State) jobs.Status {
	t.Helper()
	var last jobs.Status
	require.Eventually(t, func() bool {
		s, err := c.Find(t.Context(), id)
		require.NoError(t, err)
		last = s
		return s.State == want
	}, patience, 20*time.Millisecond, "job %d never became %s", id, want)
	return last
}

func TestAJobExistsExactlyWhenItsTransactionCommits(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	ctx := t.Context()
	names := make(chan string, 10)
	c := started(t, pool, jobs.Config{}, func(_ context.Context, j jobs.Job[greet]) error {
		names <- j.Args.Name
		return nil
	})
	var lost, kept jobs.Inserted
	boom := errors.New("boom")
	require.ErrorIs(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) (err error) {
		lost, err = c.InsertTx(ctx, tx, greet{"lost"}, jobs.InsertOpts{})
		require.NoError(t, err)
		return boom
	}), boom)
	require.NoError(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) (err error) {
		kept, err = c.InsertTx(ctx, tx, greet{"kept"}, jobs.InsertOpts{})
		return err
	}))
	s := reaches(t, c, kept.ID, jobs.Done)
	require.Equal(t, "greet", s.Kind)
	require.Equal(t, 1, s.Attempt)
	require.Equal(t, 10, s.MaxAttempts)
	require.True(t, s.State.Final())
	require.Equal(t, "kept", <-names)
	require.Empty(t, names)
	_, err := c.Find(ctx, lost.ID)
	require.Equal(t, "JOB_NOT_FOUND", apperr.ReasonOf(err))
	require.Equal(t, apperr.NotFound, apperr.KindOf(err))
}

func TestInsertManyAnswersInOrder(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	ctx := t.Context()
	c, err := jobs.New(pool, nil, jobs.Config{})
	require.NoError(t, err)
	require.NoError(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		none, err := c.InsertManyTx(ctx, tx, nil)
		require.NoError(t, err)
		require.Empty(t, none)
		once := jobs.InsertOpts{Unique: jobs.OneAtATime}
		all, err := c.InsertManyTx(ctx, tx, []jobs.Insertion{{greet{"a"}, once}, {greet{"b"}, once}})
		require.NoError(t, err)
		require.Len(t, all, 2)
		again, err := c.InsertManyTx(ctx, tx, []jobs.Insertion{{greet{"b"}, once}, {greet{"c"}, once}})
		require.NoError(t, err)
		require.Equal(t, jobs.Inserted{ID: all[1].ID, Duplicate: true}, again[0])
		require.False(t, again[1].Duplicate)
		return nil
	}))
}

func TestAnInsertOnlyClientDoesNotWork(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	c, err := jobs.New(pool, nil, jobs.Config{})
	require.NoError(t, err)
	require.ErrorContains(t, c.Start(t.Context()), "only inserts jobs")
	require.NoError(t, c.Stop(t.Context()))
	in, err := c.Insert(t.Context(), greet{"a"}, jobs.InsertOpts{Queue: "letters", Priority: 3, MaxAttempts: 2})
	require.NoError(t, err)
	s, err := c.Find(t.Context(), in.ID)
	require.NoError(t, err)
	require.Equal(t, jobs.Waiting, s.State)
	require.False(t, s.State.Final())
	require.Equal(t, 2, s.MaxAttempts)

	// Another client works it.
	started(t, pool, jobs.Config{Queues: map[string]int{"letters": 1}}, func(context.Context, jobs.Job[greet]) error { return nil })
	reaches(t, c, in.ID, jobs.Done)
}

func TestFailuresAreTriedAgainAndLoggedWithoutPersonalData(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	var log lockedBuffer
	var attempts atomic.Int32
	cfg := jobs.Config{MaxAttempts: 2, Retry: func(int) time.Duration { return 0 }, Logger: slog.New(slog.NewJSONHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))}
	c := started(t, pool, cfg, func(_ context.Context, j jobs.Job[greet]) error {
		attempts.Add(1)
		require.Equal(t, j.Attempt == 2, j.LastAttempt())
		return apperr.Unavailablef("MAIL_DOWN", "550 <maria@example.org> is not known")
	})
	in, err := c.Insert(t.Context(), greet{"Maria Secretname"}, jobs.InsertOpts{})
	require.NoError(t, err)
	s := reaches(t, c, in.ID, jobs.Failed)
	require.Equal(t, int32(2), attempts.Load())
	require.Contains(t, s.LastError, "550")

	require.Eventually(t, func() bool { return bytes.Contains(log.Bytes(), []byte(`"level":"ERROR"`)) }, patience, 10*time.Millisecond)
	text := string(log.Bytes())
	require.Contains(t, text, `"job_kind":"greet"`)
	require.Contains(t, text, `"error_kind":"unavailable"`)
	require.Contains(t, text, `550 <[address]> is not known`)
	require.NotContains(t, text, "maria@")
	require.NotContains(t, text, "Secretname")
}

func TestPanicsAreFailuresToo(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	var log lockedBuffer
	c := started(t, pool, jobs.Config{Logger: slog.New(slog.NewTextHandler(&log, nil))}, func(context.Context, jobs.Job[greet]) error {
		panic("lost the leash of maria@example.org")
	})
	in, err := c.Insert(t.Context(), greet{}, jobs.InsertOpts{MaxAttempts: 1})
	require.NoError(t, err)
	reaches(t, c, in.ID, jobs.Failed)
	require.Contains(t, string(log.Bytes()), "lost the leash of [address]")
}

func TestPermanentErrorsAndLater(t *testing.T) {
	t.Parallel()
	require.NoError(t, jobs.Permanent(nil))
	pool := postgrestest.Database(t)
	var calls atomic.Int32
	c := started(t, pool, jobs.Config{}, func(_ context.Context, j jobs.Job[greet]) error {
		if j.Args.Name == "bad" {
			return jobs.Permanent(errors.New("no such stay"))
		}
		require.Equal(t, 1, j.Attempt, "putting off counts no attempt")
		if calls.Add(1) < 3 {
			return jobs.Later(time.Millisecond)
		}
		return nil
	})
	bad, err := c.Insert(t.Context(), greet{"bad"}, jobs.InsertOpts{})
	require.NoError(t, err)
	require.Contains(t, reaches(t, c, bad.ID, jobs.Cancelled).LastError, "no such stay")
	later, err := c.Insert(t.Context(), greet{"later"}, jobs.InsertOpts{})
	require.NoError(t, err)
	reaches(t, c, later.ID, jobs.Done)
	require.Equal(t, int32(3), calls.Load())
}

func TestCancelTxEndsAJob(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	ctx := t.Context()
	runs := make(chan struct{}, 1)
	started(t, pool, jobs.Config{}, func(ctx context.Context, _ jobs.Job[greet]) error {
		runs <- struct{}{}
		<-ctx.Done()
		return ctx.Err()
	})
	other, err := jobs.New(pool, nil, jobs.Config{}) // cancels from another program
	require.NoError(t, err)
	cancel := func(id int64) (s jobs.Status, err error) {
		err = postgres.InTx(ctx, pool, func(tx postgres.Tx) (err error) { s, err = other.CancelTx(ctx, tx, id); return err })
		return s, err
	}
	waiting, err := other.Insert(ctx, greet{}, jobs.InsertOpts{RunAt: time.Now().Add(time.Hour)})
	require.NoError(t, err)
	s, err := cancel(waiting.ID)
	require.NoError(t, err)
	require.Equal(t, jobs.Cancelled, s.State)

	running, err := other.Insert(ctx, greet{}, jobs.InsertOpts{})
	require.NoError(t, err)
	<-runs
	_, err = cancel(running.ID)
	require.NoError(t, err)
	reaches(t, other, running.ID, jobs.Cancelled)

	_, err = cancel(1 << 40)
	require.Equal(t, apperr.NotFound, apperr.KindOf(err))
}

func TestUniqueJobsKeepEqualOnesOut(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	ctx := t.Context()
	c := started(t, pool, jobs.Config{}, func(context.Context, jobs.Job[greet]) error { return nil })
	insert := func(name string, u jobs.Unique, at time.Time) jobs.Inserted {
		t.Helper()
		in, err := c.Insert(ctx, greet{name}, jobs.InsertOpts{Unique: u, RunAt: at})
		require.NoError(t, err)
		return in
	}
	far := time.Now().Add(time.Hour)
	first := insert("waits", jobs.OneAtATime, far)
	require.Equal(t, jobs.Inserted{ID: first.ID, Duplicate: true}, insert("waits", jobs.OneAtATime, far))
	require.False(t, insert("other", jobs.OneAtATime, far).Duplicate)
	require.False(t, insert("waits", jobs.Repeatable, far).Duplicate)

	for u, duplicate := range map[jobs.Unique]bool{jobs.OneAtATime: false, jobs.OnceADay: true} {
		name := map[jobs.Unique]string{jobs.OneAtATime: "one", jobs.OnceADay: "once"}[u]
		done := insert(name, u, time.Time{})
		reaches(t, c, done.ID, jobs.Done)
		require.Equal(t, duplicate, insert(name, u, far).Duplicate, name)
	}
}

func TestCompleteTxJoinsResultAndEnd(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	_, err := pool.Exec(t.Context(), `create table result (name text)`)
	require.NoError(t, err)
	fail := true
	c := started(t, pool, jobs.Config{Retry: func(int) time.Duration { return 0 }}, func(ctx context.Context, j jobs.Job[greet]) error {
		return postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
			if _, err := tx.Exec(ctx, `insert into result values ($1)`, j.Args.Name); err != nil {
				return err
			}
			if err := j.CompleteTx(ctx, tx); err != nil {
				return err
			}
			if fail {
				fail = false
				return errors.New("cut off before the commit")
			}
			return nil
		})
	})
	in, err := c.Insert(t.Context(), greet{"x"}, jobs.InsertOpts{})
	require.NoError(t, err)
	require.Equal(t, 2, reaches(t, c, in.ID, jobs.Done).Attempt)
	var n int
	require.NoError(t, pool.QueryRow(t.Context(), `select count(*) from result`).Scan(&n))
	require.Equal(t, 1, n)
}

func TestStopLetsJobsFinishAndThenEndsThem(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name     string
		softly   time.Duration
		ctxLimit time.Duration
		work     time.Duration
		want     jobs.State
	}{
		{"finishes", patience, patience, 300 * time.Millisecond, jobs.Done},
		{"is cut off after the soft limit", 100 * time.Millisecond, patience, time.Hour, jobs.Waiting},
		{"is cut off when the caller has no more time", time.Hour, 200 * time.Millisecond, time.Hour, jobs.Waiting},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			pool := postgrestest.Database(t)
			runs := make(chan struct{}, 1)
			c := started(t, pool, jobs.Config{StopSoftly: tc.softly}, func(ctx context.Context, _ jobs.Job[greet]) error {
				runs <- struct{}{}
				select {
				case <-time.After(tc.work):
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			})
			in, err := c.Insert(t.Context(), greet{}, jobs.InsertOpts{})
			require.NoError(t, err)
			<-runs
			ctx, cancel := context.WithTimeout(t.Context(), tc.ctxLimit)
			defer cancel()
			require.NoError(t, c.Stop(ctx))
			s, err := c.Find(t.Context(), in.ID)
			require.NoError(t, err)
			require.Equal(t, tc.want, s.State, "a job that was cut off waits for another client")
		})
	}
}

func TestEndOfTheStartContextDoesNotStopWork(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	w := jobs.NewWorkers()
	jobs.Add(w, time.Minute, func(context.Context, jobs.Job[greet]) error { return nil })
	c, err := jobs.New(pool, w, jobs.Config{Queues: map[string]int{jobs.DefaultQueue: 1}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	require.NoError(t, c.Start(ctx))
	cancel()
	in, err := c.Insert(t.Context(), greet{}, jobs.InsertOpts{})
	require.NoError(t, err)
	reaches(t, c, in.ID, jobs.Done)
	require.NoError(t, c.Stop(t.Context()))
	require.NoError(t, c.Stop(t.Context()), "stopping twice is harmless")
}

func TestPeriodicJobsAreInserted(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	var ran atomic.Int32
	started(t, pool, jobs.Config{Periodic: []jobs.Periodic{
		{Schedule: "@every 1s", Args: greet{"tick"}, Opts: jobs.InsertOpts{Unique: jobs.OneAtATime}, RunOnStart: true},
	}}, func(_ context.Context, j jobs.Job[greet]) error {
		if j.Args.Name == "tick" {
			ran.Add(1)
		}
		return nil
	})
	require.Eventually(t, func() bool { return ran.Load() >= 3 }, patience, 50*time.Millisecond)
}

func TestALostJobIsRescued(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Database(t)
	ctx := t.Context()
	lonely, err := jobs.New(pool, nil, jobs.Config{})
	require.NoError(t, err)
	in, err := lonely.Insert(ctx, greet{"lost"}, jobs.InsertOpts{})
	require.NoError(t, err)
	// As a machine leaves it that lost its power in the middle of the work.
	_, err = pool.Exec(ctx, `update river_job set state = 'running', attempt = 1, attempted_at = now() - interval '1 hour',
		attempted_by = '{gone}' where id = $1`, in.ID)
	require.NoError(t, err)
	c := started(t, pool, jobs.Config{Retry: func(int) time.Duration { return 0 }}, func(context.Context, jobs.Job[greet]) error { return nil })
	require.Eventually(t, func() bool {
		s, err := c.Find(ctx, in.ID)
		require.NoError(t, err)
		return s.State == jobs.Done && s.Attempt == 2
	}, 60*time.Second, 100*time.Millisecond)
}

func TestNewRefusesBadSettings(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Pool(t)
	nothing := func(context.Context, jobs.Job[greet]) error { return nil }
	twice := jobs.NewWorkers()
	jobs.Add(twice, 0, nothing)
	jobs.Add(twice, 0, nothing)
	slow := jobs.NewWorkers()
	jobs.Add(slow, time.Hour, nothing)
	queue := map[string]int{jobs.DefaultQueue: 1}
	for want, make := range map[string]func() (*jobs.Client, error){
		"queues to work need workers": func() (*jobs.Client, error) { return jobs.New(pool, nil, jobs.Config{Queues: queue}) },
		`"greet" is already`:          func() (*jobs.Client, error) { return jobs.New(pool, twice, jobs.Config{Queues: queue}) },
		"but may run for 1h0m0s":      func() (*jobs.Client, error) { return jobs.New(pool, slow, jobs.Config{RescueAfter: time.Hour}) },
		"has no arguments":            func() (*jobs.Client, error) { return jobs.New(pool, slow, jobs.Config{Periodic: []jobs.Periodic{{}}}) },
		"is no schedule": func() (*jobs.Client, error) {
			return jobs.New(pool, slow, jobs.Config{Periodic: []jobs.Periodic{{Args: greet{}, Schedule: "often"}}})
		},
	} {
		_, err := make()
		require.ErrorContains(t, err, want)
	}
	known, err := jobs.New(pool, slow, jobs.Config{})
	require.NoError(t, err)
	_, err = known.Insert(t.Context(), unheardOf{}, jobs.InsertOpts{})
	require.ErrorContains(t, err, "unheard_of")
}

type unheardOf struct{}

func (unheardOf) Kind() string { return "unheard_of" }

// lockedBuffer is a buffer that a logger may write from several goroutines.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) Bytes() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return bytes.Clone(l.b.Bytes())
}
