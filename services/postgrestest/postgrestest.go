// Package postgrestest gives tests a real Postgres.
//
//   - Tx: a transaction that is rolled back, for store functions. Costs nothing.
//   - Database: a fresh, migrated database of the test's own, where commits matter. Costs about 60 ms.
//   - Empty: a fresh database without any table, for tests of migrations.
//   - Pool: one migrated database shared by all tests of a package; they see each other's commits.
//
// All test binaries of a user share one private server (package localpg). The first starts it, and a small shell loop
// stops it half a minute after the last one has ended. Databases of tests that were killed are dropped by a later run.
// LONGLEAD_TEST_DATABASE_URL names another server to use, as a postgres:// URL of a role that may create databases;
// LONGLEAD_POSTGRES says where the programs of the private one come from (localpg.Options.Source). Without any Postgres
// the tests fail; they are never skipped.
//
// Transactions of parallel tests share unique and exclusion constraints: a test that writes a key which another
// open transaction wrote waits for that one to end. Make keys anew in each test.
package postgrestest

import (
	"context"
	"fmt"
	"io/fs"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/longlead/longlead/migrations"
	"github.com/longlead/longlead/services/postgres"
)

// EnvURL names the environment variable with the server to use instead of a private one.
const EnvURL = "LONGLEAD_TEST_DATABASE_URL"

const (
	cleanupLimit  = 30 * time.Second
	poolCloseWait = 5 * time.Second
)

// Tx returns a transaction in the package's migrated database. It is rolled back when the test ends.
func Tx(t testing.TB) postgres.Tx {
	t.Helper()
	tx, err := Pool(t).Begin(context.Background())
	if err != nil {
		t.Fatalf("begin a transaction for the test: %v", err)
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), cleanupLimit)
		defer cancel()
		_ = tx.Rollback(ctx) // fails when the test ended the transaction itself
	})
	return tx
}

// sharedPool is the package's migrated database, made on first use. It lives as long as the test binary.
var sharedPool = sync.OnceValues(func() (*postgres.Pool, error) {
	ctx := context.Background()
	s, err := theServer()
	if err != nil {
		return nil, err
	}
	name, err := s.cloneTemplate(ctx, migrations.FS)
	if err != nil {
		return nil, err
	}
	return s.open(ctx, name, max(10, runtime.GOMAXPROCS(0)+4))
})

// Pool returns connections to one migrated database that all tests of the package share. What a test commits stays for
// the others: prefer Tx or Database. Do not close it.
func Pool(t testing.TB) *postgres.Pool {
	t.Helper()
	pool, err := sharedPool()
	if err != nil {
		fail(t, err)
	}
	return pool
}

// Database returns connections to a fresh database with all migrations. Both go when the test ends.
func Database(t testing.TB) *postgres.Pool {
	t.Helper()
	return DatabaseWith(t, migrations.FS)
}

// DatabaseWith is Database with migrations from another place.
func DatabaseWith(t testing.TB, fsys fs.FS) *postgres.Pool {
	t.Helper()
	return fresh(t, func(ctx context.Context, s *server) (string, error) { return s.cloneTemplate(ctx, fsys) })
}

// Empty returns connections to a fresh database without tables. Both go when the test ends.
func Empty(t testing.TB) *postgres.Pool {
	t.Helper()
	return fresh(t, func(ctx context.Context, s *server) (string, error) { return s.createEmpty(ctx) })
}

// URL returns the address of the database behind a pool from this package, for code that opens its own connections.
func URL(pool *postgres.Pool) string { return pool.Config().ConnString() }

func fresh(t testing.TB, create func(context.Context, *server) (string, error)) *postgres.Pool {
	t.Helper()
	s, err := theServer()
	if err != nil {
		fail(t, err)
	}
	name, err := create(t.Context(), s)
	if err != nil {
		fail(t, err)
	}
	pool, err := s.open(t.Context(), name, 10)
	if err != nil {
		fail(t, err)
	}
	t.Cleanup(func() {
		if !closeWithin(pool, poolCloseWait) {
			t.Errorf("the test left a connection of its database in use: close its rows, release it, or end its transaction")
		}
		ctx, cancel := context.WithTimeout(context.Background(), cleanupLimit)
		defer cancel()
		if err := s.drop(ctx, name); err != nil {
			t.Errorf("drop the test's database: %v", err)
		}
	})
	return pool
}

// closeWithin closes the pool and reports false when connections in use kept it from closing in time.
func closeWithin(pool *postgres.Pool, limit time.Duration) bool {
	closed := make(chan struct{})
	go func() {
		pool.Close()
		close(closed)
	}()
	select {
	case <-closed:
		return true
	case <-time.After(limit):
		return false
	}
}

func fail(t testing.TB, err error) {
	t.Helper()
	t.Fatal(explain(err))
}

func explain(err error) string {
	return fmt.Sprintf("this test needs PostgreSQL: %v\n(to use a server that you have, set %s to its postgres:// URL)", err, EnvURL)
}
