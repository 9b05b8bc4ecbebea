package dayplan

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
)

// ListAreaUse returns which dogs the live plans of a site's days put into which areas, by day, area and dog.
func ListAreaUse(ctx context.Context, db postgres.DB, site ids.SiteID, days calendar.Span) ([]planner.AreaUse, error) {
	return postgres.List[planner.AreaUse](ctx, db, "list the use of areas", `
		select distinct b.dog_id, b.area_id, p.day from dayplan.plan p join dayplan.block b on b.plan_id = p.id
		where p.site_id = $1 and p.state = 'live' and p.day <@ $2::daterange order by p.day, b.area_id, b.dog_id`, site, days)
}
