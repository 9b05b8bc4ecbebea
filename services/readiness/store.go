package readiness

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// listPaces returns the latest pace that was set for each program that has one.
func listPaces(ctx context.Context, db postgres.DB) (map[ids.ProgramID]Pace, error) {
	found, err := postgres.List[Pace](ctx, db, "list paces", `
		select distinct on (program_id) program_id, set_at, set_by, note, share_start as start, share_start_spread as start_spread,
		  theta, theta_spread, hold_start, hold_start_spread, hold_growth, hold_growth_spread
		from readiness.pace order by program_id, set_at desc`)
	latest := make(map[ids.ProgramID]Pace, len(found))
	for _, p := range found {
		latest[p.ProgramID] = p
	}
	return latest, err
}

// insertPace keeps a pace. Two for one program at the same instant are a Conflict.
func insertPace(ctx context.Context, tx postgres.Tx, p Pace) error {
	_, err := tx.Exec(ctx, `
		insert into readiness.pace (program_id, set_at, set_by, note, share_start, share_start_spread, theta, theta_spread,
		  hold_start, hold_start_spread, hold_growth, hold_growth_spread)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`, p.ProgramID, p.SetAt, p.SetBy, p.Note,
		p.Start, p.StartSpread, p.Theta, p.ThetaSpread, p.HoldStart, p.HoldStartSpread, p.HoldGrowth, p.HoldGrowthSpread)
	if name, _ := postgres.Constraint(err); name == "pace_pkey" {
		return apperr.Conflictf("SET_AT_ONCE", "somebody set the pace of this program at the same moment: look at what stands now").Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert pace: %w", err)
	}
	return nil
}
