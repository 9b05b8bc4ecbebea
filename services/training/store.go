package training

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// ListSkills returns the ladder from the first rung up.
func ListSkills(ctx context.Context, db postgres.DB) ([]Skill, error) {
	return postgres.List[Skill](ctx, db, "list skills", `
		select id, code, name, about, with_name, sort_order from training.skill order by sort_order, code`)
}

// SkillCodes maps the code of each skill to its ID.
func SkillCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list skill codes", `select code, id from training.skill`)
}

// putSkills inserts skills, or updates those whose code is known.
func putSkills(ctx context.Context, tx postgres.Tx, skills []Skill) error {
	_, err := tx.Exec(ctx, `
		insert into training.skill (id, code, name, about, with_name, sort_order)
		select id, code, name, about, with_name, sort_order
		from jsonb_to_recordset($1) as r(id uuid, code text, name text, about text, with_name boolean, sort_order int)
		on conflict on constraint skill_code_key do update set name = excluded.name, about = excluded.about,
		  with_name = excluded.with_name, sort_order = excluded.sort_order`, skills)
	if err != nil {
		return fmt.Errorf("put %d skills: %w", len(skills), err)
	}
	return nil
}

const targetColumns = `t.program_id, t.skill_id, t.trials_percent, t.hold_seconds, t.distance_cm, t.distraction`

// ListTargets returns what every program asks, by program and rung.
func ListTargets(ctx context.Context, db postgres.DB) ([]Target, error) {
	return postgres.List[Target](ctx, db, "list targets", `select `+targetColumns+`
		from training.target t join training.skill s on s.id = t.skill_id order by t.program_id, s.sort_order, s.code`)
}

// ListTargetsOf returns what a program asks, by rung.
func ListTargetsOf(ctx context.Context, db postgres.DB, program ids.ProgramID) ([]Target, error) {
	return postgres.List[Target](ctx, db, "list targets of a program", `select `+targetColumns+`
		from training.target t join training.skill s on s.id = t.skill_id where t.program_id = $1 order by s.sort_order, s.code`, program)
}

// putTargets inserts targets, or updates those whose program and skill are known.
func putTargets(ctx context.Context, tx postgres.Tx, targets []Target) error {
	_, err := tx.Exec(ctx, `
		insert into training.target (program_id, skill_id, trials_percent, hold_seconds, distance_cm, distraction)
		select program_id, skill_id, trials_percent, hold_seconds, distance_cm, distraction
		from jsonb_to_recordset($1) as r(program_id uuid, skill_id uuid, trials_percent int, hold_seconds int, distance_cm int, distraction int)
		on conflict on constraint target_pkey do update set trials_percent = excluded.trials_percent,
		  hold_seconds = excluded.hold_seconds, distance_cm = excluded.distance_cm, distraction = excluded.distraction`, targets)
	if err != nil {
		return fmt.Errorf("put %d targets: %w", len(targets), err)
	}
	return nil
}
