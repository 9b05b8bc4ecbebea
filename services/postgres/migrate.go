package postgres

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"github.com/longlead/longlead/services/apperr"
)

const (
	// migrationLockID is the advisory lock that one migration run holds: "LLMIGRAT" in ASCII. It covers our own
	// migrations and River's together, which goose's session locker alone would not.
	migrationLockID int64 = 0x4c4c4d4947524154
	// migrationLockWait is how long a second run waits for the first.
	migrationLockWait = 5 * time.Minute
	// ddlLockTimeout is how long one statement of a migration waits for a table lock. A migration that waits blocks
	// everybody who comes after it, so it gives up and can be run again.
	ddlLockTimeout = 30 * time.Second
)

// Report says what Migrate did.
type Report struct {
	// Applied names the migrations that this run applied, oldest first: file names, then "river 5". Empty when the
	// schema was current.
	Applied []string
	// Version is the schema version of our own migrations now, RiverVersion that of the job tables.
	Version, RiverVersion int64
}

// String is one line for a log or a terminal.
func (r Report) String() string {
	at := fmt.Sprintf("schema %d, job tables %d", r.Version, r.RiverVersion)
	if len(r.Applied) == 0 {
		return at + ": already current"
	}
	return at + ": applied " + strings.Join(r.Applied, ", ")
}

// Migrate brings the database to the newest schema: the goose migrations at the root of fsys, then River's. Each
// migration is its own transaction. It is safe to run again and safe to run twice at once: an advisory lock makes the
// second run wait up to five minutes (then Unavailable, MIGRATION_RUNNING) and find nothing to do. A database that has
// migrations which this program does not know is refused unchanged (Precondition, SCHEMA_NEWER).
func Migrate(ctx context.Context, pool *Pool, fsys fs.FS) (Report, error) {
	own, err := migrationPool(ctx, pool)
	if err != nil {
		return Report{}, err
	}
	defer own.Close()

	unlock, err := lockMigrations(ctx, own)
	if err != nil {
		return Report{}, err
	}
	defer unlock()

	s, err := readSchema(ctx, own, fsys)
	if err != nil {
		return Report{}, err
	}
	if err := s.refuseNewer(); err != nil {
		return Report{}, err
	}
	applied, err := migrateOwn(ctx, own, fsys)
	if err != nil {
		return Report{Applied: applied}, err
	}
	river, err := migrateRiver(ctx, own)
	applied = append(applied, river...)
	if err != nil {
		return Report{Applied: applied}, err
	}
	return Report{Applied: applied, Version: s.wantOwn, RiverVersion: s.wantRiver}, nil
}

// CheckSchema reports whether the database has exactly the schema that this program needs, and changes nothing. Call
// it when a server starts. The error is a Precondition: SCHEMA_OLDER says to migrate, SCHEMA_NEWER to update the program.
func CheckSchema(ctx context.Context, pool *Pool, fsys fs.FS) error {
	s, err := readSchema(ctx, pool, fsys)
	if err != nil {
		return err
	}
	if err := s.refuseNewer(); err != nil {
		return err
	}
	if s.hasOwn < s.wantOwn || s.hasRiver < s.wantRiver {
		return apperr.Preconditionf("SCHEMA_OLDER", "The database has schema %d with job tables %d, and this program needs "+
			"%d with %d. Run `longlead migrate` once, then start again.", s.hasOwn, s.hasRiver, s.wantOwn, s.wantRiver)
	}
	return nil
}

// schema holds the versions that a database has and those that this program brings. 0 means none.
type schema struct {
	hasOwn, wantOwn     int64
	hasRiver, wantRiver int64
}

func (s schema) refuseNewer() error {
	if s.hasOwn <= s.wantOwn && s.hasRiver <= s.wantRiver {
		return nil
	}
	return apperr.Preconditionf("SCHEMA_NEWER", "The database has schema %d with job tables %d, newer than the %d with %d "+
		"that this program knows: a newer Longlead has used it. Nothing was changed. Update this program, or restore "+
		"a backup from before the update.", s.hasOwn, s.hasRiver, s.wantOwn, s.wantRiver)
}

func readSchema(ctx context.Context, db *Pool, fsys fs.FS) (schema, error) {
	var s schema
	var err error
	if s.wantOwn, s.wantRiver, err = Versions(fsys); err != nil {
		return s, err
	}
	// Both tables belong to the migration tools. They are read directly because asking the tools creates the tables.
	if s.hasOwn, err = newestApplied(ctx, db, `select coalesce(max(version_id), 0) from goose_db_version where is_applied`); err != nil {
		return s, err
	}
	s.hasRiver, err = newestApplied(ctx, db, `select coalesce(max(version), 0) from river_migration where line = 'main'`)
	return s, err
}

func newestApplied(ctx context.Context, db DB, query string) (int64, error) {
	var v int64
	err := db.QueryRow(ctx, query).Scan(&v)
	if sqlstate(err) == undefinedTable {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("read the schema version: %w", err)
	}
	return v, nil
}

