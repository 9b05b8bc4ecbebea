package planner

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// loadLine is the use of one resource by day; days without anything are absent, and days are in no order.
type loadLine struct {
	SiteID   ids.SiteID `db:"site_id"`
	Resource string     `db:"resource"`
	Unit     string     `db:"unit"`
	// Days are counted from the first of the month.
	Days     []int32   `db:"days"`
	Used     []int32   `db:"used"`
	Capacity []int32   `db:"capacity"`
	Price    []float32 `db:"price"`
}

// listLoad returns a plan's use of every resource but dogs in hand on the days of its month, a row for each resource: days are added up
// by whoever asks, since sums over days and over trainers need them one by one. An absent site is all.
func listLoad(ctx context.Context, db postgres.DB, plan ids.PlanID, days calendar.Span, site ids.SiteID) ([]loadLine, error) {
	where, args := `plan_id = $1`, []any{plan, days.From, days.To}
	if !site.IsZero() {
		where, args = where+` and site_id = $4`, append(args, site) // so that the key finds the site's rows
	}
	return postgres.List[loadLine](ctx, db, "list the load of a plan", `
		select site_id, resource, unit, array_agg(day - $2::date) as days, array_agg(used) as used, array_agg(capacity) as capacity, array_agg(price::real) as price
		from planner.use where `+where+` and day >= $2 and day < $3 and resource <> 'trainer dogs'
		group by site_id, resource, unit`, args...)
}
