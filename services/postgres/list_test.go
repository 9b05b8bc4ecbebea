package postgres_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
)

const patience, poll = 10 * time.Second, 10 * time.Millisecond

type dog struct {
	Name   string `db:"name"`
	Weight int    `db:"weight"`
}

func TestListAndOneMatchColumnsExactly(t *testing.T) {
	t.Parallel()
	tx, ctx := postgrestest.Tx(t), t.Context()
	run(t, tx, `create temporary table dog (name text, weight int) on commit drop`)

	none, err := postgres.List[dog](ctx, tx, "list dogs", `select name, weight from dog`)
	require.NoError(t, err)
	require.Empty(t, none)
	_, err = postgres.One[dog](ctx, tx, "find a dog", `select name, weight from dog`)
	require.True(t, postgres.NoRows(err))
	require.ErrorContains(t, err, "find a dog: ")

	run(t, tx, `insert into dog values ('Ada', 20), ('Bo', 30)`)
	all, err := postgres.List[dog](ctx, tx, "list dogs", `select name, weight from dog where weight > $1 order by name`, 10)
	require.NoError(t, err)
	require.Equal(t, []dog{{"Ada", 20}, {"Bo", 30}}, all)
	one, err := postgres.One[dog](ctx, tx, "find a dog", `select name, weight from dog where name = $1`, "Bo")
	require.NoError(t, err)
	require.Equal(t, dog{"Bo", 30}, one)

	_, err = postgres.One[dog](ctx, tx, "find a dog", `select name, weight from dog`)
	require.Error(t, err, "two rows are not one")
	require.False(t, postgres.NoRows(err))
	for _, sql := range []string{`select name from dog`, `select name, weight, 1 as extra from dog`} {
		_, err = postgres.List[dog](ctx, tx, "list dogs", sql)
		require.ErrorContains(t, err, "list dogs: ", sql)
	}
}

func TestCodesMapsCodesToIDs(t *testing.T) {
	t.Parallel()
	tx, ctx := postgrestest.Tx(t), t.Context()
	a, b := uuid.New(), uuid.New()
	found, err := postgres.Codes(ctx, tx, "list sites", `select * from (values ('north', $1::uuid), ('south', $2::uuid)) v`, a, b)
	require.NoError(t, err)
	require.Equal(t, map[string]uuid.UUID{"north": a, "south": b}, found)
	_, err = postgres.Codes(ctx, tx, "list sites", `select 'north'`)
	require.ErrorContains(t, err, "list sites: ")
}

func TestTryLockHasOneHolder(t *testing.T) {
	t.Parallel()
	pool, ctx := postgrestest.Pool(t), t.Context()
	name := uuid.NewString()
	release, ok, err := postgres.TryLock(ctx, pool, name)
	require.NoError(t, err)
	require.True(t, ok)
	_, ok, err = postgres.TryLock(ctx, pool, name)
	require.NoError(t, err)
	require.False(t, ok, "held")
	other, ok, err := postgres.TryLock(ctx, pool, name+"x")
	require.NoError(t, err)
	require.True(t, ok, "another name is free")
	other()
	release()
	release, ok, err = postgres.TryLock(ctx, pool, name)
	require.NoError(t, err)
	require.True(t, ok, "free again")
	release()
}

func TestTryLockEndsWithItsConnection(t *testing.T) {
	t.Parallel()
	pool, ctx := postgrestest.Database(t), t.Context()
	release, ok, err := postgres.TryLock(ctx, pool, "solver")
	require.NoError(t, err)
	require.True(t, ok)
	run(t, pool, `select pg_terminate_backend(pid) from pg_locks where locktype = 'advisory' and granted
		and database = (select oid from pg_database where datname = current_database())`)
	require.Eventually(t, func() bool {
		again, ok, err := postgres.TryLock(ctx, pool, "solver")
		require.NoError(t, err)
		if ok {
			again()
		}
		return ok
	}, patience, poll)
	release() // of a connection that is gone: harmless
}
