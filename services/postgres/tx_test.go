package postgres_test

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

// tally is a fresh database with one table of two rows.
func tally(t *testing.T) *postgres.Pool {
	t.Helper()
	pool := postgrestest.Empty(t)
	run(t, pool, `create table tally (id int primary key, n int not null)`)
	run(t, pool, `insert into tally values (1, 0), (2, 0)`)
	return pool
}

func total(t *testing.T, db postgres.DB) int {
	t.Helper()
	return value[int](t, db, `select sum(n)::int from tally`)
}

func bump(ctx context.Context, tx postgres.Tx, id int) error {
	_, err := tx.Exec(ctx, `update tally set n = n + 1 where id = $1`, id)
	return err
}

func TestInTxCommitsOrRollsBack(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx := t.Context()
	require.NoError(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		require.Equal(t, "read committed", value[string](t, tx, `show transaction_isolation`))
		return bump(ctx, tx, 1)
	}))
	require.Equal(t, 1, total(t, pool))

	boom := errors.New("boom")
	require.ErrorIs(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		require.NoError(t, bump(ctx, tx, 1))
		return boom
	}), boom)
	require.PanicsWithValue(t, "panic", func() {
		_ = postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
			require.NoError(t, bump(ctx, tx, 1))
			panic("panic")
		})
	})
	require.Equal(t, 1, total(t, pool))
	require.Zero(t, pool.Stat().AcquiredConns(), "every connection went back")

	require.NoError(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		require.Equal(t, "serializable", value[string](t, tx, `show transaction_isolation`))
		return nil
	}, postgres.Serializable()))
}

func TestInTxRollsBackForACancelledRequest(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		require.NoError(t, bump(ctx, tx, 1))
		cancel()
		return bump(ctx, tx, 1)
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Zero(t, total(t, pool))
	run(t, pool, `set lock_timeout = '2s'`)
	require.NoError(t, postgres.InTx(t.Context(), pool, func(tx postgres.Tx) error { return bump(t.Context(), tx, 1) }), "its lock is gone")

	require.ErrorIs(t, postgres.InTx(ctx, pool, func(postgres.Tx) error { return nil }), context.Canceled)
}

// collide raises a real Postgres error with the given SQLSTATE.
func collide(ctx context.Context, tx postgres.Tx, state string) error {
	_, err := tx.Exec(ctx, `do $$ begin raise exception 'made for a test' using errcode = '`+state+`'; end $$`)
	return err
}

func TestInTxRunsAgainAfterACollision(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx := t.Context()
	for _, state := range []string{"40001", "40P01"} {
		attempts := 0
		require.NoError(t, postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
			attempts++
			if err := bump(ctx, tx, 1); err != nil {
				return err
			}
			if attempts < 3 {
				return collide(ctx, tx, state)
			}
			return nil
		}))
		require.Equal(t, 3, attempts)
	}
	require.Equal(t, 2, total(t, pool), "only the last attempts count")

	attempts := 0
	err := postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		attempts++
		return collide(ctx, tx, "40001")
	})
	require.Equal(t, 5, attempts)
	require.True(t, postgres.Collided(err))
	require.Equal(t, apperr.Unavailable, apperr.KindOf(err))
	require.ErrorContains(t, err, "made for a test", "the cause is kept for the log")

	attempts = 0
	err = postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		attempts++
		return collide(ctx, tx, "23505")
	})
	require.Equal(t, 1, attempts, "other errors are not retried")
	require.False(t, postgres.Collided(err))

	short, cancel := context.WithCancel(ctx)
	err = postgres.InTx(short, pool, func(tx postgres.Tx) error {
		defer cancel()
		return collide(ctx, tx, "40001")
	})
	require.ErrorIs(t, err, context.Canceled, "no retry after the request is over")
}

func TestInTxResolvesARealDeadlock(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx := t.Context()
	var attempts atomic.Int32
	var both sync.WaitGroup // on the first attempts, each waits until the other holds its row too
	both.Add(2)
	work := func(first, second int) error {
		fresh := true
		return postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
			attempts.Add(1)
			if err := bump(ctx, tx, first); err != nil {
				return err
			}
			if fresh {
				fresh = false
				both.Done()
				both.Wait()
			}
			return bump(ctx, tx, second)
		})
	}
	errs := make(chan error, 2)
	go func() { errs <- work(1, 2) }()
	go func() { errs <- work(2, 1) }()
	require.NoError(t, <-errs)
	require.NoError(t, <-errs)
	require.Equal(t, 4, total(t, pool))
	require.Greater(t, attempts.Load(), int32(2), "the deadlock happened")
}

func TestSerializableKeepsARuleThatSpansRows(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx := t.Context()
	// Rule: the sum stays at most 1. Both read 0 at the same time, so one has to run again and see the other's 1.
	var both sync.WaitGroup
	both.Add(2)
	work := func(id int) error {
		fresh := true
		return postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
			var sum int
			if err := tx.QueryRow(ctx, `select sum(n)::int from tally`).Scan(&sum); err != nil {
				return err
			}
			if fresh {
				fresh = false
				both.Done()
				both.Wait()
			}
			if sum > 0 {
				return nil
			}
			return bump(ctx, tx, id)
		}, postgres.Serializable())
	}
	errs := make(chan error, 2)
	go func() { errs <- work(1) }()
	go func() { errs <- work(2) }()
	require.NoError(t, <-errs)
	require.NoError(t, <-errs)
	require.Equal(t, 1, total(t, pool))
}

func TestReadTxSeesOneSnapshotAndWritesNothing(t *testing.T) {
	t.Parallel()
	pool := tally(t)
	ctx := t.Context()
	require.NoError(t, postgres.ReadTx(ctx, pool, func(tx postgres.Tx) error {
		require.Zero(t, total(t, tx))
		run(t, pool, `update tally set n = 5 where id = 1`)
		require.Zero(t, total(t, tx), "a later commit stays out of sight")
		return nil
	}))
	require.Equal(t, 5, total(t, pool))
	err := postgres.ReadTx(ctx, pool, func(tx postgres.Tx) error { return bump(ctx, tx, 1) })
	require.ErrorContains(t, err, "read-only transaction")
}

func TestIdleTransactionsAreEnded(t *testing.T) {
	t.Parallel()
	pool := open(t, postgres.Options{IdleInTxTimeout: 50 * time.Millisecond})
	err := postgres.InTx(t.Context(), pool, func(tx postgres.Tx) error {
		time.Sleep(300 * time.Millisecond)
		_, err := tx.Exec(t.Context(), `select 1`)
		return err
	})
	require.Error(t, err)
}
