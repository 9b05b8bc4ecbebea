package planner

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const planColumns = `id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed, job_id, attempt, phase,
	value, bound, requests, placed, seconds, solver_version, fingerprint, policy, cautions, failure, published_at, published_by, finish_asked_at, finish_asked_by`

// insertDraft stores a plan in state drafting, with the next number of its month.
func insertDraft(ctx context.Context, tx postgres.Tx, p Plan) (Plan, error) {
	plan, err := postgres.One[Plan](ctx, tx, "insert a draft of "+p.Month.String(), `
		insert into planner.plan (id, month, number, state, made_at, made_by, seconds_limit, iterations_limit, seed, phase, solver_version)
		select $1, $2, coalesce(max(number), 0) + 1, 'drafting', $3, $4, $5, $6, $7, 'waiting for a worker', $8
		from planner.plan where month = $2
		returning `+planColumns, p.ID, p.Month, p.MadeAt, p.MadeBy, p.SecondsLimit, p.IterationsLimit, p.Seed, p.SolverVersion)
	if name, _ := postgres.Constraint(err); name == "plan_month_number_key" {
		return plan, apperr.Unavailablef("TRY_AGAIN", "somebody started a draft of %s at the same moment: try again", p.Month).Because(err)
	}
	return plan, err
}

// setJob notes which job works on a plan.
func setJob(ctx context.Context, tx postgres.Tx, id ids.PlanID, job int64) error {
	if _, err := tx.Exec(ctx, `update planner.plan set job_id = $2 where id = $1`, id, job); err != nil {
		return fmt.Errorf("note the job of plan %s: %w", id, err)
	}
	return nil
}

// findPlan returns a plan, or NotFound. With lock its row is locked until the end of the transaction.
func findPlan(ctx context.Context, db postgres.DB, id ids.PlanID, lock bool) (Plan, error) {
	query := `select ` + planColumns + ` from planner.plan where id = $1`
	if lock {
		query += ` for update`
	}
	plan, err := postgres.One[Plan](ctx, db, "find plan "+id.String(), query, id)
	if postgres.NoRows(err) {
		return Plan{}, apperr.NotFoundf("PLAN_UNKNOWN", "there is no plan %s: `longlead plan list` shows the plans", id)
	}
	return plan, err
}

// listPlans returns the plans of a month, or all when month is absent, newest first.
func listPlans(ctx context.Context, db postgres.DB, month calendar.Month) ([]Plan, error) {
	return postgres.List[Plan](ctx, db, "list plans", `
		select `+planColumns+` from planner.plan where $1::date is null or month = $1 order by made_at desc, number desc`, month)
}

// beginWork counts one more worker on a plan that is still drafting, and forgets how far one that died had come, unless that
// was in regions, which are kept. It returns false when there is nothing to do: the plan is not drafting, or has regions that
// are still to be solved.
func beginWork(ctx context.Context, db postgres.DB, id ids.PlanID) (Plan, bool, error) {
	plan, err := postgres.One[Plan](ctx, db, "begin work on plan "+id.String(), `
		update planner.plan set attempt = attempt + 1, phase = case when divided then 'joining' else 'reading' end,
		  value = case when divided then value else 0 end, bound = case when divided then bound end,
		  placed = case when divided then placed else 0 end, seconds = case when divided then seconds else 0 end
		from (select exists (select from planner.division where plan_id = $1) as divided) d
		where id = $1 and state = 'drafting' and not exists (select from planner.region where plan_id = $1 and solution is null)
		returning `+planColumns, id)
	if postgres.NoRows(err) {
		return Plan{}, false, nil
	}
	return plan, err == nil, err
}

// leaveWork gives the attempt of a worker that stops in good order back: it is no sign that the draft cannot be made.
func leaveWork(ctx context.Context, db postgres.DB, id ids.PlanID) error {
	_, err := db.Exec(ctx, `update planner.plan set attempt = attempt - 1, phase = $2 where id = $1 and state = 'drafting'`, id, phaseLeft)
	if err != nil {
		return fmt.Errorf("leave work on plan %s: %w", id, err)
	}
	return nil
}

