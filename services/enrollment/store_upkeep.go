package enrollment

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
)

const (
	vetColumns      = `v.dog_id, v.name, v.phone`
	medicineColumns = `m.dog_id, m.medicine, m.first_day, m.last_day, m.dose,
		array(select left(t::text, 5) from unnest(m.times) t order by t) as times, m.with_food, m.note`
	feedingColumns = `f.dog_id, f.note`
	biteColumns    = `b.dog_id, b.day, b.level, b.note`
)

// ListUpkeep returns what is recorded of the dogs; one of which nothing is recorded is absent. Names and telephone numbers of
// veterinarians are personal data.
func ListUpkeep(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]Upkeep, error) {
	all := map[ids.DogID]Upkeep{}
	vets, err := postgres.List[Vet](ctx, db, "list vets of dogs", `select `+vetColumns+` from enrollment.vet v where v.dog_id = any($1)`, dogs)
	if err != nil {
		return nil, err
	}
	for i := range vets {
		u := all[vets[i].DogID]
		u.Vet = &vets[i]
		all[vets[i].DogID] = u
	}
	medicines, err := postgres.List[Medicine](ctx, db, "list medicines of dogs", `select `+medicineColumns+`
		from enrollment.medicine m where m.dog_id = any($1) order by m.dog_id, m.medicine, m.first_day`, dogs)
	if err != nil {
		return nil, err
	}
	for _, m := range medicines {
		u := all[m.DogID]
		u.Medicines = append(u.Medicines, m)
		all[m.DogID] = u
	}
	feedings, err := postgres.List[feeding](ctx, db, "list feeding notes of dogs", `select `+feedingColumns+`
		from enrollment.feeding f where f.dog_id = any($1)`, dogs)
	if err != nil {
		return nil, err
	}
	for _, f := range feedings {
		u := all[f.DogID]
		u.Feeding = f.Note
		all[f.DogID] = u
	}
	bites, err := postgres.List[Bite](ctx, db, "list bites of dogs", `select `+biteColumns+`
		from enrollment.bite b where b.dog_id = any($1) order by b.dog_id, b.day`, dogs)
	for _, b := range bites {
		u := all[b.DogID]
		u.Bites = append(u.Bites, b)
		all[b.DogID] = u
	}
	return all, err
}

func listVets(ctx context.Context, db postgres.DB) ([]Vet, error) {
	return postgres.List[Vet](ctx, db, "list vets", `select `+vetColumns+` from enrollment.vet v join enrollment.dog d on d.id = v.dog_id order by d.code`)
}

// putVets inserts the veterinarians of dogs, or updates those of dogs that have one.
func putVets(ctx context.Context, tx postgres.Tx, vets []Vet) error {
	return putRows(ctx, tx, "vets", `
		insert into enrollment.vet (dog_id, name, phone)
		select dog_id, name, phone from jsonb_to_recordset($1) as r(dog_id uuid, name text, phone text)
		on conflict on constraint vet_pkey do update set name = excluded.name, phone = excluded.phone`, vets)
}

func listMedicines(ctx context.Context, db postgres.DB) ([]Medicine, error) {
	return postgres.List[Medicine](ctx, db, "list medicines", `select `+medicineColumns+`
		from enrollment.medicine m join enrollment.dog d on d.id = m.dog_id order by d.code, m.medicine, m.first_day`)
}

// putMedicines inserts medicines, or updates those whose dog, name and first day are known.
func putMedicines(ctx context.Context, tx postgres.Tx, medicines []Medicine) error {
	return putRows(ctx, tx, "medicines", `
		insert into enrollment.medicine (dog_id, medicine, first_day, last_day, dose, times, with_food, note)
		select dog_id, medicine, first_day, nullif(last_day, '')::date, dose, times, with_food, note
		from jsonb_to_recordset($1) as r(dog_id uuid, medicine text, first_day date, last_day text, dose text, times time[], with_food boolean, note text)
		on conflict on constraint medicine_pkey do update set last_day = excluded.last_day, dose = excluded.dose, times = excluded.times,
		  with_food = excluded.with_food, note = excluded.note`, medicines)
}

func listFeedings(ctx context.Context, db postgres.DB) ([]feeding, error) {
	return postgres.List[feeding](ctx, db, "list feeding notes", `select `+feedingColumns+`
		from enrollment.feeding f join enrollment.dog d on d.id = f.dog_id order by d.code`)
}

func putFeedings(ctx context.Context, tx postgres.Tx, feedings []feeding) error {
	return putRows(ctx, tx, "feeding notes", `
		insert into enrollment.feeding (dog_id, note) select dog_id, note from jsonb_to_recordset($1) as r(dog_id uuid, note text)
		on conflict on constraint feeding_pkey do update set note = excluded.note`, feedings)
}

func listBites(ctx context.Context, db postgres.DB) ([]Bite, error) {
	return postgres.List[Bite](ctx, db, "list bites", `select `+biteColumns+` from enrollment.bite b join enrollment.dog d on d.id = b.dog_id order by d.code, b.day`)
}

func putBites(ctx context.Context, tx postgres.Tx, bites []Bite) error {
	return putRows(ctx, tx, "bites", `
		insert into enrollment.bite (dog_id, day, level, note)
		select dog_id, day, level, note from jsonb_to_recordset($1) as r(dog_id uuid, day date, level text, note text)
		on conflict on constraint bite_pkey do update set level = excluded.level, note = excluded.note`, bites)
}
