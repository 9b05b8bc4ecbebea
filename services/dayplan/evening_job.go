package dayplan

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

const (
	// Queue is where the schedule's jobs wait for a worker.
	Queue = "days"
	// JobsAtOnce is how many of them one process does well to work on at a time.
	JobsAtOnce = 2
	// planTimeout ends an attempt that hangs. It is shorter than stallAfter, so no two workers plan a day on purpose.
	planTimeout = time.Minute
	// stallAfter is when a job that has not come to an end is taken for lost, and another started.
	stallAfter = 3 * time.Minute
	// lookTimeout ends a look at what is due or has changed; there is another soon.
	lookTimeout = 45 * time.Second
	// looks is how often a day is looked at again because somebody planned it meanwhile.
	looks = 3
	// scheduleName is who makes the schedule's plans.
	scheduleName = "evening schedule"
)

// TickArgs are the arguments of the job that looks what is due.
type TickArgs struct{}

// Kind names the job.
func (TickArgs) Kind() string { return "look_what_days_are_due" }

// ChangesArgs are the arguments of the job that looks what has changed.
type ChangesArgs struct{}

// Kind names the job.
func (ChangesArgs) Kind() string { return "look_what_days_have_changed" }

// EveningArgs are the arguments of the job that plans a day.
type EveningArgs struct {
	SiteID ids.SiteID    `json:"site_id"`
	Day    calendar.Date `json:"day"`
}

// Kind names the job.
func (EveningArgs) Kind() string { return "plan_day_by_schedule" }

// Periodic are the looks that every client with a schedule inserts. A look whose worker was lost must not keep later ones out, so they are not
// one at a time: each leaves alone what another has in hand.
func Periodic() []jobs.Periodic {
	once := jobs.InsertOpts{Queue: Queue, MaxAttempts: 1}
	return []jobs.Periodic{
		{Schedule: "* * * * *", Args: TickArgs{}, Opts: once, RunOnStart: true},
		{Schedule: "*/5 * * * *", Args: ChangesArgs{}, Opts: once},
	}
}

// EveningsDeps is what Evenings need; all fields are required.
type EveningsDeps struct {
	Pool *postgres.Pool
	// Jobs inserts jobs; it need not work on any.
	Jobs *jobs.Client
	Mint ids.Mint
	Now  func() time.Time
	Log  *slog.Logger
}

// Evenings plan days by the schedule. Any number of them may run, on any number of machines.
type Evenings struct {
	deps EveningsDeps
}

// NewEvenings panics when a dependency is missing, which is a fault in the wiring.
func NewEvenings(d EveningsDeps) *Evenings {
	if d.Pool == nil || d.Jobs == nil || d.Mint == nil || d.Now == nil || d.Log == nil {
		panic("dayplan.NewEvenings: all dependencies are required")
	}
	return &Evenings{deps: d}
}

// Register adds the work to a set of workers.
func (e *Evenings) Register(set *jobs.Workers) {
	jobs.Add(set, lookTimeout, func(ctx context.Context, _ jobs.Job[TickArgs]) error { return e.Tick(ctx) })
	jobs.Add(set, lookTimeout, func(ctx context.Context, _ jobs.Job[ChangesArgs]) error { return e.Changes(ctx) })
	jobs.Add(set, planTimeout, func(ctx context.Context, job jobs.Job[EveningArgs]) error {
		return e.Plan(ctx, job.Args.SiteID, job.Args.Day)
	})
	jobs.Add(set, planTimeout, func(ctx context.Context, job jobs.Job[FitArgs]) error {
		return e.Fit(ctx, job.Args.SiteID, job.Args.Day)
	})
}

// now is read once for each step and cut to what the database keeps.
func (e *Evenings) now() time.Time { return e.deps.Now().UTC().Truncate(time.Microsecond) }

// planned is a site whose days are planned by themselves.
type planned struct {
	site  facility.Site
	daily jobs.Daily
}

// sites lists the sites with a schedule, and which day each has at an instant.
func (e *Evenings) sites(ctx context.Context, db postgres.DB, now time.Time) (list []planned, today []dayKey, err error) {
	sites, err := facility.ListSites(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	set, err := listSchedules(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	for _, s := range sites {
		daily, ok, err := dailyOf(s, set[s.ID])
		if err != nil {
			return nil, nil, fmt.Errorf("find when days of %s are due: %w", s.Code, err)
		}
		if ok {
			list, today = append(list, planned{s, daily}), append(today, dayKey{s.ID, calendar.DateIn(now, daily.Zone)})
		}
	}
	return list, today, nil
}

// Tick inserts the rows and jobs of days that have become due, and starts lost jobs again. Two at once do no harm.
func (e *Evenings) Tick(ctx context.Context) error {
	now := e.now()
	return postgres.InTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		sites, today, err := e.sites(ctx, tx, now)
		if err != nil {
			return err
		}
		var days []due
		for _, s := range sites {
			found, err := dueAt(s.site.ID, s.daily, now)
			if err != nil {
				return err
			}
			days = append(days, found...)
		}
		start, err := insertDue(ctx, tx, days, now)
		if err != nil {
			return err
		}
		if err := endPassed(ctx, tx, today, now); err != nil {
			return err
		}
		lost, err := requeueStalled(ctx, tx, now.Add(-stallAfter), now)
		if err != nil {
			return err
		}
		return e.insertJobs(ctx, tx, append(start, lost...))
	})
}