// listTakenUp returns the plans that a worker has begun and not ended.
func listTakenUp(ctx context.Context, db postgres.DB) ([]Plan, error) {
	return postgres.List[Plan](ctx, db, "list drafts under way", `
		select `+planColumns+` from planner.plan where state = 'drafting' and (attempt > 0 or phase = $1) order by made_at`, phaseLeft)
}

func setPhase(ctx context.Context, tx postgres.Tx, id ids.PlanID, phase string) error {
	if _, err := tx.Exec(ctx, `update planner.plan set phase = $2 where id = $1`, id, phase); err != nil {
		return fmt.Errorf("set the phase of plan %s: %w", id, err)
	}
	return nil
}

// report is how far a search has come.
type report struct {
	phase        string
	value, bound int64
	requests     int
	placed       int
	seconds      float64
}

// order is what the answer to a report tells a worker to do.
type order int

const (
	orderStop order = iota // the plan is not drafting any more: somebody cancelled it
	orderGoOn
	orderFinish // somebody asked for the best plan so far
)

// orderFor is the order for a plan that is drafting, or was.
func orderFor(drafting, finish bool) order {
	switch {
	case !drafting:
		return orderStop
	case finish:
		return orderFinish
	}
	return orderGoOn
}

// keepReport stores progress, and tells what to do next.
func keepReport(ctx context.Context, db postgres.DB, id ids.PlanID, r report) (order, error) {
	var finish bool
	err := db.QueryRow(ctx, `
		update planner.plan set phase = $2, value = greatest(value, $3), bound = least(bound, $4), requests = $5, placed = $6, seconds = $7
		where id = $1 and state = 'drafting' returning finish_asked_at is not null`, id, r.phase, r.value, r.bound, r.requests, r.placed, r.seconds).Scan(&finish)
	if err != nil && !postgres.NoRows(err) {
		return orderStop, fmt.Errorf("keep progress of plan %s: %w", id, err)
	}
	return orderFor(err == nil, finish), nil
}

// askFinish notes who wants the best plan found so far; whoever asked first stays.
func askFinish(ctx context.Context, tx postgres.Tx, id ids.PlanID, who author) error {
	_, err := tx.Exec(ctx, `
		update planner.plan set finish_asked_at = $2, finish_asked_by = $3
		where id = $1 and state = 'drafting' and finish_asked_at is null`, id, who.at, who.by)
	if err != nil {
		return fmt.Errorf("ask for the end of draft %s: %w", id, err)
	}
	return nil
}

// keepDraft stores a finished draft with all its parts; false when the plan is not drafting any more.
func keepDraft(ctx context.Context, tx postgres.Tx, p Plan, o outcome) (bool, error) {
	tag, err := tx.Exec(ctx, `
		update planner.plan set state = 'draft', phase = 'done', value = $2, bound = $3, requests = $4, placed = $5, seconds = $6,
		  fingerprint = $7, policy = $8, cautions = $9
		where id = $1 and state = 'drafting'`,
		p.ID, p.Value, p.Bound, p.Requests, p.Placed, p.Seconds, p.Fingerprint, p.Policy, o.cautions)
	if err != nil {
		return false, fmt.Errorf("keep draft %s: %w", p.ID, err)
	}
	if tag.RowsAffected() == 0 {
		return false, nil
	}
	if _, err := tx.Exec(ctx, `delete from planner.division where plan_id = $1`, p.ID); err != nil {
		return false, fmt.Errorf("clear the regions of plan %s: %w", p.ID, err)
	}
	if err := insertPlacements(ctx, tx, o.placements); err != nil {
		return false, err
	}
	if err := insertWaits(ctx, tx, o.waits); err != nil {
		return false, err
	}
	if err := insertLongDays(ctx, tx, o.longDays); err != nil {
		return false, err
	}
	if err := insertUses(ctx, tx, p.ID, o.uses); err != nil {
		return false, err
	}
	return true, keepLoad(ctx, tx, p.ID, p.Month.Span())
}

