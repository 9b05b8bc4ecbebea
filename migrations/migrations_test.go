package migrations_test

import (
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/migrations"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

func TestNumbersAreConsecutiveAndFilesGoForwardOnly(t *testing.T) {
	t.Parallel()
	names, err := fs.Glob(migrations.FS, "*.sql")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	newest, _, err := postgres.Versions(migrations.FS) // refuses a number used twice
	require.NoError(t, err)
	require.Equal(t, int64(len(names)), newest, "numbers run from 0001 without a gap")
	for _, name := range names {
		require.Regexp(t, `^\d{4}_[a-z0-9_]+\.sql$`, name)
		text, err := fs.ReadFile(migrations.FS, name)
		require.NoError(t, err)
		require.Contains(t, string(text), "-- +goose Up", name)
		require.NotContains(t, strings.ToLower(string(text)), "-- +goose down", name)
	}
}

func TestTheyApplyToAnEmptyDatabaseAndOnlyOnce(t *testing.T) {
	t.Parallel()
	db := postgrestest.Empty(t)
	r, err := postgres.Migrate(t.Context(), db, migrations.FS)
	require.NoError(t, err)
	names, err := fs.Glob(migrations.FS, "*.sql")
	require.NoError(t, err)
	require.Equal(t, names, r.Applied[:len(names)])
	r, err = postgres.Migrate(t.Context(), db, migrations.FS)
	require.NoError(t, err)
	require.Empty(t, r.Applied)
	require.NoError(t, postgres.CheckSchema(t.Context(), db, migrations.FS))
}

// ownTables are all tables but those of the migration tools.
const ownTables = `select n.nspname || '.' || c.relname
	from pg_class c join pg_namespace n on n.oid = c.relnamespace
	where c.relkind in ('r', 'p') and n.nspname not in ('pg_catalog', 'information_schema', 'pg_toast')
		and c.relname not like 'river\_%' and c.relname <> 'goose_db_version'`

func list(t *testing.T, sql string) []string {
	t.Helper()
	rows, err := postgrestest.Tx(t).Query(t.Context(), sql)
	require.NoError(t, err)
	defer rows.Close()
	var all []string
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		all = append(all, s)
	}
	require.NoError(t, rows.Err())
	return all
}

func TestEveryTableSaysWhatItIsForAndHasAKey(t *testing.T) {
	t.Parallel()
	require.NotEmpty(t, list(t, ownTables))
	require.Empty(t, list(t, ownTables+` and coalesce(obj_description(c.oid, 'pg_class'), '') = ''`), "comment on table")
	require.Empty(t, list(t, ownTables+` and not exists (select from pg_constraint k where k.conrelid = c.oid and k.contype = 'p')`),
		"a primary key")
}

func TestDaysAreDatesAndInstantsHaveAZone(t *testing.T) {
	t.Parallel()
	require.Empty(t, list(t, `select t.table_name || '.' || t.column_name from information_schema.columns t
		where t.data_type in ('timestamp without time zone', 'time with time zone')
			and t.table_schema not in ('pg_catalog', 'information_schema')
			and t.table_name not like 'river\_%' and t.table_name <> 'goose_db_version'`))
}
