package dayplan

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

// appointedName is who makes plans that follow a changed appointment.
const appointedName = "handover appointments"

// FitArgs are the arguments of the job that fits a planned day to its appointments.
type FitArgs struct {
	SiteID ids.SiteID    `json:"site_id"`
	Day    calendar.Date `json:"day"`
}

// Kind names the job.
func (FitArgs) Kind() string { return "fit_day_to_appointments" }

// InsertFits makes days follow their appointments once tx commits. A job for each is inserted even where one waits already: that one may have
// read the day before.
func InsertFits(ctx context.Context, tx postgres.Tx, client *jobs.Client, site ids.SiteID, days ...calendar.Date) error {
	var all []jobs.Insertion
	for _, day := range days {
		all = append(all, jobs.Insertion{Args: FitArgs{SiteID: site, Day: day}, Opts: jobs.InsertOpts{Queue: Queue, MaxAttempts: mostAttempts}})
	}
	_, err := client.InsertManyTx(ctx, tx, all)
	return err
}

// Fit plans the rest of a planned day anew when its records have changed, with as few changes for people as can be: a day keeps its plan
// otherwise, and one without a plan gets none here. It is for appointments that were moved, whose owners count on it.
func (e *Evenings) Fit(ctx context.Context, site ids.SiteID, day calendar.Date) error {
	for range looks {
		done, err := e.fitOnce(ctx, dayKey{site, day})
		if err != nil || done {
			return err
		}
	}
	return fmt.Errorf("fit %s to its appointments: others planned it %d times meanwhile", day, looks)
}

func (e *Evenings) fitOnce(ctx context.Context, key dayKey) (done bool, err error) {
	var (
		in   Inputs
		live *Plan
	)
	err = postgres.ReadTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		in, live = Inputs{}, nil
		sites, err := facility.ListSites(ctx, tx)
		if err != nil {
			return err
		}
		if live, err = liveOf(ctx, tx, key, false); err != nil || live == nil {
			return err
		}
		for _, s := range sites {
			if s.ID == key.SiteID {
				in, err = readInputs(ctx, tx, s, key.Day)
			}
		}
		return err
	})
	if err != nil || live == nil {
		return err == nil, err
	}
	plan, changed, err := fit(ctx, in, live, e.author())
	if err != nil || !changed {
		return true, e.unfit(key, err)
	}
	err = postgres.InTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		done = false
		now, err := liveOf(ctx, tx, key, true)
		if err != nil || now == nil || now.ID != live.ID {
			return err
		}
		done = true
		_, err = keepPlan(ctx, tx, plan)
		return err
	})
	return done, err
}

func (e *Evenings) author() author { return author{by: appointedName, at: e.now(), mint: e.deps.Mint} }

// unfit swallows what no further attempt can mend: the day shows as changed since it was planned, and people decide.
func (e *Evenings) unfit(key dayKey, err error) error {
	v, known := failing(err)
	if !known {
		return err
	}
	e.deps.Log.Warn("a planned day could not follow its appointments", "site", key.SiteID, "day", key.Day, "why", v.note)
	return nil
}

// fit plans what is left of a day; changed is false where nothing of it can be, or nothing has changed.
func fit(ctx context.Context, in Inputs, live *Plan, who author) (plan Plan, changed bool, err error) {
	print, err := in.Fingerprint()
	if err != nil || print == live.Fingerprint {
		return plan, false, err
	}
	clock, err := newClock(in.Day, in.Site.Zone)
	if err != nil {
		return plan, false, err
	}
	since := roundUp(max(0, clock.minuteUp(who.at)))
	if since >= clock.minutes {
		return plan, false, nil
	}
	t, err := buildTask(in, &anew{since: since, before: live})
	if err != nil {
		return plan, false, err
	}
	if plan, err = t.solve(dayblocks.Options{Seed: usualSeed, Limit: repairLimit, Cancel: ctx.Done()}); err != nil {
		return plan, false, err
	}
	plan.ID, plan.MadeAt, plan.MadeBy = ids.DayPlanID(who.mint()), who.at, who.by
	return plan, true, ctx.Err()
}
