package facility

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
)

// ListSites returns every site by code.
func ListSites(ctx context.Context, db postgres.DB) ([]Site, error) {
	return postgres.List[Site](ctx, db, "list sites", `
		select id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days, rules_note,
		       heat_closed_f, heat_sensitive_f
		from facility.site order by code`)
}

// FindSite returns the site with a code. It returns NotFound when there is none.
func FindSite(ctx context.Context, db postgres.DB, code string) (Site, error) {
	site, err := postgres.One[Site](ctx, db, "find site "+code, `
		select id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days, rules_note,
		       heat_closed_f, heat_sensitive_f
		from facility.site where code = $1`, code)
	if postgres.NoRows(err) {
		return Site{}, apperr.NotFoundf("SITE_UNKNOWN", "there is no site with the code %q: `longlead export sites` lists them", code)
	}
	return site, err
}

// putSites inserts sites, or updates those whose code is known.
func putSites(ctx context.Context, tx postgres.Tx, sites []Site) error {
	_, err := tx.Exec(ctx, `
		insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days, rules_note,
		       heat_closed_f, heat_sensitive_f)
		select id, code, name, zone, rabies_waiting_days,
		       array(select jsonb_array_elements_text(required_vaccines)), floor_percent, clean_down_days, rules_note,
		       coalesce(heat_closed_f, 0), coalesce(heat_sensitive_f, 0)
		from jsonb_to_recordset($1) as r(id uuid, code text, name text, zone text, rabies_waiting_days int,
		     required_vaccines jsonb, floor_percent int, clean_down_days int, rules_note text, heat_closed_f int, heat_sensitive_f int)
		on conflict (code) do update set name = excluded.name, zone = excluded.zone,
		  rabies_waiting_days = excluded.rabies_waiting_days, required_vaccines = excluded.required_vaccines,
		  floor_percent = excluded.floor_percent, clean_down_days = excluded.clean_down_days, rules_note = excluded.rules_note,
		  heat_closed_f = excluded.heat_closed_f, heat_sensitive_f = excluded.heat_sensitive_f`, sites)
	if err != nil {
		return fmt.Errorf("put %d sites: %w", len(sites), err)
	}
	return nil
}

// SiteCodes maps the code of each site to its ID.
func SiteCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list codes", `select code, id from facility.site`)
}

// ListRuns returns every run with its closures, by site and code.
func ListRuns(ctx context.Context, db postgres.DB) ([]Run, error) {
	runs, err := postgres.List[Run](ctx, db, "list runs", `
		select r.id, r.site_id, r.code, r.row_name, r.length_mm, r.width_mm, r.height_mm, r.isolation
		from facility.run r join facility.site s on s.id = r.site_id
		order by s.code, length(r.code), r.code`)
	if err != nil {
		return nil, err
	}
	closures, err := listClosures(ctx, db)
	if err != nil {
		return nil, err
	}
	at := make(map[ids.RunID]int, len(runs))
	for i, run := range runs {
		at[run.ID] = i
	}
	for _, c := range closures {
		i := at[c.RunID]
		runs[i].Closures = append(runs[i].Closures, c)
	}
	return runs, nil
}

// listClosures reads days as a text because pgx hands ranges to a Scanner in their binary form.
func listClosures(ctx context.Context, db postgres.DB) ([]Closure, error) {
	return postgres.List[Closure](ctx, db, "list closures", `
		select id, run_id, days::text as days, reason from facility.closure order by run_id, lower(days)`)
}

func putRuns(ctx context.Context, tx postgres.Tx, runs []Run) error {
	_, err := tx.Exec(ctx, `
		insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
		select id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation
		from jsonb_to_recordset($1) as r(id uuid, site_id uuid, code text, row_name text, length_mm int, width_mm int,
		     height_mm int, isolation boolean)
		on conflict on constraint run_site_code_key do update set row_name = excluded.row_name, length_mm = excluded.length_mm,
		  width_mm = excluded.width_mm, height_mm = excluded.height_mm, isolation = excluded.isolation`, runs)
	if err != nil {
		return fmt.Errorf("put %d runs: %w", len(runs), err)
	}
	return nil
}

// RunCodes maps "site/run" to the ID of each run.
func RunCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list codes", `select s.code || '/' || r.code, r.id from facility.run r join facility.site s on s.id = r.site_id`)
}

