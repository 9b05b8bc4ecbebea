package planner

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// stayColumns reads nights as a text because pgx hands ranges to a Scanner in their binary form.
const stayColumns = `id, request_id, site_id, run_id, trainer_id, nights::text as nights, state`

// liveStates is what the constraints of planner.stay call live.
const liveStates = `('published', 'confirmed', 'in residence', 'gone home')`

// listLiveStays returns the live stays whose nights touch span, in a fixed order. A clean-down after the last night can
// reach into span as well, so a week before it is looked at too.
func listLiveStays(ctx context.Context, db postgres.DB, span calendar.Span) ([]Stay, error) {
	wide := calendar.Span{From: span.From.AddDays(-mostCleanDownDays), To: span.To}
	return postgres.List[Stay](ctx, db, "list stays", `
		select `+stayColumns+` from planner.stay where nights && $1::daterange and state in `+liveStates+`
		order by site_id, run_id, lower(nights)`, wide)
}

// ListStaysOn returns the stays of the dogs that are at a site on a day, the graduation day included, by request.
func ListStaysOn(ctx context.Context, db postgres.DB, site ids.SiteID, day calendar.Date) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list the stays of a day", `
		select `+stayColumns+` from planner.stay
		where site_id = $1 and lower(nights) <= $2 and upper(nights) >= $2 and state in ('published', 'confirmed', 'in residence')
		order by request_id`, site, day)
}

// mostCleanDownDays is the longest clean-down that a site can set.
const mostCleanDownDays = 7

// listCurrentStays returns one stay for each request that ever had one: the live one, or else the one that was cancelled
// last.
func listCurrentStays(ctx context.Context, db postgres.DB) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list current stays", `
		select `+stayColumns+` from (
		  select distinct on (request_id) * from planner.stay where state <> 'replaced'
		  order by request_id, (state = 'cancelled'), made_at desc, id desc
		) current order by lower(nights), request_id`)
}

// change is one entry of the audit trail.
type change struct {
	stay   Stay
	before *Stay
	reason string
}

// author is who changes promises, and when.
type author struct {
	by   string
	at   time.Time
	mint ids.Mint
}

// insertStays makes promises and notes them in the audit trail.
func insertStays(ctx context.Context, tx postgres.Tx, who author, plan ids.PlanID, stays []Stay, reason string) error {
	batch := &pgx.Batch{}
	for _, s := range stays {
		batch.Queue(`
			insert into planner.stay (id, request_id, plan_id, site_id, run_id, trainer_id, nights, state, made_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`,
			s.ID, s.RequestID, plan, s.SiteID, s.RunID, s.TrainerID, s.Nights, s.State, who.at)
		queueChange(batch, who, change{stay: s, reason: reason})
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return stayClash(err)
	}
	return nil
}

// setStayStates changes the state of stays, and notes each change.
func setStayStates(ctx context.Context, tx postgres.Tx, who author, stays []Stay, state, reason string) error {
	batch := &pgx.Batch{}
	for _, s := range stays {
		before := s
		s.State = state
		batch.Queue(`update planner.stay set state = $2 where id = $1`, s.ID, state)
		queueChange(batch, who, change{stay: s, before: &before, reason: reason})
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return stayClash(err)
	}
	return nil
}

func queueChange(batch *pgx.Batch, who author, c change) {
	batch.Queue(`
		insert into planner.stay_change (id, stay_id, changed_at, changed_by, before, after, reason)
		values ($1, $2, $3, $4, $5, $6, $7)`, who.mint(), c.stay.ID, who.at, who.by, c.before, c.stay, c.reason)
}

// stayClash turns what the constraints of planner.stay refuse into words.
func stayClash(err error) error {
	switch name, _ := postgres.Constraint(err); name {
	case "stay_run_nights_excl":
		return apperr.Conflictf("RUN_TAKEN", "two stays would share a run on a night, so nothing was changed: draft the month again").Because(err)
	case "stay_request_live_key":
		return apperr.Conflictf("REQUEST_PLACED_ALREADY", "a request has a live stay already, so nothing was changed: draft the month again").Because(err)
	}
	return fmt.Errorf("write stays: %w", err)
}

// publishState marks a plan published and the one before superseded.
func publishState(ctx context.Context, tx postgres.Tx, plan Plan, who author) error {
	if _, err := tx.Exec(ctx, `update planner.plan set state = 'superseded' where month = $1 and state = 'published'`, plan.Month); err != nil {
		return fmt.Errorf("supersede the published plan of %s: %w", plan.Month, err)
	}
	if _, err := tx.Exec(ctx, `update planner.plan set state = 'published', published_at = $2, published_by = $3 where id = $1`, plan.ID, who.at, who.by); err != nil {
		return fmt.Errorf("publish plan %s: %w", plan.ID, err)
	}
	return nil
}

// holdPublishing makes publishes wait for each other until the end of the transaction.
func holdPublishing(ctx context.Context, tx postgres.Tx) error {
	if _, err := tx.Exec(ctx, `lock table planner.stay in share row exclusive mode`); err != nil {
		return fmt.Errorf("hold other publishing: %w", err)
	}
	return nil
}

// ListGraduations returns the stays of a site that end on the days of span and whose dogs have not gone home, by day and request.
func ListGraduations(ctx context.Context, db postgres.DB, site ids.SiteID, span calendar.Span) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list graduating stays", `
		select `+stayColumns+` from planner.stay
		where site_id = $1 and upper(nights) >= $2 and upper(nights) < $3 and state in ('published', 'confirmed', 'in residence')
		order by upper(nights), request_id`, site, span.From, span.To)
}

// ListArrivals returns the promised stays of a site that begin on the days of span, by day and request.
func ListArrivals(ctx context.Context, db postgres.DB, site ids.SiteID, span calendar.Span) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list arriving stays", `
		select `+stayColumns+` from planner.stay
		where site_id = $1 and lower(nights) >= $2 and lower(nights) < $3 and state in ('published', 'confirmed')
		order by lower(nights), request_id`, site, span.From, span.To)
}

// LiveStays returns the live stay of each of the requests that has one.
func LiveStays(ctx context.Context, db postgres.DB, requests []ids.RequestID) (map[ids.RequestID]Stay, error) {
	stays, err := listLiveOf(ctx, db, requests)
	live := make(map[ids.RequestID]Stay, len(stays))
	for _, s := range stays {
		live[s.RequestID] = s
	}
	return live, err
}
