package postgres

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
)

const (
	txAttempts      = 5
	retryPause      = 10 * time.Millisecond
	rollbackTimeout = 5 * time.Second
)

// TxOption adjusts InTx.
type TxOption func(*pgx.TxOptions)

// Serializable runs the transaction at SERIALIZABLE instead of READ COMMITTED, for rules that no constraint can keep.
func Serializable() TxOption {
	return func(o *pgx.TxOptions) { o.IsoLevel = pgx.Serializable }
}

// InTx runs fn in one transaction and commits it when fn returns nil. On any error or panic it rolls back.
//
// A serialization failure (40001) or deadlock (40P01) runs fn again in a new transaction, five times at most, so fn
// must keep no state outside of it. When all attempts collide the error is Unavailable with reason TRY_AGAIN. A commit
// whose answer was lost is not repeated, as it may have happened.
func InTx(ctx context.Context, pool *Pool, fn func(tx Tx) error, opts ...TxOption) error {
	o := pgx.TxOptions{IsoLevel: pgx.ReadCommitted}
	for _, opt := range opts {
		opt(&o)
	}
	return retryTx(ctx, pool, o, fn)
}

// ReadTx runs fn in a READ ONLY transaction at REPEATABLE READ: every statement in it sees one snapshot. Use it where
// several reads must agree. fn may be run again, as for InTx.
func ReadTx(ctx context.Context, pool *Pool, fn func(tx Tx) error) error {
	return retryTx(ctx, pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, fn)
}

func retryTx(ctx context.Context, pool *Pool, o pgx.TxOptions, fn func(tx Tx) error) error {
	for attempt := 1; ; attempt++ {
		err := runTx(ctx, pool, o, fn)
		if err == nil || !collided(err) {
			return err
		}
		if attempt == txAttempts {
			return apperr.Unavailablef("TRY_AGAIN",
				"The change kept colliding with others that were made at the same time. Please try again.").Because(err)
		}
		if !pause(ctx, attempt) {
			return fmt.Errorf("retry a transaction that collided (%w): %w", err, ctx.Err())
		}
	}
}

// runTx is one attempt.
func runTx(ctx context.Context, pool *Pool, o pgx.TxOptions, fn func(tx Tx) error) error {
	tx, err := pool.BeginTx(ctx, o)
	if err != nil {
		return fmt.Errorf("begin a transaction: %w", err)
	}
	committed := false
	defer func() {
		if !committed {
			rollback(ctx, tx)
		}
	}()
	if err := fn(tx); err != nil {
		return err
	}
	if err := tx.Commit(ctx); err != nil {
		return fmt.Errorf("commit a transaction: %w", err)
	}
	committed = true
	return nil
}

// rollback ends tx even when the request was cancelled, so that its locks go at once. A failed rollback closes the
// connection, which has the same effect: there is nothing to report.
func rollback(ctx context.Context, tx Tx) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackTimeout)
	defer cancel()
	_ = tx.Rollback(ctx)
}

func collided(err error) bool {
	code := sqlstate(err)
	return code == serializationFailure || code == deadlockDetected
}

// pause waits before attempt+1: 10 ms doubled for every attempt, give or take half, so that two that collided do not
// meet again. It reports false when ctx ended first.
func pause(ctx context.Context, attempt int) bool {
	base := retryPause << (attempt - 1)
	timer := time.NewTimer(base/2 + rand.N(base))
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// Collided reports whether err is the TRY_AGAIN error of InTx.
func Collided(err error) bool {
	e, ok := apperr.From(err)
	return ok && errors.Is(e, apperr.Unavailable) && e.Reason == "TRY_AGAIN"
}
