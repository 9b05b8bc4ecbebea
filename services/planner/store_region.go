package planner

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// insertDivision stores the regions of a plan with the snapshot they are planned from, and gives the attempt back: from now
// on each region counts its own. It returns false when the plan is not drafting any more.
func insertDivision(ctx context.Context, tx postgres.Tx, plan Plan, d division, regions []region) (bool, error) {
	drafting, err := lockDrafting(ctx, tx, plan.ID)
	if err != nil || !drafting {
		return false, err
	}
	batch := &pgx.Batch{}
	batch.Queue(`insert into planner.division (plan_id, inputs, fingerprint, settled) values ($1, $2, $3, $4)`, d.PlanID, d.Inputs, d.Fingerprint, d.Settled)
	for _, r := range regions {
		batch.Queue(`insert into planner.region (plan_id, number, part, problem, start, bound) values ($1, $2, $3, $4, $5, $6)`,
			r.PlanID, r.Number, r.Part, r.Problem, r.Start, r.Bound)
	}
	batch.Queue(`update planner.plan set attempt = 0, requests = $2 where id = $1`, plan.ID, plan.Requests)
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return false, fmt.Errorf("insert %d regions of plan %s: %w", len(regions), plan.ID, err)
	}
	return true, sumRegions(ctx, tx, plan.ID)
}

// lockDrafting locks a plan's row until the end of the transaction, and tells whether it is drafting. Whoever changes a region
// does this first, so that the sums over regions are of one moment and the region that ends last knows that it does.
func lockDrafting(ctx context.Context, tx postgres.Tx, id ids.PlanID) (bool, error) {
	plan, err := findPlan(ctx, tx, id, true)
	return plan.State == StateDrafting, err
}

// sumRegions brings value, bound and placed of a plan whose row is locked up to date with its regions. The bound never rises:
// what a worker has proven holds even after the worker is gone.
func sumRegions(ctx context.Context, tx postgres.Tx, id ids.PlanID) error {
	_, err := tx.Exec(ctx, `
		update planner.plan set value = s.value, bound = least(plan.bound, s.bound), placed = d.settled + s.placed, seconds = greatest(plan.seconds, s.seconds),
		  phase = format('%s of %s regions solved', s.solved, s.regions)
		from planner.division d, (
		  select sum(value)::bigint as value, sum(bound)::bigint as bound, sum(placed) as placed, max(seconds) as seconds, count(solution) as solved, count(*) as regions
		  from planner.region where plan_id = $1) s
		where plan.id = $1 and d.plan_id = $1`, id)
	if err != nil {
		return fmt.Errorf("add up the regions of plan %s: %w", id, err)
	}
	return nil
}

// findDivision returns the division of a plan; false when the plan has none.
func findDivision(ctx context.Context, db postgres.DB, id ids.PlanID) (division, bool, error) {
	d, err := postgres.One[division](ctx, db, "find the division of plan "+id.String(), `select plan_id, inputs, fingerprint, settled from planner.division where plan_id = $1`, id)
	if postgres.NoRows(err) {
		return division{}, false, nil
	}
	return d, err == nil, err
}

// regionColumns leave out what only the worker of a region needs.
const regionColumns = `plan_id, number, part, attempt, phase, value, bound, solution`

// listRegions returns a plan's regions in their order.
func listRegions(ctx context.Context, db postgres.DB, id ids.PlanID) ([]region, error) {
	return postgres.List[region](ctx, db, "list regions", `select `+regionColumns+`, null::bytea as problem, null::jsonb as start from planner.region where plan_id = $1 order by number`, id)
}

// takenUp is a region that a worker has begun and not ended.
type takenUp struct {
	PlanID  ids.PlanID `db:"plan_id"`
	Number  int        `db:"number"`
	Attempt int        `db:"attempt"`
}

// listRegionsTakenUp returns those of plans that are drafting, without those whose new job waits.
func listRegionsTakenUp(ctx context.Context, db postgres.DB) ([]takenUp, error) {
	return postgres.List[takenUp](ctx, db, "list regions under way", `
		select plan_id, number, attempt from planner.region
		where solution is null and phase <> $2 and (attempt > 0 or phase = $1)
		  and exists (select from planner.plan where id = plan_id and state = 'drafting') order by plan_id, number`, phaseLeft, phaseRescued)
}

