package roster

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/postgres"
)

const selectTrainer = `
	select t.id, t.code, t.name, t.email, t.home_site_id, t.minutes_a_day, t.most_dogs, t.care_classes,
	       coalesce((select jsonb_object_agg(k.skill, k.level) from roster.trainer_skill k where k.trainer_id = t.id), '{}') as skills
	from roster.trainer t`

// ListTrainers returns every trainer with skills, by code.
func ListTrainers(ctx context.Context, db postgres.DB) ([]Trainer, error) {
	return postgres.List[Trainer](ctx, db, "list trainers", selectTrainer+` order by t.code`)
}

// FindTrainer returns the trainer with a code. It returns NotFound when there is none.
func FindTrainer(ctx context.Context, db postgres.DB, code string) (Trainer, error) {
	trainer, err := postgres.One[Trainer](ctx, db, "find trainer "+code, selectTrainer+` where t.code = $1`, code)
	if postgres.NoRows(err) {
		return Trainer{}, apperr.NotFoundf("TRAINER_UNKNOWN",
			"there is no trainer with the code %q: `longlead export trainers` lists them", code)
	}
	return trainer, err
}

// TrainerCodes maps the code of each trainer to its ID.
func TrainerCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list trainer codes", `select code, id from roster.trainer`)
}

// trainerRow is a trainer on the way into the table, with the address that Trainer keeps out of JSON.
type trainerRow struct {
	Trainer
	Email string `json:"email"`
}

// putTrainers inserts trainers, or updates those whose code is known. Their skills are afterwards exactly those given.
func putTrainers(ctx context.Context, tx postgres.Tx, trainers []Trainer) error {
	rows := make([]trainerRow, len(trainers))
	for i, t := range trainers {
		rows[i] = trainerRow{Trainer: t, Email: t.Email}
	}
	for _, step := range []struct{ what, sql string }{
		{"put", `
			insert into roster.trainer (id, code, name, email, home_site_id, minutes_a_day, most_dogs, care_classes)
			select id, code, name, email, home_site_id, minutes_a_day, most_dogs, array(select jsonb_array_elements_text(care_classes))
			from jsonb_to_recordset($1) as r(id uuid, code text, name text, email text, home_site_id uuid, minutes_a_day int,
			     most_dogs int, care_classes jsonb)
			on conflict on constraint trainer_code_key do update set name = excluded.name, email = excluded.email,
			  home_site_id = excluded.home_site_id, minutes_a_day = excluded.minutes_a_day, most_dogs = excluded.most_dogs,
			  care_classes = excluded.care_classes`},
		{"clear the skills of", `
			delete from roster.trainer_skill k using jsonb_to_recordset($1) as r(code text), roster.trainer t
			where t.code = r.code and k.trainer_id = t.id`},
		{"put the skills of", `
			insert into roster.trainer_skill (trainer_id, skill, level)
			select t.id, held.key, held.value::int
			from jsonb_to_recordset($1) as r(code text, skills jsonb)
			join roster.trainer t on t.code = r.code
			cross join jsonb_each_text(r.skills) as held`},
	} {
		if _, err := tx.Exec(ctx, step.sql, rows); err != nil {
			return fmt.Errorf("%s %d trainers: %w", step.what, len(rows), err)
		}
	}
	return nil
}

// ListShifts returns the weekly pattern of every trainer, by trainer code and weekday.
func ListShifts(ctx context.Context, db postgres.DB) ([]Shift, error) {
	return postgres.List[Shift](ctx, db, "list shifts", `
		select s.trainer_id, s.weekday, s.site_id, s.starts, s.ends, s.meal_minutes
		from roster.shift s join roster.trainer t on t.id = s.trainer_id order by t.code, s.weekday`)
}

func putShifts(ctx context.Context, tx postgres.Tx, shifts []Shift) error {
	_, err := tx.Exec(ctx, `
		insert into roster.shift (trainer_id, weekday, site_id, starts, ends, meal_minutes)
		select trainer_id, weekday, site_id, starts, ends, meal_minutes
		from jsonb_to_recordset($1) as r(trainer_id uuid, weekday int, site_id uuid, starts time, ends time, meal_minutes int)
		on conflict on constraint shift_pkey do update set site_id = excluded.site_id, starts = excluded.starts,
		  ends = excluded.ends, meal_minutes = excluded.meal_minutes`, shifts)
	if err != nil {
		return fmt.Errorf("put %d shifts: %w", len(shifts), err)
	}
	return nil
}

// ListWorkRules returns the work rules of the sites that have some, in no particular order of sites.
func ListWorkRules(ctx context.Context, db postgres.DB) ([]WorkRule, error) {
	return postgres.List[WorkRule](ctx, db, "list work rules", `
		select site_id, daily_rest_minutes, meal_after_minutes, meal_minutes, weekly_minutes, weekly_rest_minutes, citation
		from roster.work_rule order by site_id`)
}

func putWorkRules(ctx context.Context, tx postgres.Tx, rules []WorkRule) error {
	_, err := tx.Exec(ctx, `
		insert into roster.work_rule (site_id, daily_rest_minutes, meal_after_minutes, meal_minutes, weekly_minutes,
		  weekly_rest_minutes, citation)
		select site_id, daily_rest_minutes, meal_after_minutes, meal_minutes, weekly_minutes, weekly_rest_minutes, citation
		from jsonb_to_recordset($1) as r(site_id uuid, daily_rest_minutes int, meal_after_minutes int, meal_minutes int,
		     weekly_minutes int, weekly_rest_minutes int, citation text)
		on conflict on constraint work_rule_pkey do update set daily_rest_minutes = excluded.daily_rest_minutes,
		  meal_after_minutes = excluded.meal_after_minutes, meal_minutes = excluded.meal_minutes,
		  weekly_minutes = excluded.weekly_minutes, weekly_rest_minutes = excluded.weekly_rest_minutes,
		  citation = excluded.citation`, rules)
	if err != nil {
		return fmt.Errorf("put %d work rules: %w", len(rules), err)
	}
	return nil
}

// ListDays returns every trainer by code, and the working days in span by trainer and day. Give it a transaction of
// postgres.ReadTx where the days must agree with other reads.
func ListDays(ctx context.Context, db postgres.DB, span calendar.Span) ([]Trainer, []TrainerDay, error) {
	if span.IsEmpty() {
		return nil, nil, fmt.Errorf("list working days: the span %s to %s holds no day", span.From, span.To)
	}
	trainers, err := ListTrainers(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	shifts, err := ListShifts(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	absences, err := ListAbsences(ctx, db, span)
	if err != nil {
		return nil, nil, err
	}
	loans, err := ListLoans(ctx, db, span)
	if err != nil {
		return nil, nil, err
	}
	return trainers, Days(trainers, shifts, absences, loans, span), nil
}
