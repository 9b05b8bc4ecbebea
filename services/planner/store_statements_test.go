package planner

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// counting counts the statements that go through it.
type counting struct {
	postgres.Tx
	n int
}

func (c *counting) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	c.n++
	return c.Tx.Query(ctx, sql, args...)
}

func (c *counting) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	c.n++
	return c.Tx.QueryRow(ctx, sql, args...)
}

func (c *counting) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	c.n++
	return c.Tx.Exec(ctx, sql, args...)
}

// PageStatements counts the statements that pieces of a plan take: head, one page of requests picked by text and site, load, and the
// comparison of two plans.
func PageStatements(ctx context.Context, pool *postgres.Pool, plan, other string, find, site string) (map[string]int, error) {
	out := map[string]int{}
	first, err := ids.Parse[ids.PlanID](plan)
	if err != nil {
		return nil, err
	}
	second, err := ids.Parse[ids.PlanID](other)
	if err != nil {
		return nil, err
	}
	for name, read := range map[string]func(tx postgres.Tx) error{
		"head": func(tx postgres.Tx) error { _, err := readHead(ctx, tx, first); return err },
		"list": func(tx postgres.Tx) error {
			_, err := readPlanned(ctx, tx, first, &plannerv1.ListPlannedRequest{Find: find, SiteCode: site, Limit: 200})
			return err
		},
		"load": func(tx postgres.Tx) error {
			_, err := readLoad(ctx, tx, Plan{ID: first, Month: calendar.MustMonth("2027-03")}, &plannerv1.ReadLoadRequest{})
			return err
		},
		"compare": func(tx postgres.Tx) error { _, err := compareTx(ctx, tx, first, second, 200, 0); return err },
	} {
		err := postgres.ReadTx(ctx, pool, func(tx postgres.Tx) error {
			c := &counting{Tx: tx}
			err := read(c)
			out[name] = c.n
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}
