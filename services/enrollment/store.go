package enrollment

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

// putChunk is how many rows one statement takes: large enough that the trips to the database do not count, small enough that
// a statement stays far below the statement time-out and a few megabytes.
const putChunk = 5000

// putRows sends rows as JSON to one statement, putChunk at a time. what names it in the error, which holds no cell.
func putRows[T any](ctx context.Context, tx postgres.Tx, what, sql string, rows []T) error {
	for chunk := range slices.Chunk(rows, putChunk) {
		if _, err := tx.Exec(ctx, sql, chunk); err != nil {
			return fmt.Errorf("put %s: %w", what, err)
		}
	}
	return nil
}

// ListOwners returns every owner by code. It is personal data: read it only to write to people or to export.
func ListOwners(ctx context.Context, db postgres.DB) ([]Owner, error) {
	return postgres.List[Owner](ctx, db, "list owners", `select id, code, name, email, phone, zone from enrollment.owner order by code`)
}

// ListOwnersByDog returns the owner of each of the dogs. It is personal data.
func ListOwnersByDog(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]Owner, error) {
	type dogOwner struct {
		Owner
		DogID ids.DogID `db:"dog_id"`
	}
	found, err := postgres.List[dogOwner](ctx, db, "list owners of dogs", `
		select d.id as dog_id, o.id, o.code, o.name, o.email, o.phone, o.zone
		from enrollment.dog d join enrollment.owner o on o.id = d.owner_id where d.id = any($1)`, dogs)
	owners := make(map[ids.DogID]Owner, len(found))
	for _, f := range found {
		owners[f.DogID] = f.Owner
	}
	return owners, err
}

// putOwners inserts owners, or updates those whose code is known.
func putOwners(ctx context.Context, tx postgres.Tx, owners []Owner) error {
	return putRows(ctx, tx, "owners", `
		insert into enrollment.owner (id, code, name, email, phone, zone)
		select id, code, name, email, phone, zone from jsonb_to_recordset($1) as r(id uuid, code text, name text, email text, phone text, zone text)
		on conflict on constraint owner_code_key do update set name = excluded.name, email = excluded.email, phone = excluded.phone, zone = excluded.zone`, owners)
}

// OwnerCodes maps the code of each owner to its ID.
func OwnerCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list owner codes", `select code, id from enrollment.owner`)
}

// ListPrograms returns every program with its goals, by code.
func ListPrograms(ctx context.Context, db postgres.DB) ([]Program, error) {
	return postgres.List[Program](ctx, db, "list programs", `
		select p.id, p.code, p.name, p.nights, p.sessions_a_day, p.session_minutes, p.least_age_months,
		       coalesce((select jsonb_object_agg(g.skill, g.level) from enrollment.program_goal g where g.program_id = p.id), '{}') as goals
		from enrollment.program p order by p.code`)
}

// putPrograms inserts programs, or updates those whose code is known; their goals are replaced.
func putPrograms(ctx context.Context, tx postgres.Tx, programs []Program) error {
	err := putRows(ctx, tx, "programs", `
		insert into enrollment.program (id, code, name, nights, sessions_a_day, session_minutes, least_age_months)
		select id, code, name, nights, sessions_a_day, session_minutes, least_age_months
		from jsonb_to_recordset($1) as r(id uuid, code text, name text, nights int, sessions_a_day int, session_minutes int, least_age_months int)
		on conflict on constraint program_code_key do update set name = excluded.name, nights = excluded.nights,
		  sessions_a_day = excluded.sessions_a_day, session_minutes = excluded.session_minutes, least_age_months = excluded.least_age_months`, programs)
	if err != nil {
		return err
	}
	// By code, because a known program keeps the ID that it has.
	err = putRows(ctx, tx, "programs, old goals", `
		delete from enrollment.program_goal where program_id in (
		  select p.id from enrollment.program p join jsonb_to_recordset($1) as r(code text) on r.code = p.code)`, programs)
	if err != nil {
		return err
	}
	return putRows(ctx, tx, "programs, goals", `
		insert into enrollment.program_goal (program_id, skill, level)
		select p.id, g.key, g.value::int
		from jsonb_to_recordset($1) as r(code text, goals jsonb)
		join enrollment.program p on p.code = r.code
		cross join jsonb_each_text(r.goals) as g`, programs)
}

// ProgramCodes maps the code of each program to its ID.
func ProgramCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list program codes", `select code, id from enrollment.program`)
}

const dogColumns = `d.id, d.code, d.owner_id, d.name, d.breed, d.breed_tier, d.hound, d.sex, d.born, d.weight_g, d.length_mm,
	d.height_mm, d.bite_level, d.season_started, d.note`

// ListDogs returns every dog by code.
func ListDogs(ctx context.Context, db postgres.DB) ([]Dog, error) {
	return postgres.List[Dog](ctx, db, "list dogs", `select `+dogColumns+` from enrollment.dog d order by d.code`)
}

// ListDogsByID returns the dogs with these IDs; one that is unknown is absent.
func ListDogsByID(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]Dog, error) {
	found, err := postgres.List[Dog](ctx, db, "list dogs by ID", `select `+dogColumns+` from enrollment.dog d where d.id = any($1)`, dogs)
	byID := make(map[ids.DogID]Dog, len(found))
	for _, d := range found {
		byID[d.ID] = d
	}
	return byID, err
}

// ListDogsByCode returns the dogs with these codes, by code; one that is unknown is absent.
func ListDogsByCode(ctx context.Context, db postgres.DB, codes []string) ([]Dog, error) {
	return postgres.List[Dog](ctx, db, "list dogs by code", `select `+dogColumns+` from enrollment.dog d where d.code = any($1) order by d.code`, codes)
}

// findDog returns the dog with a code. It returns NotFound when there is none.
func findDog(ctx context.Context, db postgres.DB, code string) (Dog, error) {
	dog, err := postgres.One[Dog](ctx, db, "find a dog", `select `+dogColumns+` from enrollment.dog d where d.code = $1`, code)
	if postgres.NoRows(err) {
		return Dog{}, apperr.NotFoundf("DOG_UNKNOWN", "there is no dog with the code %q: `longlead export dogs` lists them", code)
	}
	return dog, err
}

// putDogs inserts dogs, or updates those whose code is known.
func putDogs(ctx context.Context, tx postgres.Tx, dogs []Dog) error {
	return putRows(ctx, tx, "dogs", `
		insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm,
		  bite_level, season_started, note)
		select id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level,
		  nullif(season_started, '')::date, note
		from jsonb_to_recordset($1) as r(id uuid, code text, owner_id uuid, name text, breed text, breed_tier int, hound boolean,
		  sex text, born date, weight_g int, length_mm int, height_mm int, bite_level text, season_started text, note text)
		on conflict on constraint dog_code_key do update set owner_id = excluded.owner_id, name = excluded.name, breed = excluded.breed,
		  breed_tier = excluded.breed_tier, hound = excluded.hound, sex = excluded.sex, born = excluded.born,
		  weight_g = excluded.weight_g, length_mm = excluded.length_mm, height_mm = excluded.height_mm,
		  bite_level = excluded.bite_level, season_started = excluded.season_started, note = excluded.note`, dogs)
}

// DogCodes maps the code of each dog to its ID.
func DogCodes(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list dog codes", `select code, id from enrollment.dog`)
}

// dogsByCode is DogCodes for these codes; one that is unknown is absent.
func dogsByCode(ctx context.Context, db postgres.DB, codes []string) (map[string]uuid.UUID, error) {
	return postgres.Codes(ctx, db, "list dogs by code", `select code, id from enrollment.dog where code = any($1)`, codes)
}
