package dayplan

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// listSchedules returns the times that sites have set.
func listSchedules(ctx context.Context, db postgres.DB) (map[ids.SiteID]*Schedule, error) {
	list, err := postgres.List[Schedule](ctx, db, "list when days are planned", `select site_id, at, changed_at, changed_by from dayplan.schedule`)
	set := make(map[ids.SiteID]*Schedule, len(list))
	for i := range list {
		set[list[i].SiteID] = &list[i]
	}
	return set, err
}

func setSchedule(ctx context.Context, db postgres.DB, s Schedule) error {
	_, err := db.Exec(ctx, `
		insert into dayplan.schedule (site_id, at, changed_at, changed_by) values ($1, $2, $3, $4)
		on conflict on constraint schedule_pkey do update set at = excluded.at, changed_at = excluded.changed_at, changed_by = excluded.changed_by`,
		s.SiteID, s.At, s.ChangedAt, s.ChangedBy)
	if err != nil {
		return fmt.Errorf("set when days are planned: %w", err)
	}
	return nil
}

// dayKey names a row of evenings.
type dayKey struct {
	SiteID ids.SiteID    `db:"site_id" json:"site_id"`
	Day    calendar.Date `db:"day" json:"day"`
}

// insertDue inserts the rows of days that are due and returns those that were not there yet.
func insertDue(ctx context.Context, tx postgres.Tx, days []due, now time.Time) ([]dayKey, error) {
	type row struct {
		dayKey
		DueAt time.Time `json:"due_at"`
	}
	rows := make([]row, len(days))
	for i, d := range days {
		rows[i] = row{dayKey{d.site, d.day}, d.at}
	}
	text, err := json.Marshal(rows)
	if err != nil {
		return nil, fmt.Errorf("insert days that are due: %w", err)
	}
	return postgres.List[dayKey](ctx, tx, "insert days that are due", `
		insert into dayplan.evening (site_id, day, due_at, outcome, note, queued_at, attempts, fingerprint)
		select site_id, day, due_at, 'waiting', '', $2, 0, '' from jsonb_to_recordset($1) as r(site_id uuid, day date, due_at timestamptz)
		order by site_id, day
		on conflict on constraint evening_pkey do nothing returning site_id, day`, string(text), now)
}

// requeueStalled marks days whose job has not come to an end for long as queued now, and returns them. Whatever another transaction has
// locked is left to it.
func requeueStalled(ctx context.Context, tx postgres.Tx, before, now time.Time) ([]dayKey, error) {
	return postgres.List[dayKey](ctx, tx, "find days whose job is lost", `
		update dayplan.evening e set queued_at = $2
		from (select site_id, day from dayplan.evening where outcome = 'waiting' and queued_at <= $1 order by site_id, day for update skip locked) s
		where e.site_id = s.site_id and e.day = s.day returning e.site_id, e.day`, before, now)
}

// endPassed ends days that waited until they were over; today is that of each site.
func endPassed(ctx context.Context, tx postgres.Tx, today []dayKey, now time.Time) error {
	text, err := json.Marshal(today)
	if err != nil {
		return fmt.Errorf("end days that are over: %w", err)
	}
	_, err = tx.Exec(ctx, `
		update dayplan.evening e set outcome = 'late', note = 'the day was over before a worker could plan it', done_at = $2
		from jsonb_to_recordset($1) as r(site_id uuid, day date)
		where e.site_id = r.site_id and e.day < r.day and e.outcome = 'waiting'`, string(text), now)
	if err != nil {
		return fmt.Errorf("end days that are over: %w", err)
	}
	return nil
}

const eveningColumns = `site_id, day, due_at, outcome, note, queued_at, attempts, done_at, plan_id, fingerprint`

// findEvening returns the row of a day. With lock nobody else ends it before the transaction does.
func findEvening(ctx context.Context, db postgres.DB, key dayKey, lock bool) (Evening, error) {
	sql := `select ` + eveningColumns + ` from dayplan.evening where site_id = $1 and day = $2`
	if lock {
		sql += ` for update`
	}
	return postgres.One[Evening](ctx, db, "find a day of the schedule", sql, key.SiteID, key.Day)
}

// takeUp counts an attempt at a day that waits. It reports false for one that does not.
func takeUp(ctx context.Context, db postgres.DB, key dayKey) (bool, error) {
	tag, err := db.Exec(ctx, `update dayplan.evening set attempts = attempts + 1 where site_id = $1 and day = $2 and outcome = 'waiting'`, key.SiteID, key.Day)
	if err != nil {
		return false, fmt.Errorf("take up a day of the schedule: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}

// giveBack takes an attempt back that was broken off.
func giveBack(ctx context.Context, db postgres.DB, key dayKey) error {
	_, err := db.Exec(ctx, `update dayplan.evening set attempts = attempts - 1 where site_id = $1 and day = $2 and outcome = 'waiting' and attempts > 0`, key.SiteID, key.Day)
	if err != nil {
		return fmt.Errorf("give back a day of the schedule: %w", err)
	}
	return nil
}

// putEvening stores what came of a day whose row the transaction has locked.
func putEvening(ctx context.Context, tx postgres.Tx, e Evening) error {
	_, err := tx.Exec(ctx, `
		update dayplan.evening set outcome = $3, note = $4, queued_at = $5, attempts = $6, done_at = $7, plan_id = $8, fingerprint = $9
		where site_id = $1 and day = $2`, e.SiteID, e.Day, e.Outcome, e.Note, e.QueuedAt, e.Attempts, e.DoneAt, e.PlanID, e.Fingerprint)
	if err != nil {
		return fmt.Errorf("end a day of the schedule: %w", err)
	}
	return nil
}

// listEnded lists the days that have come to an end, of the days that each site has as today and tomorrow.
func listEnded(ctx context.Context, db postgres.DB, today []dayKey) ([]Evening, error) {
	text, err := json.Marshal(today)
	if err != nil {
		return nil, fmt.Errorf("list days of the schedule: %w", err)
	}
	return postgres.List[Evening](ctx, db, "list days of the schedule", `
		select `+eveningColumns+` from dayplan.evening e
		where outcome <> 'waiting' and exists (
		  select from jsonb_to_recordset($1) as r(site_id uuid, day date) where r.site_id = e.site_id and e.day between r.day and r.day + 1)
		order by site_id, day`, string(text))
}

// eveningShown is a row with the number of the plan that is live.
type eveningShown struct {
	Evening
	Number int `db:"number"`
}

// listEvenings lists the latest days of one site, or of all for the absent one, the latest first.
func listEvenings(ctx context.Context, db postgres.DB, site ids.SiteID, each int) ([]eveningShown, error) {
	return postgres.List[eveningShown](ctx, db, "list days of the schedule", `
		select `+eveningColumns+`, number from (
		  select e.*, coalesce(p.number, 0) as number, row_number() over (partition by e.site_id order by e.day desc) as n
		  from dayplan.evening e left join dayplan.plan p on p.site_id = e.site_id and p.day = e.day and p.state = 'live'
		  where $1::uuid is null or e.site_id = $1) x
		where n <= $2 order by site_id, day desc`, site, each)
}
