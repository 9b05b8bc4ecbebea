package planner

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// loadLine is the use of one resource, with a value for each day of the month.
type loadLine struct {
	SiteID   ids.SiteID `db:"site_id"`
	Resource string     `db:"resource"`
	Unit     string     `db:"unit"`
	Used     []int32    `db:"used"`
	Capacity []int32    `db:"capacity"`
	Price    []float32  `db:"price"`
}

// keepLoad writes what pages read of a plan's uses, which must be there.
func keepLoad(ctx context.Context, tx postgres.Tx, plan ids.PlanID, month calendar.Span) error {
	_, err := tx.Exec(ctx, `
		insert into planner.load (plan_id, site_id, resource, unit, used, capacity, price)
		select $1, k.site_id, k.resource, k.unit, array_agg(coalesce(u.used, 0) order by d), array_agg(coalesce(u.capacity, 0) order by d), array_agg(coalesce(u.price, 0)::real order by d)
		from (select distinct site_id, resource, unit from planner.use where plan_id = $1) k
		cross join generate_series(0, $3::date - $2::date - 1) d
		left join planner.use u on (u.plan_id, u.site_id, u.resource, u.unit, u.day) = ($1, k.site_id, k.resource, k.unit, $2::date + d)
		group by k.site_id, k.resource, k.unit`, plan, month.From, month.To)
	if err != nil {
		return fmt.Errorf("keep the load of plan %s: %w", plan, err)
	}
	return nil
}

// listLoad returns a plan's use of every resource but dogs in hand on the days of its month, a row for each resource: days are added up
// by whoever asks, since sums over days and over trainers need them one by one. An absent site is all.
func listLoad(ctx context.Context, db postgres.DB, plan ids.PlanID, site ids.SiteID) ([]loadLine, error) {
	where, args := `plan_id = $1`, []any{plan}
	if !site.IsZero() {
		where, args = where+` and site_id = $2`, append(args, site)
	}
	return postgres.List[loadLine](ctx, db, "list the load of a plan", `
		select site_id, resource, unit, used, capacity, price from planner.load where `+where+` and resource <> 'trainer dogs'`, args...)
}
