package planner

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// listPromised returns the stays of requests whose dogs are there or still to come: those in residence first, then by arrival.
func listPromised(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list promised stays", `
		select `+stayColumns+` from planner.stay where request_id = any($1) and state in ('published', 'confirmed', 'in residence')
		order by state <> 'in residence', lower(nights), id`, requests)
}

// listLiveOf returns the live stay of each of the requests that has one, those of dogs gone home included.
func listLiveOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list live stays of requests", `
		select `+stayColumns+` from planner.stay where request_id = any($1) and state in `+liveStates+` order by request_id`, requests)
}

// listLatestOf returns one stay for each of the requests that ever had one: the live one, or else the one that was cancelled last; the latest
// arrival first.
func listLatestOf(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Stay, error) {
	return postgres.List[Stay](ctx, db, "list latest stays of requests", `
		select `+stayColumns+` from (
		  select distinct on (request_id) * from planner.stay where request_id = any($1) and state <> 'replaced'
		  order by request_id, (state = 'cancelled'), made_at desc, id desc
		) latest order by lower(nights) desc, request_id`, requests)
}

// swap is a stay that takes the place of another of the same request.
type swap struct{ from, to Stay }

// replaceStays ends stays and begins those that take their place, which keep the plan they come from. Both ends stand in the audit trail.
func replaceStays(ctx context.Context, tx postgres.Tx, who author, swaps []swap, reason string) error {
	ended := make([]Stay, len(swaps))
	for i, s := range swaps {
		ended[i] = s.from
	}
	// All that end come first: they give up runs that others take.
	if err := setStayStates(ctx, tx, who, ended, StayReplaced, reason); err != nil {
		return err
	}
	batch := &pgx.Batch{}
	for _, s := range swaps {
		batch.Queue(`
			insert into planner.stay (id, request_id, plan_id, site_id, run_id, trainer_id, nights, state, made_at)
			select $2, request_id, plan_id, $3, $4, $5, $6, $7, $8 from planner.stay where id = $1`,
			s.from.ID, s.to.ID, s.to.SiteID, s.to.RunID, s.to.TrainerID, s.to.Nights, s.to.State, who.at)
		queueChange(batch, who, change{stay: s.to, before: &s.from, reason: reason})
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return stayClash(err)
	}
	return nil
}

// stayChange is one entry of the audit trail, as it is read.
type stayChange struct {
	ChangedAt time.Time `db:"changed_at"`
	ChangedBy string    `db:"changed_by"`
	Before    *Stay     `db:"before"`
	After     Stay      `db:"after"`
	Reason    string    `db:"reason"`
}

// listChanges returns the audit trail of the stays of requests, oldest first.
func listChanges(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]stayChange, error) {
	return postgres.List[stayChange](ctx, db, "list changes of stays", `
		select c.changed_at, c.changed_by, c.before, c.after, c.reason
		from planner.stay_change c join planner.stay s on s.id = c.stay_id
		where s.request_id = any($1) order by c.changed_at, c.id`, requests)
}
