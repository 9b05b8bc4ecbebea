package enrollment

import (
	"context"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// Brief is what a list shows of a request.
type Brief struct {
	ID      ids.RequestID `db:"id"`
	Code    string        `db:"code"`
	DogCode string        `db:"dog_code"`
	DogName string        `db:"dog_name"`
	// Window holds the possible arrival days; To is the day after the last of them.
	Window calendar.Span `db:"window_days"`
	// Sites are those that the owner accepts, in order of their IDs.
	Sites []ids.SiteID `db:"-"`
}

// ListBriefs returns what a list shows of these requests, by code, in two statements. One that is unknown is absent.
func ListBriefs(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Brief, error) {
	briefs, err := postgres.List[Brief](ctx, db, "list requests in brief", `
		select r.id, r.code, d.code as dog_code, d.name as dog_name, r.window_days::text as window_days
		from enrollment.request r join enrollment.dog d on d.id = r.dog_id where r.id = any($1) order by r.code`, requests)
	if err != nil {
		return nil, err
	}
	sites, err := postgres.List[requestSite](ctx, db, "list sites of requests in brief", `
		select request_id, site_id, travel_minutes from enrollment.request_site where request_id = any($1) order by request_id, site_id`, requests)
	at := make(map[ids.RequestID]int, len(briefs))
	for i, b := range briefs {
		at[b.ID] = i
	}
	for _, s := range sites {
		b := &briefs[at[s.RequestID]]
		b.Sites = append(b.Sites, s.SiteID)
	}
	return briefs, err
}

// Pick returns those of these requests whose code, dog's code, dog's name or owner's name holds a text, in small or large letters, and
// those whose owner accepts a site. An empty text, and an absent site, pick none.
func Pick(ctx context.Context, db postgres.DB, requests []ids.RequestID, find string, site ids.SiteID) (named, accepting []ids.RequestID, err error) {
	type row struct {
		Named     [][16]byte `db:"named"`
		Accepting [][16]byte `db:"accepting"`
	}
	found, err := postgres.One[row](ctx, db, "pick requests", `
		select coalesce(array_agg(id) filter (where named), '{}') as named, coalesce(array_agg(id) filter (where accepts), '{}') as accepting
		from (
		  select r.id, $2 <> '' and strpos(lower(concat_ws(e'\n', r.code, d.code, d.name, o.name)), lower($2)) > 0 as named,
		    exists (select from enrollment.request_site s where s.request_id = r.id and s.site_id = $3) as accepts
		  from enrollment.request r join enrollment.dog d on d.id = r.dog_id join enrollment.owner o on o.id = d.owner_id
		  where r.id in (select unnest($1::uuid[]))) known`, ids.Raw(requests), find, site)
	return ids.OfRaw[ids.RequestID](found.Named), ids.OfRaw[ids.RequestID](found.Accepting), err
}

// CountBySite counts for each site the requests of both lists together whose owners accept it, and those of the second list.
func CountBySite(ctx context.Context, db postgres.DB, placed, waiting []ids.RequestID) (all, waits map[ids.SiteID]int, err error) {
	type row struct {
		SiteID ids.SiteID `db:"site_id"`
		All    int        `db:"all_of_them"`
		Waits  int        `db:"waits"`
	}
	rows, err := postgres.List[row](ctx, db, "count requests by site", `
		select s.site_id, count(*)::int as all_of_them, count(*) filter (where a.waits)::int as waits
		from (select unnest($1::uuid[]) as id, false as waits union all select unnest($2::uuid[]), true) a
		join enrollment.request_site s on s.request_id = a.id group by s.site_id`, ids.Raw(placed), ids.Raw(waiting))
	all, waits = map[ids.SiteID]int{}, map[ids.SiteID]int{}
	for _, r := range rows {
		all[r.SiteID], waits[r.SiteID] = r.All, r.Waits
	}
	return all, waits, err
}