// insertClosure adds a closure. A day on which the run is closed already is a Conflict.
func insertClosure(ctx context.Context, tx postgres.Tx, c Closure) error {
	_, err := tx.Exec(ctx, `insert into facility.closure (id, run_id, days, reason) values ($1, $2, $3, $4)`,
		c.ID, c.RunID, c.Days, c.Reason)
	if name, _ := postgres.Constraint(err); name == "closure_run_days_excl" {
		return apperr.Conflictf("RUN_CLOSED_ALREADY", "a run is closed already on a day from %s to %s: reopen it first, or name other days",
			c.Days.From, c.Days.To.AddDays(-1)).Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert closure: %w", err)
	}
	return nil
}

// putClosures writes closures; one with the same run and first day is replaced. A closure that overlaps another of its run is
// told as wrong and not written.
func putClosures(ctx context.Context, tx postgres.Tx, rows []records.Row, closures []Closure) ([]records.Wrong, error) {
	known, err := listClosures(ctx, tx)
	if err != nil {
		return nil, err
	}
	fits, wrong := records.PlaceDated(rows, datedClosures(known), datedClosures(closures), "closure", "run")
	before := map[ids.RunID]map[calendar.Date]ids.ClosureID{}
	for _, k := range known {
		if before[k.RunID] == nil {
			before[k.RunID] = map[calendar.Date]ids.ClosureID{}
		}
		before[k.RunID][k.Days.From] = k.ID
	}
	deletes, inserts := &pgx.Batch{}, &pgx.Batch{}
	for _, i := range fits {
		c := closures[i]
		if id, replaces := before[c.RunID][c.Days.From]; replaces {
			c.ID = id
		}
		deletes.Queue(`delete from facility.closure where run_id = $1 and lower(days) = $2`, c.RunID, c.Days.From)
		inserts.Queue(`insert into facility.closure (id, run_id, days, reason) values ($1, $2, $3, $4)`, c.ID, c.RunID, c.Days, c.Reason)
	}
	// All deletes go first: a new closure may take days that a replaced one gives up.
	for _, batch := range []*pgx.Batch{deletes, inserts} {
		if err := tx.SendBatch(ctx, batch).Close(); err != nil {
			return nil, fmt.Errorf("put %d closures: %w", len(fits), err)
		}
	}
	return wrong, nil
}

func datedClosures(closures []Closure) []records.Dated[ids.RunID] {
	out := make([]records.Dated[ids.RunID], len(closures))
	for i, c := range closures {
		out[i] = records.Dated[ids.RunID]{Owner: c.RunID, Days: c.Days}
	}
	return out
}

// endClosure shortens a closure to end before a day, or lifts it. It returns NotFound for an unknown closure.
func endClosure(ctx context.Context, tx postgres.Tx, id ids.ClosureID, open calendar.Date) error {
	shortened, err := tx.Exec(ctx, `
		update facility.closure set days = daterange(lower(days), least(upper(days), $2::date)) where id = $1 and lower(days) < $2`, id, open)
	if err != nil {
		return fmt.Errorf("shorten closure %s: %w", id, err)
	}
	if shortened.RowsAffected() == 1 {
		return nil
	}
	lifted, err := tx.Exec(ctx, `delete from facility.closure where id = $1`, id)
	if err != nil {
		return fmt.Errorf("lift closure %s: %w", id, err)
	}
	if lifted.RowsAffected() == 0 {
		return apperr.NotFoundf("CLOSURE_UNKNOWN", "there is no closure %s: the list of runs shows the closures with their IDs", id)
	}
	return nil
}

// ListAreas returns every training area, by site and code.
func ListAreas(ctx context.Context, db postgres.DB) ([]Area, error) {
	return postgres.List[Area](ctx, db, "list areas", `
		select a.id, a.site_id, a.code, a.kind, a.dogs_at_once, a.outdoors
		from facility.area a join facility.site s on s.id = a.site_id order by s.code, a.code`)
}

func putAreas(ctx context.Context, tx postgres.Tx, areas []Area) error {
	_, err := tx.Exec(ctx, `
		insert into facility.area (id, site_id, code, kind, dogs_at_once, outdoors)
		select id, site_id, code, kind, dogs_at_once, outdoors
		from jsonb_to_recordset($1) as r(id uuid, site_id uuid, code text, kind text, dogs_at_once int, outdoors boolean)
		on conflict on constraint area_site_code_key do update
		set kind = excluded.kind, dogs_at_once = excluded.dogs_at_once, outdoors = excluded.outdoors`, areas)
	if err != nil {
		return fmt.Errorf("put %d areas: %w", len(areas), err)
	}
	return nil
}

