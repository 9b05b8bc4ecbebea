package dayplan

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const planColumns = `id, site_id, day, number, state, made_at, made_by, seed, seconds, fingerprint, value, bound, dogs, notes`

// findLive returns the live plan of a day with its parts, and whether there is one. With lock nobody else replaces it before the
// transaction ends.
func findLive(ctx context.Context, db postgres.DB, site ids.SiteID, day calendar.Date, lock bool) (Plan, bool, error) {
	sql := `select ` + planColumns + ` from dayplan.plan where site_id = $1 and day = $2 and state = 'live'`
	if lock {
		sql += ` for update`
	}
	p, err := postgres.One[Plan](ctx, db, "find the plan of a day", sql, site, day)
	if postgres.NoRows(err) {
		return Plan{}, false, nil
	}
	if err != nil {
		return Plan{}, false, err
	}
	return p, true, p.readParts(ctx, db)
}

func (p *Plan) readParts(ctx context.Context, db postgres.DB) (err error) {
	if p.Blocks, err = postgres.List[Block](ctx, db, "list the blocks of a day", `
		select dog_id, session, trainer_id, second_trainer_id, own, area_id, skill_id, lower(during) as starts_at, upper(during) as ends_at
		from dayplan.block where plan_id = $1 order by lower(during), trainer_id`, p.ID); err != nil {
		return err
	}
	if p.Pauses, err = postgres.List[Pause](ctx, db, "list the pauses of a day", `
		select trainer_id, kind, lower(during) as starts_at, upper(during) as ends_at
		from dayplan.pause where plan_id = $1 order by lower(during), trainer_id`, p.ID); err != nil {
		return err
	}
	if p.Duties, err = postgres.List[Duty](ctx, db, "list the duties of a day", `
		select dog_id, kind, trainer_id, lower(during) as starts_at, upper(during) as ends_at
		from dayplan.duty where plan_id = $1 order by lower(during), dog_id`, p.ID); err != nil {
		return err
	}
	p.Drops, err = postgres.List[Drop](ctx, db, "list what a day drops", `
		select dog_id, session, skill_id, reason, remedy from dayplan.dropped where plan_id = $1 order by dog_id, session`, p.ID)
	return err
}

// keepPlan stores a plan as the live one of its day; one that was live before is replaced. It returns the plan with its number. Two that are
// kept at once, neither knowing of the other, are a conflict.
func keepPlan(ctx context.Context, tx postgres.Tx, p Plan) (Plan, error) {
	if _, err := tx.Exec(ctx, `update dayplan.plan set state = 'replaced' where site_id = $1 and day = $2 and state = 'live'`, p.SiteID, p.Day); err != nil {
		return p, fmt.Errorf("replace the plan of %s: %w", p.Day, err)
	}
	if p.Notes == nil {
		p.Notes = []string{}
	}
	err := tx.QueryRow(ctx, `
		insert into dayplan.plan (`+planColumns+`)
		select $1, $2, $3, coalesce(max(number), 0) + 1, 'live', $4, $5, $6, $7, $8, $9, $10, $11, $12
		from dayplan.plan where site_id = $2 and day = $3 returning number`,
		p.ID, p.SiteID, p.Day, p.MadeAt, p.MadeBy, p.Seed, p.Seconds, p.Fingerprint, p.Value, p.Bound, p.Dogs, p.Notes).Scan(&p.Number)
	if name, _ := postgres.Constraint(err); name == "plan_live_key" || name == "plan_number_key" {
		return p, plannedMeanwhile(p.Day).Because(err)
	}
	if err != nil {
		return p, fmt.Errorf("insert the plan of %s: %w", p.Day, err)
	}
	batch := &pgx.Batch{}
	for _, b := range p.Blocks {
		batch.Queue(`insert into dayplan.block (plan_id, dog_id, session, trainer_id, second_trainer_id, own, area_id, skill_id, during)
			values ($1, $2, $3, $4, $5, $6, $7, $8, tstzrange($9, $10))`, p.ID, b.DogID, b.Session, b.TrainerID, b.SecondID, b.Own, b.AreaID, b.SkillID, b.From, b.To)
	}
	for _, x := range p.Pauses {
		batch.Queue(`insert into dayplan.pause (plan_id, trainer_id, kind, during) values ($1, $2, $3, tstzrange($4, $5))`, p.ID, x.TrainerID, x.Kind, x.From, x.To)
	}
	for _, x := range p.Duties {
		batch.Queue(`insert into dayplan.duty (plan_id, dog_id, kind, trainer_id, during) values ($1, $2, $3, $4, tstzrange($5, $6))`,
			p.ID, x.DogID, x.Kind, x.TrainerID, x.From, x.To)
	}
	for _, x := range p.Drops {
		batch.Queue(`insert into dayplan.dropped (plan_id, dog_id, session, skill_id, reason, remedy) values ($1, $2, $3, $4, $5, $6)`,
			p.ID, x.DogID, x.Session, x.SkillID, x.Reason, x.Remedy)
	}
	if err := tx.SendBatch(ctx, batch).Close(); err != nil {
		return p, fmt.Errorf("insert the parts of the plan of %s: %w", p.Day, err)
	}
	return p, nil
}

func plannedMeanwhile(day calendar.Date) *apperr.Error {
	return apperr.Conflictf("DAY_PLANNED_MEANWHILE", "somebody else has just planned %s, so nothing was kept: look at that plan first", day)
}

// author is who plans, and when.
type author struct {
	by   string
	at   time.Time
	mint ids.Mint
}

// refuseBegun refuses to replace a plan whose day has begun.
func (p *Plan) refuseBegun(now time.Time) error {
	if first, ok := p.begins(); ok && !now.Before(first) {
		return apperr.Preconditionf("DAY_BEGUN", "plan %d of %s has begun, and people work by it: plan the rest of the day with `longlead day absent`, or replace it all with --anew", p.Number, p.Day)
	}
	return nil
}

// siteInPlan is the site whose live plan of a day names a trainer; absent when none does.
func siteInPlan(ctx context.Context, db postgres.DB, trainer ids.TrainerID, day calendar.Date) (site ids.SiteID, err error) {
	err = db.QueryRow(ctx, `
		select p.site_id from dayplan.plan p where p.day = $2 and p.state = 'live' and (
		  exists (select from dayplan.block b where b.plan_id = p.id and $1 in (b.trainer_id, b.second_trainer_id)) or
		  exists (select from dayplan.duty d where d.plan_id = p.id and d.trainer_id = $1)) limit 1`, trainer, day).Scan(&site)
	if postgres.NoRows(err) {
		return ids.SiteID{}, nil
	}
	if err != nil {
		return site, fmt.Errorf("find the site of a trainer on %s: %w", day, err)
	}
	return site, nil
}
