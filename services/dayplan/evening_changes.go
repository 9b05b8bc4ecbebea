package dayplan

import (
	"context"
	"errors"
	"fmt"

	"github.com/longlead/longlead/services/postgres"
)

// Changes looks whether the records that the plans of today and tomorrow were made from have changed. A day that can be planned anew waits for
// a worker again; what stands all the same is marked. One day that cannot be looked at keeps no other from being looked at.
func (e *Evenings) Changes(ctx context.Context) error {
	_, today, err := e.sites(ctx, e.deps.Pool, e.now())
	if err != nil {
		return err
	}
	rows, err := listEnded(ctx, e.deps.Pool, today)
	if err != nil {
		return err
	}
	var failed []error
	for _, row := range rows {
		if err := e.change(ctx, dayKey{row.SiteID, row.Day}); err != nil {
			failed = append(failed, fmt.Errorf("look what has changed of %s: %w", row.Day, err))
		}
	}
	return errors.Join(failed...)
}

func (e *Evenings) change(ctx context.Context, key dayKey) error {
	p, err := e.look(ctx, key)
	if err != nil || p.row.Outcome == OutcomeWaiting {
		return err
	}
	now := e.now()
	v := judge(p.row, p.live, p.print, now)
	if !v.plan && v.outcome == p.row.Outcome && v.note == p.row.Note && p.print == p.row.Fingerprint {
		return nil
	}
	return postgres.InTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		row, err := findEvening(ctx, tx, key, true)
		if err != nil || !sameEnd(row, p.row) {
			return err // something came of the day meanwhile; the next look sees it
		}
		if !v.plan {
			row.Outcome, row.Note, row.DoneAt, row.Fingerprint = v.outcome, v.note, &now, p.print
			return putEvening(ctx, tx, row)
		}
		row.Outcome, row.Note, row.DoneAt, row.QueuedAt, row.Attempts = OutcomeWaiting, "", nil, now, 0
		if err := putEvening(ctx, tx, row); err != nil {
			return err
		}
		return e.insertJobs(ctx, tx, []dayKey{key})
	})
}

// sameEnd reports whether a row is still as it was read.
func sameEnd(a, b Evening) bool {
	return a.Outcome == b.Outcome && a.Note == b.Note && a.PlanID == b.PlanID && a.Fingerprint == b.Fingerprint && a.DoneAt.Equal(*b.DoneAt)
}
