package graduation

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const ownerTimeColumns = `request_id, weekday, starts, ends, liked`

// listOwnerTimes returns when the owners of requests can come.
func listOwnerTimes(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]OwnerTime, error) {
	return postgres.List[OwnerTime](ctx, db, "list owners' times", `
		select `+ownerTimeColumns+` from graduation.owner_time where request_id = any($1) order by request_id, weekday, starts`, requests)
}

// listAllOwnerTimes returns when owners can come, for lists.
func listAllOwnerTimes(ctx context.Context, db postgres.DB) ([]OwnerTime, error) {
	return postgres.List[OwnerTime](ctx, db, "list all owners' times", `
		select `+ownerTimeColumns+` from graduation.owner_time order by request_id, weekday, starts`)
}

// putOwnerTimes inserts times, or changes those whose request, weekday and start are known.
func putOwnerTimes(ctx context.Context, tx postgres.Tx, times []OwnerTime) error {
	_, err := tx.Exec(ctx, `
		insert into graduation.owner_time (`+ownerTimeColumns+`)
		select `+ownerTimeColumns+` from jsonb_to_recordset($1) as r(request_id uuid, weekday int, starts time, ends time, liked boolean)
		on conflict on constraint owner_time_pkey do update set ends = excluded.ends, liked = excluded.liked`, times)
	if err != nil {
		return fmt.Errorf("put owners' times: %w", err)
	}
	return nil
}

// listReminders returns what sites have set.
func listReminders(ctx context.Context, db postgres.DB) ([]Reminder, error) {
	return postgres.List[Reminder](ctx, db, "list reminders", `select site_id, letter, line, days, changed_at, changed_by from graduation.reminder order by site_id, letter`)
}

// setReminder keeps what a site has set.
func setReminder(ctx context.Context, tx postgres.Tx, r Reminder) error {
	_, err := tx.Exec(ctx, `
		insert into graduation.reminder (site_id, letter, line, days, changed_at, changed_by) values ($1, $2, $3, $4, $5, $6)
		on conflict on constraint reminder_pkey do update set line = excluded.line, days = excluded.days, changed_at = excluded.changed_at, changed_by = excluded.changed_by`,
		r.SiteID, r.Letter, r.Line, r.Days, r.ChangedAt, r.ChangedBy)
	if err != nil {
		return fmt.Errorf("set a reminder: %w", err)
	}
	return nil
}

// turn is the latest turn of a reminder that was seen to.
type turn struct {
	SiteID   ids.SiteID `db:"site_id"`
	Letter   string     `db:"letter"`
	TurnedAt time.Time  `db:"turned_at"`
}

// listTurns returns the latest turns.
func listTurns(ctx context.Context, db postgres.DB) ([]turn, error) {
	return postgres.List[turn](ctx, db, "list turns", `select site_id, letter, turned_at from graduation.turn`)
}

// takeTurn notes that a turn is seen to in the caller's transaction; false where another has seen to it, or to a later one, already.
func takeTurn(ctx context.Context, tx postgres.Tx, t turn) (bool, error) {
	tag, err := tx.Exec(ctx, `
		insert into graduation.turn as t (site_id, letter, turned_at) values ($1, $2, $3)
		on conflict on constraint turn_pkey do update set turned_at = excluded.turned_at where t.turned_at < excluded.turned_at`, t.SiteID, t.Letter, t.TurnedAt)
	if err != nil {
		return false, fmt.Errorf("take the turn of a reminder: %w", err)
	}
	return tag.RowsAffected() == 1, nil
}

// listUnplaced returns for whom no time was found at a site, by day.
func listUnplaced(ctx context.Context, db postgres.DB, site ids.SiteID) ([]Unplaced, error) {
	return postgres.List[Unplaced](ctx, db, "list handovers without a time", `
		select request_id, site_id, day, reason, remedy, found_at from graduation.unplaced where site_id = $1 order by day, request_id`, site)
}

// replaceUnplaced keeps for whom no time was found at a site on some days.
func replaceUnplaced(ctx context.Context, tx postgres.Tx, site ids.SiteID, days calendar.Span, found []Unplaced) error {
	batch := &pgx.Batch{}
	batch.Queue(`delete from graduation.unplaced where site_id = $1 and day >= $2 and day < $3`, site, days.From, days.To)
	for _, u := range found {
		batch.Queue(`
			insert into graduation.unplaced (request_id, site_id, day, reason, remedy, found_at) values ($1, $2, $3, $4, $5, $6)
			on conflict on constraint unplaced_pkey do update set site_id = excluded.site_id, day = excluded.day, reason = excluded.reason, remedy = excluded.remedy,
			  found_at = excluded.found_at`, u.RequestID, u.SiteID, u.Day, u.Reason, u.Remedy, u.FoundAt)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return fmt.Errorf("keep handovers without a time: %w", err)
	}
	return nil
}
