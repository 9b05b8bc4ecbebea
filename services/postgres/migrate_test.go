package postgres_test

import (
	"context"
	"fmt"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

func files(upTo int) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i := 1; i <= upTo; i++ {
		sql := fmt.Sprintf("-- +goose Up\ncreate table kennel_%d (id int);\nselect pg_sleep(0.05);\n", i)
		fsys[fmt.Sprintf("%04d_kennel_%d.sql", i, i)] = &fstest.MapFile{Data: []byte(sql)}
	}
	return fsys
}

const kennels = `select count(*)::int from pg_tables where tablename like 'kennel\_%'`

func TestMigrateAppliesWhatIsMissing(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Empty(t)
	ctx := t.Context()
	err := postgres.CheckSchema(ctx, pool, files(2))
	require.Equal(t, "SCHEMA_OLDER", apperr.ReasonOf(err))
	require.Zero(t, value[int](t, pool, `select count(*)::int from pg_tables where schemaname = 'public'`), "a check changes nothing")

	r, err := postgres.Migrate(ctx, pool, files(2))
	require.NoError(t, err)
	require.Equal(t, int64(2), r.Version)
	require.Positive(t, r.RiverVersion)
	require.Equal(t, []string{"0001_kennel_1.sql", "0002_kennel_2.sql"}, r.Applied[:2])
	require.Contains(t, r.String(), "applied 0001_kennel_1.sql, 0002_kennel_2.sql, river 1")
	require.NoError(t, postgres.CheckSchema(ctx, pool, files(2)))

	r, err = postgres.Migrate(ctx, pool, files(2))
	require.NoError(t, err)
	require.Empty(t, r.Applied)
	require.Contains(t, r.String(), "already current")

	require.Equal(t, "SCHEMA_OLDER", apperr.ReasonOf(postgres.CheckSchema(ctx, pool, files(3))))
	r, err = postgres.Migrate(ctx, pool, files(3))
	require.NoError(t, err)
	require.Equal(t, []string{"0003_kennel_3.sql"}, r.Applied)
	require.Equal(t, 3, value[int](t, pool, kennels))
	require.Equal(t, 1, value[int](t, pool, `select count(*)::int from pg_tables where tablename = 'river_job'`))
}

func TestMigrateWithoutFilesMakesTheJobTables(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Empty(t)
	r, err := postgres.Migrate(t.Context(), pool, fstest.MapFS{})
	require.NoError(t, err)
	require.Zero(t, r.Version)
	require.NotEmpty(t, r.Applied)
	require.NoError(t, postgres.CheckSchema(t.Context(), pool, fstest.MapFS{}))
}

func TestManyMigrateAtOnce(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Empty(t)
	const runs = 4
	reports, errs := make(chan postgres.Report, runs), make(chan error, runs)
	for range runs {
		go func() {
			r, err := postgres.Migrate(t.Context(), pool, files(5))
			reports <- r
			errs <- err
		}()
	}
	worked := 0
	for range runs {
		require.NoError(t, <-errs)
		r := <-reports
		require.Equal(t, int64(5), r.Version)
		if len(r.Applied) > 0 {
			worked++
			require.Equal(t, "0005_kennel_5.sql", r.Applied[4])
		}
	}
	require.Equal(t, 1, worked, "one run did all the work")
	require.Equal(t, 5, value[int](t, pool, kennels))
}

func TestMigrateRefusesANewerSchema(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	for _, tc := range []struct{ name, newer string }{
		{"ours", ``},
		{"job tables", `insert into river_migration (line, version) values ('main', 1000)`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			pool := postgrestest.Empty(t)
			known := files(3)
			_, err := postgres.Migrate(ctx, pool, known)
			require.NoError(t, err)
			if tc.newer == "" {
				known = files(2)
			} else {
				run(t, pool, tc.newer)
				known = files(4)
			}
			_, err = postgres.Migrate(ctx, pool, known)
			require.Equal(t, apperr.Precondition, apperr.KindOf(err))
			require.Equal(t, "SCHEMA_NEWER", apperr.ReasonOf(err))
			require.ErrorContains(t, err, "Nothing was changed")
			require.Equal(t, 3, value[int](t, pool, kennels))
			require.Equal(t, "SCHEMA_NEWER", apperr.ReasonOf(postgres.CheckSchema(ctx, pool, known)))
		})
	}
}

func TestAFailedMigrationIsWholeOrAbsentAndCanBeMended(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Empty(t)
	fsys := files(3)
	good := fsys["0002_kennel_2.sql"]
	fsys["0002_kennel_2.sql"] = &fstest.MapFile{Data: []byte("-- +goose Up\ncreate table kennel_2 (id int);\nselect 1 / 0;\n")}
	r, err := postgres.Migrate(t.Context(), pool, fsys)
	require.ErrorContains(t, err, "division by zero")
	require.ErrorContains(t, err, "0002_kennel_2.sql")
	require.Equal(t, []string{"0001_kennel_1.sql"}, r.Applied)
	require.Equal(t, 1, value[int](t, pool, kennels))

	fsys["0002_kennel_2.sql"] = good
	_, err = postgres.Migrate(t.Context(), pool, fsys)
	require.NoError(t, err)
	require.Equal(t, 3, value[int](t, pool, kennels))
}

func TestMigrateRefusesBadNames(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Pool(t)
	for name, want := range map[string]string{
		"first.sql": "must start with a number", "0_a.sql": "must start with a number", "001_again.sql": "have the same number",
	} {
		fsys := files(1)
		fsys[name] = &fstest.MapFile{Data: []byte("-- +goose Up\nselect 1;\n")}
		_, err := postgres.Migrate(t.Context(), pool, fsys)
		require.ErrorContains(t, err, want, name)
	}
}

func TestMigrateWaitsForAnotherRunAndGivesUpWithTheRequest(t *testing.T) {
	t.Parallel()
	pool := postgrestest.Empty(t)
	other, err := pool.Acquire(t.Context())
	require.NoError(t, err)
	defer other.Release()
	_, err = other.Exec(t.Context(), `select pg_advisory_lock($1)`, int64(0x4c4c4d4947524154))
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	_, err = postgres.Migrate(ctx, pool, files(1))
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Zero(t, value[int](t, pool, kennels))
}

func TestMigrationsMayRunLongerThanStatements(t *testing.T) {
	t.Parallel()
	url := postgrestest.URL(postgrestest.Empty(t))
	pool, err := postgres.Open(t.Context(), url, postgres.Options{StatementTimeout: 100 * time.Millisecond})
	require.NoError(t, err)
	defer pool.Close()
	slow := fstest.MapFS{"0001_slow.sql": {Data: []byte("-- +goose Up\nselect pg_sleep(0.4);\n")}}
	_, err = postgres.Migrate(t.Context(), pool, slow)
	require.NoError(t, err)
}
