package planner

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Kinds of requests that a page lists; empty is all.
const (
	plannedPlaced  = "placed"
	plannedWaiting = "waiting"
	plannedMoved   = "moved"
	plannedDropped = "dropped"
)

// plannedFilter picks requests of a plan. Named and accepting are what enrollment picked by a text and by a site; whoever sets neither
// byText nor site need not fill them.
type plannedFilter struct {
	plan      ids.PlanID
	which     string
	byText    bool
	named     []ids.RequestID
	site      ids.SiteID
	accepting []ids.RequestID
}

// planned is a request of a plan, placed or waiting; see Planned in the proto.
type planned struct {
	RequestID  ids.RequestID `db:"request_id"`
	Placed     bool          `db:"placed"`
	SiteID     ids.SiteID    `db:"site_id"`
	RunID      ids.RunID     `db:"run_id"`
	TrainerID  ids.TrainerID `db:"trainer_id"`
	Arrival    calendar.Date `db:"arrival"`
	Graduation calendar.Date `db:"graduation"`
	Value      int64         `db:"value"`
	Standing   string        `db:"standing"`
	Hard       bool          `db:"hard"`
	Reason     string        `db:"reason"`
	Remedy     string        `db:"remedy"`
	Pinned     bool          `db:"pinned"`
}

// pickPlanned is a plan's requests, and those of them that a filter picks.
const pickPlanned = `
	with part as (
	  select request_id, request_code, true as placed, site_id, run_id, trainer_id, lower(nights) as arrival, upper(nights) as graduation,
	    value, standing, false as hard, '' as reason, '' as remedy
	  from planner.placement where plan_id = $1
	  union all
	  select request_id, request_code, false, null, null, null, null, null, 0,
	    case when exists (select from planner.stay s where s.request_id = w.request_id and s.state = 'published') then 'dropped' else '' end, hard, reason, remedy
	  from planner.wait w where plan_id = $1),
	picked as (
	  select * from part
	  where case $2 when 'placed' then placed when 'waiting' then not placed when 'moved' then standing = 'moved' when 'dropped' then standing = 'dropped' else true end
	    and (not $3::boolean or request_id in (select unnest($4::uuid[])))
	    and ($5::uuid is null or site_id = $5 or not placed and request_id in (select unnest($6::uuid[]))))`

func (f plannedFilter) args(more ...any) []any {
	return append([]any{f.plan, f.which, f.byText, ids.Raw(f.named), f.site, ids.Raw(f.accepting)}, more...)
}

// plannedTotals counts a plan's requests, and those that a filter picks.
type plannedTotals struct {
	All      int `db:"all_of_them"`
	Placed   int `db:"placed"`
	Waiting  int `db:"waiting"`
	Hard     int `db:"hard"`
	Moved    int `db:"moved"`
	Matching int `db:"matching"`
	Fresh    int `db:"fresh"`
	Kept     int `db:"kept"`
	Dropped  int `db:"dropped"`
	Standing int `db:"standing"`
}

func countPlanned(ctx context.Context, db postgres.DB, f plannedFilter) (plannedTotals, error) {
	return postgres.One[plannedTotals](ctx, db, "count the requests of a plan", pickPlanned+`
		select count(*)::int as all_of_them, count(*) filter (where placed)::int as placed, count(*) filter (where not placed)::int as waiting,
		  count(*) filter (where hard)::int as hard, count(*) filter (where standing = 'moved')::int as moved,
		  count(*) filter (where standing = 'new')::int as fresh, count(*) filter (where standing = 'kept')::int as kept,
		  count(*) filter (where standing = 'dropped')::int as dropped, count(*) filter (where standing in ('confirmed', 'in residence'))::int as standing,
		  (select count(*) from picked)::int as matching from part`, f.args()...)
}

// listPlanned returns one page: those placed by site, in the order of sites, arrival and code, then those that wait by code.
func listPlanned(ctx context.Context, db postgres.DB, f plannedFilter, sites []ids.SiteID, limit, offset int) ([]planned, error) {
	return postgres.List[planned](ctx, db, "list the requests of a plan", pickPlanned+`,
		page as (select * from picked order by placed desc, array_position($7::uuid[], site_id), arrival, request_code limit $8 offset $9)
		select request_id, placed, site_id, run_id, trainer_id, arrival, graduation, value, standing, hard, reason, remedy,
		  exists (select from planner.pin p where p.request_id = page.request_id and p.ended_at is null) as pinned
		from page order by placed desc, array_position($7::uuid[], site_id), arrival, request_code`, f.args(sites, limit, offset)...)
}

// listRequestsOf returns the requests that a plan places and those that wait.
func listRequestsOf(ctx context.Context, db postgres.DB, plan ids.PlanID) (placed, waiting []ids.RequestID, err error) {
	type row struct {
		Placed  [][16]byte `db:"placed"`
		Waiting [][16]byte `db:"waiting"`
	}
	found, err := postgres.One[row](ctx, db, "list the requests of a plan by ID", `
		select array(select request_id from planner.placement where plan_id = $1) as placed, array(select request_id from planner.wait where plan_id = $1) as waiting`, plan)
	return ids.OfRaw[ids.RequestID](found.Placed), ids.OfRaw[ids.RequestID](found.Waiting), err
}

