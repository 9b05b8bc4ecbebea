package planner

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// verdict is what a plan made of a request.
type verdict struct {
	RequestID ids.RequestID  `db:"request_id"`
	PlanID    ids.PlanID     `db:"plan_id"`
	Month     calendar.Month `db:"month"`
	Number    int            `db:"number"`
	State     string         `db:"state"`
	Placed    bool           `db:"placed"`
	SiteID    *ids.SiteID    `db:"site_id"`
	// Nights are those of the placement; the zero Span when it waits.
	Nights calendar.Span `db:"nights"`
	Hard   bool          `db:"hard"`
	Reason string        `db:"reason"`
	Remedy string        `db:"remedy"`
	// Changes would have let it in.
	Changes []Change `db:"changes"`
}

// listVerdicts returns what the newest plan that looked at each of the requests made of it. Of each month the newest draft or published plan is
// looked at.
func listVerdicts(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]verdict, error) {
	return postgres.List[verdict](ctx, db, "list what plans made of requests", `
		with plans as (
		  select distinct on (month) id, month, number, state, made_at from planner.plan
		  where state in ('draft', 'published') order by month, made_at desc, number desc),
		known as (
		  select p.*, l.request_id, true as placed, l.site_id, l.nights, false as hard, '' as reason, '' as remedy, '[]'::jsonb as changes
		  from plans p join planner.placement l on l.plan_id = p.id where l.request_id = any($1)
		  union all
		  select p.*, w.request_id, false, null, 'empty'::daterange, w.hard, w.reason, w.remedy, coalesce(w.refusals -> 'changes', '[]')
		  from plans p join planner.wait w on w.plan_id = p.id where w.request_id = any($1))
		select distinct on (request_id) request_id, id as plan_id, month, number, state, placed, site_id, nights::text as nights, hard, reason, remedy, changes
		from known order by request_id, made_at desc, number desc`, requests)
}

// ListPromisedRequests returns the requests that have a live stay, of dogs gone home too.
func ListPromisedRequests(ctx context.Context, db postgres.DB) ([]ids.RequestID, error) {
	type row struct {
		ID ids.RequestID `db:"request_id"`
	}
	rows, err := postgres.List[row](ctx, db, "list promised requests", `select request_id from planner.stay where state in `+liveStates)
	found := make([]ids.RequestID, len(rows))
	for i, r := range rows {
		found[i] = r.ID
	}
	return found, err
}
