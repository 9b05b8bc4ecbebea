package planner

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

func insertLongDays(ctx context.Context, tx postgres.Tx, days []LongDay) error {
	rows := pgx.CopyFromSlice(len(days), func(i int) ([]any, error) {
		d := days[i]
		day, err := d.Day.Value()
		return []any{[16]byte(d.PlanID), [16]byte(d.SiteID), [16]byte(d.TrainerID), day, d.Quarters, d.Points}, err
	})
	columns := []string{"plan_id", "site_id", "trainer_id", "day", "quarters", "points"}
	if _, err := tx.CopyFrom(ctx, pgx.Identifier{"planner", "long_day"}, columns, rows); err != nil {
		return fmt.Errorf("insert %d long days: %w", len(days), err)
	}
	return nil
}

// listLongDays returns a plan's long days by site, trainer and day.
func listLongDays(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]LongDay, error) {
	return postgres.List[LongDay](ctx, db, "list long days", `
		select plan_id, site_id, trainer_id, day, quarters, points
		from planner.long_day where plan_id = $1 order by site_id, trainer_id, day`, plan)
}
