// Package postgres opens the database, runs transactions and applies migrations.
//
// It names no table of ours: each table is named in the store files of the one package that owns it. Those files take
// a DB where a statement may run anywhere and a Tx where it must be part of a transaction. Server code opens
// transactions with InTx and ReadTx and never holds one across a solve, an RPC or a mail.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"
)

// DB is what a store function needs to run statements. *Pool and Tx both satisfy it.
type DB interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
	Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error)
	SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults
	CopyFrom(ctx context.Context, table pgx.Identifier, columns []string, rows pgx.CopyFromSource) (int64, error)
}

// Tx is an open transaction. Packages that may not import pgx name it by this alias.
type Tx = pgx.Tx

// Pool is a set of connections to one database; it is safe for concurrent use. Close it when done.
type Pool = pgxpool.Pool

var (
	_ DB = (*Pool)(nil)
	_ DB = Tx(nil)
)

// Options adjusts Open. The zero value works.
type Options struct {
	// AppName is shown in pg_stat_activity. Default "longlead".
	AppName string
	// MaxConns is the largest number of connections. 0 takes pool_max_conns of the URL, or else the larger of 10 and
	// the number of processors.
	MaxConns int
	// StatementTimeout cancels a statement that runs longer. 0 means 30 s, a negative value no limit.
	StatementTimeout time.Duration
	// IdleInTxTimeout ends a session whose transaction sits idle longer. 0 means 60 s, a negative value no limit.
	IdleInTxTimeout time.Duration
	// Configure may change anything else about the pool, such as a tracer, before it opens. May be nil.
	Configure func(*pgxpool.Config)
}

const (
	defaultMaxConns         = 10
	defaultStatementTimeout = 30 * time.Second
	defaultIdleInTxTimeout  = 60 * time.Second
	connectTimeout          = 10 * time.Second
)

// Open connects to the database at url (a postgres:// URL or a keyword string) and checks that it answers. Sessions
// run in UTC, and timestamptz values scan as UTC. The error never holds the password.
func Open(ctx context.Context, url string, opts Options) (*Pool, error) {
	cfg, err := poolConfig(url, opts)
	if err != nil {
		return nil, err
	}
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open the database pool: %w", err)
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("reach the database: %w", err)
	}
	return pool, nil
}

func poolConfig(url string, opts Options) (*pgxpool.Config, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("read the database URL: %w", err)
	}
	if opts.AppName == "" {
		opts.AppName = "longlead"
	}
	set := cfg.ConnConfig.RuntimeParams
	set["application_name"] = opts.AppName
	set["timezone"] = "UTC"
	set["statement_timeout"] = millis(opts.StatementTimeout, defaultStatementTimeout)
	set["idle_in_transaction_session_timeout"] = millis(opts.IdleInTxTimeout, defaultIdleInTxTimeout)
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = connectTimeout
	}
	if opts.MaxConns > 0 {
		cfg.MaxConns = int32(min(opts.MaxConns, 10_000))
	} else if !hasPoolMaxConns(url) {
		cfg.MaxConns = max(cfg.MaxConns, defaultMaxConns)
	}
	cfg.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		scanInUTC(conn.TypeMap())
		return nil
	}
	if opts.Configure != nil {
		opts.Configure(cfg)
	}
	return cfg, nil
}

// millis writes a time-out the way Postgres reads it, where "0" means no limit.
func millis(d, byDefault time.Duration) string {
	switch {
	case d < 0:
		return "0"
	case d == 0:
		d = byDefault
	case d < time.Millisecond:
		d = time.Millisecond
	}
	return strconv.FormatInt(d.Milliseconds(), 10)
}

// hasPoolMaxConns reports whether the URL itself limits the pool. pgxpool removes the setting while it parses, so the
// only way to know is to parse once more without it.
func hasPoolMaxConns(url string) bool {
	cfg, err := pgx.ParseConfig(url)
	return err == nil && cfg.RuntimeParams["pool_max_conns"] != ""
}

// scanInUTC makes one connection return timestamptz values in UTC rather than in the machine's zone, alone and inside
// ranges and arrays. It changes only the type map of that connection.
func scanInUTC(m *pgtype.Map) {
	elem := &pgtype.Type{Name: "timestamptz", OID: pgtype.TimestamptzOID, Codec: &pgtype.TimestamptzCodec{ScanLocation: time.UTC}}
	span := &pgtype.Type{Name: "tstzrange", OID: pgtype.TstzrangeOID, Codec: &pgtype.RangeCodec{ElementType: elem}}
	for _, t := range []*pgtype.Type{
		elem, span,
		{Name: "_timestamptz", OID: pgtype.TimestamptzArrayOID, Codec: &pgtype.ArrayCodec{ElementType: elem}},
		{Name: "_tstzrange", OID: pgtype.TstzrangeArrayOID, Codec: &pgtype.ArrayCodec{ElementType: span}},
		{Name: "tstzmultirange", OID: pgtype.TstzmultirangeOID, Codec: &pgtype.MultirangeCodec{ElementType: span}},
	} {
		m.RegisterType(t)
	}
}

// NoRows reports whether err says that a query which had to return a row returned none.
func NoRows(err error) bool { return errors.Is(err, pgx.ErrNoRows) }
