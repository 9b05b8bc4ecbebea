package enrollment

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/workload"
)

// vaccination is a row of enrollment.vaccination.
type vaccination struct {
	ID    ids.VaccinationID `db:"id" json:"id"`
	DogID ids.DogID         `db:"dog_id" json:"dog_id"`
	Shot
}

const vaccinationColumns = `v.id, v.dog_id, v.vaccine, v.given, v.course, v.label_months`

// listVaccinations returns every shot by dog code, vaccine and day.
func listVaccinations(ctx context.Context, db postgres.DB) ([]vaccination, error) {
	return postgres.List[vaccination](ctx, db, "list vaccinations", `select `+vaccinationColumns+`
		from enrollment.vaccination v join enrollment.dog d on d.id = v.dog_id order by d.code, v.vaccine, v.given`)
}

// listShots returns the shots of the dogs, each dog's by vaccine and day.
func listShots(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID][]Shot, error) {
	found, err := postgres.List[vaccination](ctx, db, "list shots of dogs", `select `+vaccinationColumns+`
		from enrollment.vaccination v where v.dog_id = any($1) order by v.dog_id, v.vaccine, v.given`, dogs)
	shots := map[ids.DogID][]Shot{}
	for _, v := range found {
		shots[v.DogID] = append(shots[v.DogID], v.Shot)
	}
	return shots, err
}

// putVaccinations inserts shots, or updates those whose dog, vaccine and day are known.
func putVaccinations(ctx context.Context, tx postgres.Tx, shots []vaccination) error {
	return putRows(ctx, tx, "vaccinations", `
		insert into enrollment.vaccination (id, dog_id, vaccine, given, course, label_months)
		select id, dog_id, vaccine, given, course, label_months
		from jsonb_to_recordset($1) as r(id uuid, dog_id uuid, vaccine text, given date, course text, label_months int)
		on conflict on constraint vaccination_dog_vaccine_given_key do update
		set course = excluded.course, label_months = excluded.label_months`, shots)
}

// answer is a row of enrollment.answer.
type answer struct {
	DogID    ids.DogID         `db:"dog_id" json:"dog_id"`
	Question workload.Question `db:"question" json:"question"`
	Score    int               `db:"score" json:"score"`
}

// listAnswers returns every answer by dog code and question.
func listAnswers(ctx context.Context, db postgres.DB) ([]answer, error) {
	return postgres.List[answer](ctx, db, "list answers", `
		select a.dog_id, a.question, a.score
		from enrollment.answer a join enrollment.dog d on d.id = a.dog_id order by d.code, a.question`)
}

// listAnswersOf returns the answers of the dogs by question.
func listAnswersOf(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]map[workload.Question]int, error) {
	found, err := postgres.List[answer](ctx, db, "list answers of dogs",
		`select dog_id, question, score from enrollment.answer where dog_id = any($1)`, dogs)
	answers := map[ids.DogID]map[workload.Question]int{}
	for _, a := range found {
		if answers[a.DogID] == nil {
			answers[a.DogID] = map[workload.Question]int{}
		}
		answers[a.DogID][a.Question] = a.Score
	}
	return answers, err
}

func putAnswers(ctx context.Context, tx postgres.Tx, answers []answer) error {
	return putRows(ctx, tx, "answers", `
		insert into enrollment.answer (dog_id, question, score)
		select dog_id, question, score from jsonb_to_recordset($1) as r(dog_id uuid, question text, score int)
		on conflict on constraint answer_pkey do update set score = excluded.score`, answers)
}

const overrideColumns = `o.dog_id, o.decided_at, o.decided_by, o.minutes, o.care_class, o.reason`

// listOverrides returns every word that was given, by dog code and instant.
func listOverrides(ctx context.Context, db postgres.DB) ([]Override, error) {
	return postgres.List[Override](ctx, db, "list overrides", `select `+overrideColumns+`
		from enrollment.workload_override o join enrollment.dog d on d.id = o.dog_id order by d.code, o.decided_at`)
}

// listLatestOverrides returns the latest word on each of the dogs.
func listLatestOverrides(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]*Override, error) {
	found, err := postgres.List[Override](ctx, db, "list latest overrides of dogs", `select distinct on (o.dog_id) `+overrideColumns+`
		from enrollment.workload_override o where o.dog_id = any($1) order by o.dog_id, o.decided_at desc`, dogs)
	latest := make(map[ids.DogID]*Override, len(found))
	for i := range found {
		latest[found[i].DogID] = &found[i]
	}
	return latest, err
}

// insertOverride keeps a person's word. One on the same dog at the same instant is a Conflict.
func insertOverride(ctx context.Context, tx postgres.Tx, id uuid.UUID, o Override) error {
	_, err := tx.Exec(ctx, `
		insert into enrollment.workload_override (id, dog_id, decided_at, decided_by, minutes, care_class, reason)
		values ($1, $2, $3, $4, $5, $6, $7)`, id, o.DogID, o.DecidedAt, o.DecidedBy, o.Minutes, o.Care, o.Reason)
	if name, _ := postgres.Constraint(err); name == "workload_override_dog_decided_key" {
		return apperr.Conflictf("DECIDED_AT_ONCE", "somebody decided on this dog at the same moment: look at what stands now, and decide again").Because(err)
	}
	if err != nil {
		return fmt.Errorf("insert override: %w", err)
	}
	return nil
}

// overrideKey is what tells one word from another.
type overrideKey struct {
	dog ids.DogID
	at  time.Time
}

func (o Override) key() overrideKey { return overrideKey{o.DogID, o.DecidedAt} }

// listOverridesOf returns all words on the dogs.
func listOverridesOf(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[overrideKey]Override, error) {
	found, err := postgres.List[Override](ctx, db, "list overrides of dogs", `select `+overrideColumns+`
		from enrollment.workload_override o where o.dog_id = any($1)`, dogs)
	kept := make(map[overrideKey]Override, len(found))
	for _, o := range found {
		kept[o.key()] = o
	}
	return kept, err
}

// overrideRow is a row of enrollment.workload_override on its way in.
type overrideRow struct {
	ID uuid.UUID `json:"id"`
	Override
}

// insertOverrides adds words; none of them is kept yet.
func insertOverrides(ctx context.Context, tx postgres.Tx, rows []overrideRow) error {
	return putRows(ctx, tx, "overrides", `
		insert into enrollment.workload_override (id, dog_id, decided_at, decided_by, minutes, care_class, reason)
		select id, dog_id, decided_at, decided_by, minutes, care_class, reason
		from jsonb_to_recordset($1) as r(id uuid, dog_id uuid, decided_at timestamptz, decided_by text, minutes int, care_class text, reason text)`, rows)
}
