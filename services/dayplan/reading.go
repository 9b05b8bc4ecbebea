package dayplan

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// Reading is the live plan of a day beside what is known of the day now, for packages that show it.
type Reading struct {
	Inputs Inputs
	Plan   Plan
	// Stale says that what the plan was made from has changed since.
	Stale bool

	clock dayClock
}

// Local shows an instant of the day as clocks at the site do; the end of the day is 24:00.
func (r Reading) Local(t time.Time) string { return r.clock.local(t) }

// Minutes is how long the day is: 1440, or less or more where clocks change.
func (r Reading) Minutes() int { return r.clock.minutes }

// ShiftEnds is the end of a shift on the day, as Local shows it: 24:00 for one that goes on past midnight.
func (r Reading) ShiftEnds(s Shift) (string, error) {
	hours, cut, err := r.clock.span(s.Day.Starts, s.Day.Ends)
	if err != nil || cut || hours.To == r.clock.minutes {
		return "24:00", err
	}
	return s.Day.Ends.String(), nil
}

// DogMeals are when dogs are fed, local.
func DogMeals() []calendar.Clock { return append([]calendar.Clock(nil), dogMeals...) }

// ReadLive reads the live plan of a day and its inputs inside a transaction of the caller, which must be one snapshot; false when the
// day has none.
func ReadLive(ctx context.Context, tx postgres.Tx, site facility.Site, day calendar.Date) (r Reading, ok bool, err error) {
	if r.Plan, ok, err = findLive(ctx, tx, site.ID, day, false); err != nil || !ok {
		return r, false, err
	}
	if r.clock, err = newClock(day, site.Zone); err != nil {
		return r, false, err
	}
	if r.Inputs, err = readInputs(ctx, tx, site, day); err != nil {
		return r, false, err
	}
	print, err := r.Inputs.Fingerprint()
	r.Stale = print != r.Plan.Fingerprint
	return r, err == nil, err
}

// KindSession is the kind of a Held that is a block.
const KindSession = "session"

// Held is one thing that a trainer does by the live plan of a day.
type Held struct {
	SiteID ids.SiteID    `db:"site_id"`
	Day    calendar.Date `db:"day"`
	// Number and MadeAt are those of the plan.
	Number int       `db:"number"`
	MadeAt time.Time `db:"made_at"`
	// Kind is KindSession, or that of a pause or duty.
	Kind string `db:"kind"`
	// Second says that the trainer is the second person of a block.
	Second bool `db:"second"`
	// DogID is absent for a pause, Session is 0 and AreaID and SkillID are absent for all but a block.
	DogID   ids.DogID   `db:"dog_id"`
	Session int         `db:"session"`
	AreaID  ids.AreaID  `db:"area_id"`
	SkillID ids.SkillID `db:"skill_id"`
	From    time.Time   `db:"starts_at"`
	To      time.Time   `db:"ends_at"`
}

// ListHeld returns what a trainer does by the live plans of all sites on the days of span, by time.
func ListHeld(ctx context.Context, db postgres.DB, trainer ids.TrainerID, days calendar.Span) ([]Held, error) {
	return postgres.List[Held](ctx, db, "list what a trainer does", `
		select p.site_id, p.day, p.number, p.made_at, x.kind, x.second, x.dog_id, x.session, x.area_id, x.skill_id, lower(x.during) as starts_at, upper(x.during) as ends_at
		from dayplan.plan p join (
		  select plan_id, $1::text as kind, trainer_id <> $2 as second, dog_id, session, area_id, skill_id, during
		  from dayplan.block where $2 in (trainer_id, second_trainer_id)
		  union all
		  select plan_id, kind, false, null, 0, null, null, during from dayplan.pause where trainer_id = $2
		  union all
		  select plan_id, kind, false, dog_id, 0, null, null, during from dayplan.duty where trainer_id = $2
		) x on x.plan_id = p.id
		where p.state = 'live' and p.day >= $3 and p.day < $4
		order by lower(x.during), p.site_id, x.kind`, KindSession, trainer, days.From, days.To)
}

// SiteOn finds a trainer and the site at which they are on a day, by the roster or a live plan; a trainer who is at none is a Precondition with the
// reason NOT_AT_WORK, and is returned with it.
func SiteOn(ctx context.Context, tx postgres.Tx, code string, day calendar.Date) (roster.Trainer, facility.Site, error) {
	return siteOf(ctx, tx, code, day)
}