func insertPlacements(ctx context.Context, tx postgres.Tx, placements []Placement) error {
	batch := &pgx.Batch{}
	for _, p := range placements {
		batch.Queue(`
			insert into planner.placement (plan_id, request_id, request_code, site_id, run_id, trainer_id, nights, value, points, minutes, cover_minutes, standing)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
			p.PlanID, p.RequestID, p.RequestCode, p.SiteID, p.RunID, p.TrainerID, p.Nights, p.Value, p.Points, p.Minutes, p.CoverMinutes, p.Standing)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("insert %d placements: %w", len(placements), err)
	}
	return nil
}

func insertWaits(ctx context.Context, tx postgres.Tx, waits []Wait) error {
	batch := &pgx.Batch{}
	for _, w := range waits {
		batch.Queue(`insert into planner.wait (plan_id, request_id, request_code, hard, reason, remedy, refusals) values ($1, $2, $3, $4, $5, $6, $7)`,
			w.PlanID, w.RequestID, w.RequestCode, w.Hard, w.Reason, w.Remedy, w.Refusals)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("insert %d waits: %w", len(waits), err)
	}
	return nil
}

func insertUses(ctx context.Context, tx postgres.Tx, plan ids.PlanID, uses []Use) error {
	rows := pgx.CopyFromSlice(len(uses), func(i int) ([]any, error) {
		u := uses[i]
		day, err := u.Day.Value()
		return []any{[16]byte(plan), [16]byte(u.SiteID), u.Resource, u.Unit, day, u.Used, u.Capacity, u.Price}, err
	})
	columns := []string{"plan_id", "site_id", "resource", "unit", "day", "used", "capacity", "price"}
	if _, err := tx.CopyFrom(ctx, pgx.Identifier{"planner", "use"}, columns, rows); err != nil {
		return fmt.Errorf("insert %d uses: %w", len(uses), err)
	}
	return nil
}

// endDraft ends a plan that is drafting as cancelled or failed, and its regions with it. It returns false when it was not
// drafting.
func endDraft(ctx context.Context, db postgres.DB, id ids.PlanID, state, failure string) (bool, error) {
	var ended bool
	err := db.QueryRow(ctx, `
		with ended as (update planner.plan set state = $2, failure = $3, phase = '' where id = $1 and state = 'drafting' returning id),
		  regions as (delete from planner.division where plan_id in (select id from ended))
		select count(*) = 1 from ended`, id, state, failure).Scan(&ended)
	if err != nil {
		return false, fmt.Errorf("end draft %s: %w", id, err)
	}
	return ended, nil
}

const placementColumns = `plan_id, request_id, request_code, site_id, run_id, trainer_id, nights::text as nights, value, points, minutes, cover_minutes, standing`

// listPlacements returns a plan's placements by site, arrival and request.
func listPlacements(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]Placement, error) {
	return postgres.List[Placement](ctx, db, "list placements", `
		select `+placementColumns+` from planner.placement where plan_id = $1 order by site_id, lower(nights), request_id`, plan)
}

// listWaits returns a plan's wait list.
func listWaits(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]Wait, error) {
	return postgres.List[Wait](ctx, db, "list waits", `
		select plan_id, request_id, request_code, hard, reason, remedy, refusals from planner.wait where plan_id = $1 order by request_id`, plan)
}

// listUses returns a plan's use of every resource.
func listUses(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]Use, error) {
	return postgres.List[Use](ctx, db, "list uses", `
		select site_id, resource, unit, day, used, capacity, price
		from planner.use where plan_id = $1 order by site_id, resource, unit, day`, plan)
}

// readPolicy returns the points of every term: those that were set, and the defaults of the others.
func readPolicy(ctx context.Context, db postgres.DB) (Policy, error) {
	type row struct {
		Term   string `db:"term"`
		Points int    `db:"points"`
	}
	rows, err := postgres.List[row](ctx, db, "read the policy", `select term, points from planner.policy_term`)
	policy := DefaultPolicy()
	for _, r := range rows {
		policy[r.Term] = r.Points
	}
	return policy, err
}

func putPolicy(ctx context.Context, tx postgres.Tx, changes Policy) error {
	for term, points := range changes {
		_, err := tx.Exec(ctx, `
			insert into planner.policy_term (term, points) values ($1, $2)
			on conflict on constraint policy_term_pkey do update set points = excluded.points`, term, points)
		if err != nil {
			return fmt.Errorf("put policy term %s: %w", term, err)
		}
	}
	return nil
}