// newestFile returns the highest number among the .sql files of fsys and refuses a number used twice.
func newestFile(fsys fs.FS) (int64, error) {
	names, err := fs.Glob(fsys, "*.sql")
	if err != nil {
		return 0, fmt.Errorf("list the migrations: %w", err)
	}
	newest, seen := int64(0), map[int64]string{}
	for _, name := range names {
		digits, _, _ := strings.Cut(name, "_")
		v, err := strconv.ParseInt(digits, 10, 64)
		if err != nil || v < 1 {
			return 0, fmt.Errorf("migration %s: the name must start with a number and an underscore, like 0007_name.sql", name)
		}
		if other, taken := seen[v]; taken {
			return 0, fmt.Errorf("migrations %s and %s have the same number: rename one", other, name)
		}
		seen[v] = name
		newest = max(newest, v)
	}
	return newest, nil
}

// Versions returns the schema versions that Migrate would bring a database to: that of the files in fsys, 0 when there
// are none, and that of the job tables.
func Versions(fsys fs.FS) (own, river int64, err error) {
	if own, err = newestFile(fsys); err != nil {
		return 0, 0, err
	}
	m, err := rivermigrate.New(riverpgxv5.New(nil), &rivermigrate.Config{Logger: quiet()})
	if err != nil {
		return 0, 0, fmt.Errorf("prepare the job tables: %w", err)
	}
	for _, v := range m.AllVersions() {
		river = max(river, int64(v.Version))
	}
	return own, river, nil
}

// migrationPool opens a few connections of its own, because a migration may run longer than the statement time-out of
// the pool it is given.
func migrationPool(ctx context.Context, pool *Pool) (*Pool, error) {
	cfg := pool.Config()
	cfg.MinConns, cfg.MinIdleConns, cfg.MaxConns = 0, 0, 4
	set := cfg.ConnConfig.RuntimeParams
	set["statement_timeout"] = "0"
	set["idle_in_transaction_session_timeout"] = "0"
	set["lock_timeout"] = millis(ddlLockTimeout, 0)
	own, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open a connection for migrations: %w", err)
	}
	return own, nil
}

// lockMigrations takes the advisory lock on a connection of its own and returns the function that lets go of it. It
// asks again and again rather than waiting inside Postgres: a waiting statement holds a snapshot, and creating an index
// concurrently in the other run would wait for that snapshot for ever.
func lockMigrations(ctx context.Context, pool *Pool) (unlock func(), err error) {
	conn, err := pool.Acquire(ctx)
	if err != nil {
		return nil, fmt.Errorf("reach the database to migrate it: %w", err)
	}
	deadline := time.Now().Add(migrationLockWait)
	for {
		var got bool
		if err := conn.QueryRow(ctx, `select pg_try_advisory_lock($1)`, migrationLockID).Scan(&got); err != nil {
			conn.Release()
			return nil, fmt.Errorf("lock the schema: %w", err)
		}
		if got {
			break
		}
		if time.Now().After(deadline) {
			conn.Release()
			return nil, apperr.Unavailablef("MIGRATION_RUNNING",
				"Another program has been migrating this database for %v. Wait for it, or stop it, and try again.", migrationLockWait)
		}
		select {
		case <-time.After(100 * time.Millisecond):
		case <-ctx.Done():
			conn.Release()
			return nil, fmt.Errorf("wait for another migration to end: %w", ctx.Err())
		}
	}
	// Ending the session lets go of the lock, whatever state the connection is in.
	return func() { _ = conn.Hijack().Close(context.WithoutCancel(ctx)) }, nil
}

func migrateOwn(ctx context.Context, pool *Pool, fsys fs.FS) ([]string, error) {
	db := stdlib.OpenDBFromPool(pool)
	defer func() { _ = db.Close() }()
	p, err := goose.NewProvider(goose.DialectPostgres, db, fsys,
		goose.WithDisableGlobalRegistry(true), goose.WithSlog(quiet()))
	if errors.Is(err, goose.ErrNoMigrations) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the migrations: %w", err)
	}
	results, err := p.Up(ctx)
	failed := "the schema"
	var partial *goose.PartialError
	if errors.As(err, &partial) {
		results = partial.Applied
		if partial.Failed != nil && partial.Failed.Source != nil {
			failed = partial.Failed.Source.Path
		}
	}
	var applied []string
	for _, r := range results {
		applied = append(applied, r.Source.Path)
	}
	if err != nil {
		return applied, fmt.Errorf("apply %s (it was undone; run the migration again once it is mended): %w", failed, err)
	}
	return applied, nil
}

func migrateRiver(ctx context.Context, pool *Pool) ([]string, error) {
	m, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Logger: quiet()})
	if err != nil {
		return nil, fmt.Errorf("prepare the job tables: %w", err)
	}
	res, err := m.Migrate(ctx, rivermigrate.DirectionUp, nil)
	if err != nil {
		return nil, fmt.Errorf("migrate the job tables: %w", err)
	}
	var applied []string
	for _, v := range res.Versions {
		applied = append(applied, fmt.Sprintf("river %d", v.Version))
	}
	return applied, nil
}

// quiet keeps the migration tools from writing to standard output: the Report says what they did.
func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }
