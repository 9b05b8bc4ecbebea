package postgrestest_test

import (
	"fmt"
	"os"
	"os/exec"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/localpg"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

func count(t *testing.T, db postgres.DB, sql string, args ...any) int {
	t.Helper()
	var n int
	require.NoError(t, db.QueryRow(t.Context(), sql, args...).Scan(&n))
	return n
}

func run(t *testing.T, db postgres.DB, sql string) {
	t.Helper()
	_, err := db.Exec(t.Context(), sql)
	require.NoError(t, err)
}

func TestTxIsRolledBack(t *testing.T) {
	t.Parallel()
	const table = `select count(*) from pg_class where relname = 'only_in_tx'`
	t.Run("writes", func(t *testing.T) {
		tx := postgrestest.Tx(t)
		run(t, tx, `create table only_in_tx (n int)`)
		require.Equal(t, 1, count(t, tx, table))
		require.Positive(t, count(t, tx, `select count(*) from river_migration`), "migrated")
	})
	require.Zero(t, count(t, postgrestest.Pool(t), table))
}

func TestPoolIsSharedWithinThePackage(t *testing.T) {
	t.Parallel()
	require.Same(t, postgrestest.Pool(t), postgrestest.Pool(t))
}

func TestDatabasesAreFreshAndDropped(t *testing.T) {
	t.Parallel()
	names := make(chan string, 6)
	t.Run("group", func(t *testing.T) {
		for i := range cap(names) {
			t.Run(fmt.Sprint(i), func(t *testing.T) {
				t.Parallel()
				db := postgrestest.Database(t)
				run(t, db, `create table mine (n int)`) // fails where another test's table shows
				var name string
				require.NoError(t, db.QueryRow(t.Context(), `select current_database()`).Scan(&name))
				names <- name

				second, err := postgres.Open(t.Context(), postgrestest.URL(db), postgres.Options{MaxConns: 1})
				require.NoError(t, err)
				defer second.Close()
				require.Zero(t, count(t, second, `select count(*) from mine`))
			})
		}
	})
	close(names)
	seen := map[string]bool{}
	for name := range names {
		require.False(t, seen[name])
		seen[name] = true
		require.Zero(t, count(t, postgrestest.Pool(t), `select count(*) from pg_database where datname = $1`, name), "dropped")
	}
	require.Len(t, seen, cap(names))
}

func TestEmptyAndOtherMigrations(t *testing.T) {
	t.Parallel()
	const tables = `select count(*) from pg_tables where schemaname = 'public'`
	require.Zero(t, count(t, postgrestest.Empty(t), tables))

	fsys := fstest.MapFS{"0001_dog.sql": {Data: []byte("-- +goose Up\ncreate table dog (name text);\n")}}
	require.Equal(t, 1, count(t, postgrestest.DatabaseWith(t, fsys), `select count(*) from pg_tables where tablename = 'dog'`))
	fsys["0002_cat.sql"] = &fstest.MapFile{Data: []byte("-- +goose Up\ncreate table cat (name text);\n")}
	require.Equal(t, 2, count(t, postgrestest.DatabaseWith(t, fsys), `select count(*) from pg_tables where tablename in ('dog', 'cat')`),
		"changed migrations make another template")
}

// childEnv makes TestInAnotherProcess do something when it is run by one of the tests below.
const childEnv = "POSTGRESTEST_CHILD"

func TestInAnotherProcess(t *testing.T) {
	if os.Getenv(childEnv) == "" {
		t.Log("does its work as a child of the other tests")
		return
	}
	tx := postgrestest.Tx(t)
	require.Equal(t, 2, count(t, tx, `select 1 + 1`))
	fmt.Println("child used a database")
}

func child(t *testing.T, env ...string) (string, error) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run", "^TestInAnotherProcess$", "-test.v")
	cmd.Env = append(append(os.Environ(), childEnv+"=1"), env...)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

func TestWithoutPostgresTestsFailAndSayWhy(t *testing.T) {
	t.Parallel()
	tmp, err := os.MkdirTemp("", "postgrestest-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(tmp) })
	require.NoError(t, os.Chmod(tmp, 0o755)) // the server's user can reach it, so that nothing is kept elsewhere
	out, err := child(t, postgrestest.EnvURL+"=", localpg.EnvSource+"=/nonexistent", "TMPDIR="+tmp)
	require.Error(t, err, out)
	require.Contains(t, out, "--- FAIL")
	require.NotContains(t, out, "SKIP")
	require.Contains(t, out, "this test needs PostgreSQL: LONGLEAD_POSTGRES names /nonexistent")
	require.Contains(t, out, postgrestest.EnvURL)

	out, err = child(t, postgrestest.EnvURL+"=host=/tmp dbname=x")
	require.Error(t, err, out)
	require.Contains(t, out, "has to be a URL")
}

func TestAnotherServerCanBeNamed(t *testing.T) {
	t.Parallel()
	out, err := child(t, postgrestest.EnvURL+"="+postgrestest.URL(postgrestest.Pool(t)), localpg.EnvSource+"=/nonexistent")
	require.NoError(t, err, out)
	require.Contains(t, out, "child used a database")
}

func TestTwoTestBinariesShareOneServer(t *testing.T) {
	t.Parallel()
	postgrestest.Pool(t)
	for range 2 {
		out, err := child(t)
		require.NoError(t, err, out)
		require.Contains(t, out, "child used a database")
	}
}
