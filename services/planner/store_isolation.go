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

const isolationColumns = `id, request_id, stay_id, site_id, run_id, days::text as days, suspected, reason, made_at, made_by, ended_at, ended_by, end_reason`

// readHealthRules returns the rules of a site, or the defaults.
func readHealthRules(ctx context.Context, db postgres.DB, site ids.SiteID) (HealthRules, error) {
	rules, err := postgres.One[HealthRules](ctx, db, "read the health rules of a site", `
		select site_id, isolation_days, watch_days, distemper_watch_days, hold_days, hold_scope, note from planner.health_setting where site_id = $1`, site)
	if postgres.NoRows(err) {
		rules = DefaultHealthRules()
		rules.SiteID = site
		return rules, nil
	}
	return rules, err
}

// listHealthRules returns the rules of the sites that have set some.
func listHealthRules(ctx context.Context, db postgres.DB) ([]HealthRules, error) {
	return postgres.List[HealthRules](ctx, db, "list health rules", `
		select site_id, isolation_days, watch_days, distemper_watch_days, hold_days, hold_scope, note from planner.health_setting order by site_id`)
}

func putHealthRules(ctx context.Context, tx postgres.Tx, all []HealthRules) error {
	batch := &pgx.Batch{}
	for _, r := range all {
		batch.Queue(`
			insert into planner.health_setting (site_id, isolation_days, watch_days, distemper_watch_days, hold_days, hold_scope, note)
			values ($1, $2, $3, $4, $5, $6, $7)
			on conflict on constraint health_setting_pkey do update set isolation_days = excluded.isolation_days, watch_days = excluded.watch_days,
			  distemper_watch_days = excluded.distemper_watch_days, hold_days = excluded.hold_days, hold_scope = excluded.hold_scope, note = excluded.note`,
			r.SiteID, r.IsolationDays, r.WatchDays, r.DistemperWatchDays, r.HoldDays, r.HoldScope, r.Note)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("put %d health rules: %w", len(all), err)
	}
	return nil
}

// listIsolations returns the isolations of a site, by first day.
func listIsolations(ctx context.Context, db postgres.DB, site ids.SiteID) ([]Isolation, error) {
	return postgres.List[Isolation](ctx, db, "list isolations", `
		select `+isolationColumns+` from planner.isolation where site_id = $1 order by lower(days), id`, site)
}

// IsolatedOn returns the dogs that are isolated at a site on a day, by request. On the last day, on which it may come out, a dog is
// isolated no more.
func IsolatedOn(ctx context.Context, db postgres.DB, site ids.SiteID, day calendar.Date) ([]Isolation, error) {
	return postgres.List[Isolation](ctx, db, "list who is isolated", `
		select `+isolationColumns+` from planner.isolation where site_id = $1 and days @> $2::date order by request_id`, site, day)
}

// WatchedOn returns the dogs that are watched at a site on a day, since they were near one that was isolated, by isolation and request. A dog
// that was near two stands there twice.
func WatchedOn(ctx context.Context, db postgres.DB, site ids.SiteID, day calendar.Date) ([]Watch, error) {
	return postgres.List[Watch](ctx, db, "list who is watched", `
		select w.isolation_id, w.request_id, w.days::text as days, w.because
		from planner.contact_watch w join planner.isolation i on i.id = w.isolation_id
		where i.site_id = $1 and w.days @> $2::date order by w.isolation_id, w.request_id`, site, day)
}

// listHolds returns the intake holds of all sites that touch some days, in a fixed order.
func listHolds(ctx context.Context, db postgres.DB, days calendar.Span) ([]IntakeHold, error) {
	return postgres.List[IntakeHold](ctx, db, "list intake holds", `
		select isolation_id, site_id, row_name, days::text as days from planner.intake_hold where days && $1::daterange order by isolation_id`, days)
}

// insertIsolation stores an isolation with its watch list and hold, and notes it in the audit trail of the stay.
func insertIsolation(ctx context.Context, tx postgres.Tx, who author, stay Stay, i Isolation, p IsolationPlan) error {
	batch := &pgx.Batch{}
	batch.Queue(`
		insert into planner.isolation (id, request_id, stay_id, site_id, run_id, days, planned_days, suspected, reason, made_at, made_by)
		values ($1, $2, $3, $4, $5, $6, $6, $7, $8, $9, $10)`, i.ID, i.RequestID, i.StayID, i.SiteID, i.RunID, i.Days, i.Suspected, i.Reason, i.MadeAt, i.MadeBy)
	for _, c := range p.Watch {
		batch.Queue(`insert into planner.contact_watch (isolation_id, request_id, days, because) values ($1, $2, $3, $4)`, i.ID, c.RequestID, c.Days, c.Because)
	}
	if !p.Hold.Days.IsEmpty() {
		batch.Queue(`insert into planner.intake_hold (isolation_id, site_id, row_name, days) values ($1, $2, $3, $4)`, i.ID, p.Hold.SiteID, p.Hold.Row, p.Hold.Days)
	}
	queueChange(batch, who, change{stay: stay, before: &stay, reason: fmt.Sprintf("isolated in run %s from %s to %s: %s", p.RunCode, i.Days.From, i.Days.To, i.Reason)})
	return isolationClash(tx.SendBatch(ctx, batch).Close())
}

// isolationClash turns what the constraints of planner.isolation refuse into words.
func isolationClash(err error) error {
	if err == nil {
		return nil
	}
	switch name, _ := postgres.Constraint(err); name {
	case "isolation_run_days_excl":
		return apperr.Conflictf("ISOLATION_RUN_TAKEN", "the isolation run is taken on one of these nights, so nothing was changed: preview it again").Because(err)
	case "isolation_request_days_excl":
		return apperr.Conflictf("ISOLATED_ALREADY", "the dog is isolated already on one of these days, so nothing was changed: `longlead mend list` shows until when").Because(err)
	}
	return fmt.Errorf("write an isolation: %w", err)
}

// findIsolation returns the isolation of a dog that holds a day or the night before it, and locks it, or NotFound.
func findIsolation(ctx context.Context, tx postgres.Tx, stay Stay, day calendar.Date, code string) (Isolation, error) {
	found, err := postgres.One[Isolation](ctx, tx, "find an isolation", `
		select `+isolationColumns+` from planner.isolation where request_id = $1 and lower(days) < $2 and upper(days) >= $2
		order by lower(days) desc limit 1 for update`, stay.RequestID, day)
	if postgres.NoRows(err) {
		return found, apperr.NotFoundf("NOT_ISOLATED", "%s is in no isolation that began before %s and lasts until then: `longlead mend list` shows who is", code, day)
	}
	return found, err
}

// endIsolation lets a dog out on a day. With lift its watch list and intake hold end on that day too.
func endIsolation(ctx context.Context, tx postgres.Tx, who author, stay Stay, i Isolation, day calendar.Date, reason string, lift bool) error {
	batch := &pgx.Batch{}
	batch.Queue(`update planner.isolation set days = daterange(lower(days), $2::date), ended_at = $3, ended_by = $4, end_reason = $5 where id = $1`, i.ID, day, who.at, who.by, reason)
	if lift {
		for _, table := range []string{"planner.contact_watch", "planner.intake_hold"} {
			batch.Queue(`update `+table+` set days = daterange(lower(days), least(upper(days), $2::date)) where isolation_id = $1 and lower(days) < $2`, i.ID, day)
		}
	}
	queueChange(batch, who, change{stay: stay, before: &stay, reason: fmt.Sprintf("out of isolation on %s: %s", day, reason)})
	return isolationClash(tx.SendBatch(ctx, batch).Close())
}
