package enrollment

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/workload"
)

// Traits is what matters of a dog on its working day. They are kept beside the dog, because no month plan depends on them. The zero value
// is a dog of which none is recorded.
type Traits struct {
	FlatFaced  workload.Trait `db:"flat_faced" json:"flat_faced"`
	Overweight workload.Trait `db:"overweight" json:"overweight"`
	// TwoPeople says that two people must be with the dog at work.
	TwoPeople workload.Trait `db:"two_people" json:"two_people"`
}

// Apart is a pair of dogs that must not meet; DogID is the smaller of the two IDs.
type Apart struct {
	DogID   ids.DogID `db:"dog_id" json:"dog_id"`
	OtherID ids.DogID `db:"other_id" json:"other_id"`
	Reason  string    `db:"reason" json:"reason"`
}

type dogTraits struct {
	DogID ids.DogID `db:"dog_id"`
	Traits
}

func traitsByDog(found []dogTraits) map[ids.DogID]Traits {
	traits := make(map[ids.DogID]Traits, len(found))
	for _, f := range found {
		traits[f.DogID] = f.Traits
	}
	return traits
}

// ListTraits returns the traits of the dogs; one of which none was ever recorded is absent.
func ListTraits(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]Traits, error) {
	found, err := postgres.List[dogTraits](ctx, db, "list traits", `
		select dog_id, flat_faced, overweight, two_people from enrollment.trait where dog_id = any($1)`, dogs)
	return traitsByDog(found), err
}

func listAllTraits(ctx context.Context, db postgres.DB) (map[ids.DogID]Traits, error) {
	found, err := postgres.List[dogTraits](ctx, db, "list all traits", `select dog_id, flat_faced, overweight, two_people from enrollment.trait`)
	return traitsByDog(found), err
}

// traitRow is the traits of a dog on their way in, by its code.
type traitRow struct {
	Code string `json:"code"`
	Traits
}

// putTraits writes the traits of known dogs; of those known before only the columns that are given change.
func putTraits(ctx context.Context, tx postgres.Tx, rows []traitRow, given [len(traitColumns)]bool) error {
	for start := 0; start < len(rows); start += putChunk {
		_, err := tx.Exec(ctx, `
			insert into enrollment.trait (dog_id, flat_faced, overweight, two_people)
			select d.id, r.flat_faced, r.overweight, r.two_people
			from jsonb_to_recordset($1) as r(code text, flat_faced text, overweight text, two_people text) join enrollment.dog d on d.code = r.code
			on conflict on constraint trait_pkey do update set
			  flat_faced = case when $2 then excluded.flat_faced else trait.flat_faced end,
			  overweight = case when $3 then excluded.overweight else trait.overweight end,
			  two_people = case when $4 then excluded.two_people else trait.two_people end`,
			rows[start:min(len(rows), start+putChunk)], given[0], given[1], given[2])
		if err != nil {
			return fmt.Errorf("put traits: %w", err)
		}
	}
	return nil
}

// ListApart returns the pairs of which both dogs are among those given, by ID.
func ListApart(ctx context.Context, db postgres.DB, dogs []ids.DogID) ([]Apart, error) {
	return postgres.List[Apart](ctx, db, "list dogs that must not meet", `
		select dog_id, other_id, reason from enrollment.apart where dog_id = any($1) and other_id = any($1) order by dog_id, other_id`, dogs)
}

// apartLine is a pair by codes, the first of them in the alphabet first.
type apartLine struct {
	Dog    string `db:"dog"`
	Other  string `db:"other"`
	Reason string `db:"reason"`
}

func listAllApart(ctx context.Context, db postgres.DB) ([]apartLine, error) {
	return postgres.List[apartLine](ctx, db, "list all dogs that must not meet", `
		select least(d.code, o.code) as dog, greatest(d.code, o.code) as other, a.reason
		from enrollment.apart a join enrollment.dog d on d.id = a.dog_id join enrollment.dog o on o.id = a.other_id order by 1, 2`)
}

// putApart inserts pairs, or updates the reason of those that are known.
func putApart(ctx context.Context, tx postgres.Tx, pairs []Apart) error {
	return putRows(ctx, tx, "dogs that must not meet", `
		insert into enrollment.apart (dog_id, other_id, reason)
		select dog_id, other_id, reason from jsonb_to_recordset($1) as r(dog_id uuid, other_id uuid, reason text)
		on conflict on constraint apart_pkey do update set reason = excluded.reason`, pairs)
}