// siteSum is what a plan's placements or long days at one site add up to.
type siteSum struct {
	SiteID ids.SiteID `db:"site_id"`
	Number int        `db:"number"`
	Value  int64      `db:"value"`
}

func sumPlacements(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]siteSum, error) {
	return postgres.List[siteSum](ctx, db, "sum placements by site", `
		select site_id, count(*)::int as number, sum(value)::bigint as value from planner.placement where plan_id = $1 group by site_id`, plan)
}

func sumLongDays(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]siteSum, error) {
	return postgres.List[siteSum](ctx, db, "sum long days by site", `
		select site_id, count(*)::int as number, sum(points)::bigint as value from planner.long_day where plan_id = $1 group by site_id`, plan)
}

// useSum is the use of one resource of a site, summed over units and days.
type useSum struct {
	SiteID   ids.SiteID `db:"site_id"`
	Resource string     `db:"resource"`
	Used     int64      `db:"used"`
	Capacity int64      `db:"capacity"`
}

func sumUses(ctx context.Context, db postgres.DB, plan ids.PlanID) ([]useSum, error) {
	return postgres.List[useSum](ctx, db, "sum uses by site", `
		select site_id, resource, sum((select sum(n) from unnest(used) n))::bigint as used, sum((select sum(n) from unnest(capacity) n))::bigint as capacity
		from planner.load where plan_id = $1 and resource in ('runs', 'trainer minutes', 'intake places', 'handover places') group by site_id, resource`, plan)
}

// listPlacementsOf returns a plan's placements of some requests.
func listPlacementsOf(ctx context.Context, db postgres.DB, plan ids.PlanID, requests []ids.RequestID) ([]Placement, error) {
	return postgres.List[Placement](ctx, db, "list placements of requests", `
		select `+placementColumns+` from planner.placement where plan_id = $1 and request_id = any($2) order by request_code`, plan, requests)
}

// findOfRequest returns what a plan says of one request: a placement, a wait, or neither.
func findOfRequest(ctx context.Context, db postgres.DB, plan ids.PlanID, code string) ([]Placement, []Wait, error) {
	placements, err := postgres.List[Placement](ctx, db, "find a placement by its request", `
		select `+placementColumns+` from planner.placement where plan_id = $1 and request_code = $2`, plan, code)
	if err != nil || len(placements) > 0 {
		return placements, nil, err
	}
	waits, err := postgres.List[Wait](ctx, db, "find a wait by its request", `
		select plan_id, request_id, request_code, hard, reason, remedy, refusals from planner.wait where plan_id = $1 and request_code = $2`, plan, code)
	return nil, waits, err
}

// findPublished returns the published plan of a month, or NotFound.
func findPublished(ctx context.Context, db postgres.DB, month calendar.Month) (Plan, error) {
	plan, err := postgres.One[Plan](ctx, db, "find the published plan of "+month.String(), `
		select `+planColumns+` from planner.plan where month = $1 and state = 'published'`, month)
	if postgres.NoRows(err) {
		return plan, apperr.NotFoundf("NOTHING_PUBLISHED", "no plan of %s is published: name a draft, or publish one", month)
	}
	return plan, err
}

// differing counts the requests that two plans place otherwise.
type differing struct {
	All        int `db:"all_of_them"`
	FirstOnly  int `db:"first_only"`
	SecondOnly int `db:"second_only"`
}

// compareTwo is the requests that two plans place otherwise: at another site or day, in another run, with another trainer, or in one only.
const compareTwo = `
	with differs as (
	  select coalesce(a.request_id, b.request_id) as request_id, coalesce(a.request_code, b.request_code) as request_code,
	    b.request_id is null as first_only, a.request_id is null as second_only
	  from (select * from planner.placement where plan_id = $1) a
	  full join (select * from planner.placement where plan_id = $2) b on b.request_id = a.request_id
	  where (a.site_id, lower(a.nights), a.run_id, a.trainer_id) is distinct from (b.site_id, lower(b.nights), b.run_id, b.trainer_id))`

func countDiffering(ctx context.Context, db postgres.DB, first, second ids.PlanID) (differing, error) {
	return postgres.One[differing](ctx, db, "count differences", compareTwo+`
		select count(*)::int as all_of_them, count(*) filter (where first_only)::int as first_only,
		  count(*) filter (where second_only)::int as second_only from differs`, first, second)
}

// listDiffering returns one page of them by code; limit 0 is all.
func listDiffering(ctx context.Context, db postgres.DB, first, second ids.PlanID, limit, offset int) ([]ids.RequestID, error) {
	type row struct {
		ID ids.RequestID `db:"request_id"`
	}
	rows, err := postgres.List[row](ctx, db, "list differences", compareTwo+`
		select request_id from differs order by request_code limit nullif($3::int, 0) offset $4`, first, second, limit, offset)
	found := make([]ids.RequestID, len(rows))
	for i, r := range rows {
		found[i] = r.ID
	}
	return found, err
}