func (e *Evenings) insertJobs(ctx context.Context, tx postgres.Tx, days []dayKey) error {
	var all []jobs.Insertion
	for _, d := range days {
		// Looks come first: there is one for all sites.
		all = append(all, jobs.Insertion{Args: EveningArgs(d), Opts: jobs.InsertOpts{Queue: Queue, Priority: 2, MaxAttempts: mostAttempts}})
	}
	_, err := e.deps.Jobs.InsertManyTx(ctx, tx, all)
	return err
}

// Plan plans a day that waits; it does nothing about any other. An error leaves it waiting.
func (e *Evenings) Plan(ctx context.Context, site ids.SiteID, day calendar.Date) error {
	key := dayKey{site, day}
	waits, err := takeUp(ctx, e.deps.Pool, key)
	if err != nil || !waits {
		return err
	}
	err = e.attempt(ctx, key)
	if err != nil && errors.Is(ctx.Err(), context.Canceled) {
		return errors.Join(err, giveBack(context.WithoutCancel(ctx), e.deps.Pool, key))
	}
	return err
}

func (e *Evenings) attempt(ctx context.Context, key dayKey) error {
	for range looks {
		p, err := e.look(ctx, key)
		if err != nil {
			return err
		}
		v, made, err := e.decide(ctx, p)
		if err != nil {
			return err
		}
		if ended, err := e.end(ctx, p, v, made); err != nil || ended {
			return err
		}
	}
	return fmt.Errorf("plan %s by the schedule: others planned it %d times meanwhile", key.Day, looks)
}

// picture is what is read of a day in one transaction.
type picture struct {
	row   Evening
	in    Inputs
	live  *Plan
	print string
}

// liveID is absent without a live plan.
func (p *picture) liveID() ids.DayPlanID {
	if p.live == nil {
		return ids.DayPlanID{}
	}
	return p.live.ID
}

func (e *Evenings) look(ctx context.Context, key dayKey) (p picture, err error) {
	err = postgres.ReadTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		p = picture{}
		if p.row, err = findEvening(ctx, tx, key, false); err != nil {
			return err
		}
		sites, err := facility.ListSites(ctx, tx)
		if err != nil {
			return err
		}
		for _, s := range sites {
			if s.ID == key.SiteID {
				p.in, err = readInputs(ctx, tx, s, key.Day)
			}
		}
		if err != nil {
			return err
		}
		p.live, err = liveOf(ctx, tx, key, false)
		return err
	})
	if err == nil {
		p.print, err = p.in.Fingerprint()
	}
	return p, err
}

// liveOf is the live plan of a day; nil for none.
func liveOf(ctx context.Context, tx postgres.Tx, key dayKey, lock bool) (*Plan, error) {
	live, kept, err := findLive(ctx, tx, key.SiteID, key.Day, lock)
	if err != nil || !kept {
		return nil, err
	}
	return &live, nil
}

// decide judges a day and, where that is the verdict, plans it.
func (e *Evenings) decide(ctx context.Context, p picture) (verdict, Plan, error) {
	v := judge(p.row, p.live, p.print, e.now())
	if !v.plan {
		return v, Plan{}, nil
	}
	if p.row.Attempts > mostAttempts {
		return givenUp(p.row.Attempts - 1), Plan{}, nil
	}
	made, err := planInputs(ctx, p.in, usualLimit, usualSeed)
	if err == nil {
		err = ctx.Err() // a search that is broken off returns the best it had
	}
	if why, ok := failing(err); ok {
		return why, Plan{}, nil
	}
	return v, made, err
}

// end stores the verdict on a day, with the plan where there is one. ended is false when the day has another plan than it had.
func (e *Evenings) end(ctx context.Context, p picture, v verdict, made Plan) (ended bool, err error) {
	key := dayKey{p.row.SiteID, p.row.Day}
	mint := ids.DayPlanID(e.deps.Mint())
	err = postgres.InTx(ctx, e.deps.Pool, func(tx postgres.Tx) error {
		ended = false
		row, err := findEvening(ctx, tx, key, true)
		if err != nil {
			return err
		}
		if row.Outcome != OutcomeWaiting { // another worker was faster
			ended = true
			return nil
		}
		live, err := liveOf(ctx, tx, key, true)
		if err != nil || (&picture{live: live}).liveID() != p.liveID() {
			return err
		}
		now, done := e.now(), v
		if first, any := made.begins(); v.plan && any && !now.Before(first) {
			done = tooLate(live)
		} else if v.plan {
			plan := made
			plan.ID, plan.MadeAt, plan.MadeBy = mint, now, scheduleName
			if plan, err = keepPlan(ctx, tx, plan); err != nil {
				return err
			}
			row.PlanID, done = plan.ID, verdict{outcome: OutcomePlanned}
		}
		row.Outcome, row.Note, row.DoneAt, row.Fingerprint = done.outcome, done.note, &now, p.print
		if err := putEvening(ctx, tx, row); err != nil {
			return err
		}
		ended = true
		return nil
	})
	if apperr.ReasonOf(err) == "DAY_PLANNED_MEANWHILE" {
		return false, nil
	}
	if err == nil && ended {
		e.deps.Log.InfoContext(ctx, "the schedule has seen to a day", "site", p.in.Site.Code, "day", p.row.Day.String())
	}
	return ended, err
}
