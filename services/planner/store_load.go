package planner

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// loadLine is the load of one resource by span of days; spans without anything are absent from the lists.
type loadLine struct {
	SiteID   ids.SiteID `db:"site_id"`
	Resource string     `db:"resource"`
	// Unit is empty for the minutes of all trainers together.
	Unit     string    `db:"unit"`
	Spans    []int32   `db:"spans"`
	Used     []int64   `db:"used"`
	Capacity []int64   `db:"capacity"`
	FullDays []int32   `db:"full_days"`
	Price    []float32 `db:"price"`
}

// listLoad adds a plan's use of every resource but dogs in hand up over spans of length days, which are counted from zero, a day; days
// outside of the month are left out. An absent site is all.
func listLoad(ctx context.Context, db postgres.DB, plan ids.PlanID, days calendar.Span, zero calendar.Date, length int, site ids.SiteID) ([]loadLine, error) {
	return postgres.List[loadLine](ctx, db, "list the load of a plan", `
		with line as materialized (
		  select site_id, resource, unit, day, used, capacity, price, used >= capacity as "full" from planner.use
		  where plan_id = $1 and day >= $2 and day < $3 and resource <> 'trainer dogs' and ($6::uuid is null or site_id = $6)),
		every as (
		  select site_id, resource, unit, day, used, capacity, price, "full" from line
		  union all
		  select site_id, resource, '', day, sum(used), sum(capacity), max(price), sum(used) >= sum(capacity)
		  from line where resource = 'trainer minutes' group by site_id, resource, day),
		cell as (
		  select site_id, resource, unit, (day - $4::date) / $5::int as span, sum(used)::bigint as used, sum(capacity)::bigint as capacity,
		    count(*) filter (where "full")::int as full_days, max(price)::real as price
		  from every group by site_id, resource, unit, span)
		select site_id, resource, unit, array_agg(span order by span) as spans, array_agg(used order by span) as used,
		  array_agg(capacity order by span) as capacity, array_agg(full_days order by span) as full_days, array_agg(price order by span) as price
		from cell group by site_id, resource, unit`, plan, days.From, days.To, zero, length, site)
}