// beginRegion counts one more worker on a region that is still to be solved, and takes back what one that died had found, but
// not what it had proven. It returns false when there is nothing to do.
func beginRegion(ctx context.Context, db postgres.DB, id ids.PlanID, number int) (region, bool, error) {
	r, err := postgres.One[region](ctx, db, fmt.Sprintf("begin region %d of plan %s", number, id), `
		update planner.region set attempt = attempt + 1, phase = 'reading', value = 0, placed = 0
		where plan_id = $1 and number = $2 and solution is null
		  and exists (select from planner.plan where id = plan_id and state = 'drafting') returning `+regionColumns+`, problem, start`, id, number)
	if postgres.NoRows(err) {
		return region{}, false, nil
	}
	return r, err == nil, err
}

// leaveRegion gives the attempt of a worker that stops in good order back.
func leaveRegion(ctx context.Context, db postgres.DB, id ids.PlanID, number int) error {
	_, err := db.Exec(ctx, `update planner.region set attempt = attempt - 1, phase = $3 where plan_id = $1 and number = $2 and solution is null`, id, number, phaseLeft)
	if err != nil {
		return fmt.Errorf("leave region %d of plan %s: %w", number, id, err)
	}
	return nil
}

// markRescued notes that a new job waits for a region that lost its worker; false when somebody was faster.
func markRescued(ctx context.Context, tx postgres.Tx, r takenUp) (bool, error) {
	tag, err := tx.Exec(ctx, `
		update planner.region set phase = $4 where plan_id = $1 and number = $2 and attempt = $3 and phase <> $4 and solution is null`,
		r.PlanID, r.Number, r.Attempt, phaseRescued)
	if err != nil {
		return false, fmt.Errorf("rescue region %d of plan %s: %w", r.Number, r.PlanID, err)
	}
	return tag.RowsAffected() == 1, nil
}

// keepRegionReport stores how far a region's search has come, and tells what to do next.
func keepRegionReport(ctx context.Context, tx postgres.Tx, id ids.PlanID, number int, r report) (order, error) {
	plan, err := findPlan(ctx, tx, id, true)
	next := orderFor(plan.State == StateDrafting, plan.FinishAskedAt != nil)
	if err != nil || next == orderStop {
		return orderStop, err
	}
	_, err = tx.Exec(ctx, `
		update planner.region set phase = $3, value = greatest(value, $4), bound = least(bound, $5), placed = $6, seconds = $7
		where plan_id = $1 and number = $2 and solution is null`, id, number, r.phase, r.value, r.bound, r.placed, r.seconds)
	if err != nil {
		return orderStop, fmt.Errorf("keep progress of region %d of plan %s: %w", number, id, err)
	}
	return next, sumRegions(ctx, tx, id)
}

// keepRegion stores a region's solution, once. last is true for the one that leaves no region to be solved; kept is false when
// the plan is not drafting any more or the region was solved before.
func keepRegion(ctx context.Context, tx postgres.Tx, id ids.PlanID, number int, s allocation.Solution) (kept, last bool, err error) {
	if drafting, err := lockDrafting(ctx, tx, id); err != nil || !drafting {
		return false, false, err
	}
	tag, err := tx.Exec(ctx, `
		update planner.region set solution = $3, phase = 'solved', value = $4, bound = least(bound, $5), placed = $6, seconds = $7
		where plan_id = $1 and number = $2 and solution is null`, id, number, s, s.Value, s.Bound, len(s.Placements), s.Seconds)
	if err != nil {
		return false, false, fmt.Errorf("keep region %d of plan %s: %w", number, id, err)
	}
	if tag.RowsAffected() == 0 {
		return false, false, nil
	}
	err = tx.QueryRow(ctx, `select count(*) = 0 from planner.region where plan_id = $1 and solution is null`, id).Scan(&last)
	if err != nil {
		return false, false, fmt.Errorf("count the regions of plan %s: %w", id, err)
	}
	return true, last, sumRegions(ctx, tx, id)
}
