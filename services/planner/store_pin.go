package planner

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const (
	pinColumns       = `request_id, site_id, arrival, run_class, trainer_id`
	pinRecordColumns = `id, ` + pinColumns + `, note, made_at, made_by, ended_at, ended_by`
)

// listLivePins returns the live pins of these requests, in a fixed order.
func listLivePins(ctx context.Context, db postgres.DB, requests []ids.RequestID) ([]Pin, error) {
	return postgres.List[Pin](ctx, db, "list live pins", `
		select `+pinColumns+` from planner.pin where ended_at is null and request_id = any($1) order by request_id`, requests)
}

// listPins returns the pins whose arrival day lies in a month, with those that were taken away or without.
func listPins(ctx context.Context, db postgres.DB, month calendar.Month, withEnded bool) ([]PinRecord, error) {
	span := month.Span()
	return postgres.List[PinRecord](ctx, db, "list pins", `
		select `+pinRecordColumns+` from planner.pin where arrival >= $1 and arrival < $2 and ($3 or ended_at is null)
		order by arrival, request_id, made_at`, span.From, span.To, withEnded)
}

// insertPin makes a pin; a request that has a live one already is a Conflict.
func insertPin(ctx context.Context, tx postgres.Tx, p PinRecord) error {
	_, err := tx.Exec(ctx, `
		insert into planner.pin (id, request_id, site_id, arrival, run_class, trainer_id, note, made_at, made_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, p.ID, p.RequestID, p.SiteID, p.Arrival, p.RunClass, p.TrainerID, p.Note, p.MadeAt, p.MadeBy)
	if name, _ := postgres.Constraint(err); name == "pin_request_live_key" {
		return errPinned().Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert a pin: %w", err)
	}
	return nil
}

// errPinned refuses a second pin.
func errPinned() *apperr.Error {
	return apperr.Conflictf("PINNED_ALREADY", "the request is pinned already: take that pin away first")
}

// endPin ends the live pin of one of these requests; NoRows when none has one.
func endPin(ctx context.Context, tx postgres.Tx, requests []ids.RequestID, who author) (PinRecord, error) {
	return postgres.One[PinRecord](ctx, tx, "end a pin", `
		update planner.pin set ended_at = $2, ended_by = $3 where request_id = any($1) and ended_at is null
		returning `+pinRecordColumns, requests, who.at, who.by)
}