// weekdayPlaces is a row of facility.places.
type weekdayPlaces struct {
	SiteID   ids.SiteID `db:"site_id" json:"site_id"`
	Weekday  int        `db:"weekday" json:"weekday"`
	Intake   int        `db:"intake" json:"intake"`
	Handover int        `db:"handover" json:"handover"`
}

// dayException is a row of facility.places_exception.
type dayException struct {
	SiteID   ids.SiteID    `db:"site_id" json:"site_id"`
	Day      calendar.Date `db:"day" json:"day"`
	Intake   int           `db:"intake" json:"intake"`
	Handover int           `db:"handover" json:"handover"`
	Note     string        `db:"note" json:"note"`
}

// ListPlaces returns, for each site, the places of every day of span in order. A weekday without an entry has none.
// An empty span gives nothing.
func ListPlaces(ctx context.Context, db postgres.DB, span calendar.Span) (map[ids.SiteID][]DayPlaces, error) {
	if span.IsEmpty() {
		return nil, nil
	}
	sites, err := SiteCodes(ctx, db)
	if err != nil {
		return nil, err
	}
	weekdays, err := listWeekdayPlaces(ctx, db)
	if err != nil {
		return nil, err
	}
	exceptions, err := listExceptions(ctx, db, span)
	if err != nil {
		return nil, err
	}
	type siteWeekday struct {
		site    ids.SiteID
		weekday int
	}
	usual := map[siteWeekday]weekdayPlaces{}
	for _, w := range weekdays {
		usual[siteWeekday{w.SiteID, w.Weekday}] = w
	}
	places := map[ids.SiteID][]DayPlaces{}
	for _, id := range sites {
		site, days := ids.SiteID(id), make([]DayPlaces, 0, span.Nights())
		for day := range span.Dates() {
			w := usual[siteWeekday{site, day.ISOWeekday()}]
			days = append(days, DayPlaces{Day: day, Intake: w.Intake, Handover: w.Handover})
		}
		places[site] = days
	}
	for _, e := range exceptions {
		places[e.SiteID][e.Day.Sub(span.From)] = DayPlaces{Day: e.Day, Intake: e.Intake, Handover: e.Handover, Note: e.Note}
	}
	return places, nil
}

func listWeekdayPlaces(ctx context.Context, db postgres.DB) ([]weekdayPlaces, error) {
	return postgres.List[weekdayPlaces](ctx, db, "list places", `
		select p.site_id, p.weekday, p.intake, p.handover
		from facility.places p join facility.site s on s.id = p.site_id order by s.code, p.weekday`)
}

// listExceptions returns the exceptions in span, or all when span is empty.
func listExceptions(ctx context.Context, db postgres.DB, span calendar.Span) ([]dayException, error) {
	return postgres.List[dayException](ctx, db, "list exceptions", `
		select e.site_id, e.day, e.intake, e.handover, e.note
		from facility.places_exception e join facility.site s on s.id = e.site_id
		where $1::daterange is null or e.day <@ $1::daterange order by s.code, e.day`, span)
}

func putWeekdayPlaces(ctx context.Context, tx postgres.Tx, places []weekdayPlaces) error {
	_, err := tx.Exec(ctx, `
		insert into facility.places (site_id, weekday, intake, handover)
		select site_id, weekday, intake, handover
		from jsonb_to_recordset($1) as r(site_id uuid, weekday int, intake int, handover int)
		on conflict on constraint places_pkey do update set intake = excluded.intake, handover = excluded.handover`, places)
	if err != nil {
		return fmt.Errorf("put %d weekday places: %w", len(places), err)
	}
	return nil
}

func putExceptions(ctx context.Context, tx postgres.Tx, exceptions []dayException) error {
	_, err := tx.Exec(ctx, `
		insert into facility.places_exception (site_id, day, intake, handover, note)
		select site_id, day, intake, handover, note
		from jsonb_to_recordset($1) as r(site_id uuid, day date, intake int, handover int, note text)
		on conflict on constraint places_exception_pkey do update
		set intake = excluded.intake, handover = excluded.handover, note = excluded.note`, exceptions)
	if err != nil {
		return fmt.Errorf("put %d exceptions: %w", len(exceptions), err)
	}
	return nil
}
