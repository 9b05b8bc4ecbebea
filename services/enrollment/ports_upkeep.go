package enrollment

import (
	"context"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/workload"
)

// Names of the kinds of record that day sheets show beside a dog's case.
const (
	KindVets      = "vets"
	KindMedicines = "medicines"
	KindFeeding   = "feeding"
	KindBites     = "bites"
)

// upkeepPorts are the ways in and out of what whoever looks after a dog must know.
func upkeepPorts() []records.Port {
	return []records.Port{vetsPort(), medicinesPort(), feedingPort(), bitesPort()}
}

// listOfDogs lists records of dogs as cells; row gets the code of the dog.
func listOfDogs[T any](list func(context.Context, postgres.DB) ([]T, error), row func(T, map[ids.DogID]string) []string) func(context.Context, postgres.DB) ([][]string, error) {
	return func(ctx context.Context, db postgres.DB) ([][]string, error) {
		all, err := list(ctx, db)
		if err != nil {
			return nil, err
		}
		dogs, err := DogCodes(ctx, db)
		code := namesOf[ids.DogID](dogs)
		return records.Cells(all, func(one T) []string { return row(one, code) }), err
	}
}

func vetsPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindVets, About: "The veterinarian of each dog; personal data", Key: []string{"dog"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "name", Form: sheet.FormText, Max: 120, Example: "Low Mill Animal Practice", About: "veterinarian or practice"},
			{Name: "phone", Form: sheet.FormText, Required: true, Min: 3, Max: 40, Example: "+1 555 0190", About: "where to call"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			vets := make([]Vet, len(rows))
			for i, row := range rows {
				vets[i] = Vet{DogID: ids.DogID(row.Ref("dog")), Name: row.Text("name"), Phone: row.Text("phone")}
			}
			return nil, putVets(ctx, tx, vets)
		},
		List: listOfDogs(listVets, func(v Vet, code map[ids.DogID]string) []string { return []string{code[v.DogID], v.Name, v.Phone} }),
	}
}

func medicinesPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindMedicines, About: "Medicines that dogs get, as the owner or a veterinarian wrote them", Key: []string{"dog", "medicine", "first_day"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "medicine", Form: sheet.FormText, Required: true, Max: 120, Example: "ear drops", About: "what it is, by the name on the label"},
			{Name: "dose", Form: sheet.FormText, Required: true, Max: 200, Example: "5 drops in the left ear", About: "how much, as the label says"},
			{Name: "times", Form: sheet.FormClock, Required: true, Many: true, Example: "08:00", About: "local times of the site at which it is given"},
			{Name: "with_food", Form: sheet.FormYesNo, Required: true, Example: "no", About: "whether it is given with food"},
			{Name: "first_day", Form: sheet.FormDay, Required: true, Example: "2027-03-01", About: "first day"},
			{Name: "last_day", Form: sheet.FormDay, Example: "2027-03-10", About: "last day; empty until further notice"},
			{Name: "note", Form: sheet.FormText, Max: 500, Example: "wear gloves", About: "what whoever gives it should know"},
		}},
		Check: func(row records.Row) []records.Wrong {
			if last := row.Day("last_day"); !last.IsZero() && last.Before(row.Day("first_day")) {
				return []records.Wrong{row.Wrong("last_day", "is before the first day", "write the last day on which it is given, or leave it empty")}
			}
			return nil
		},
		Put: putMedicineRows,
		List: listOfDogs(listMedicines, func(m Medicine, code map[ids.DogID]string) []string {
			return []string{code[m.DogID], m.Medicine, m.Dose, sheet.List(m.Times...), sheet.YesNo(m.WithFood), sheet.Day(m.FirstDay), sheet.Day(m.LastDay), m.Note}
		}),
	}
}

func putMedicineRows(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
	dogs, err := ListDogsByID(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	medicines, bad := split(rows,
		func(row records.Row) Medicine {
			return Medicine{DogID: ids.DogID(row.Ref("dog")), Medicine: row.Text("medicine"), Dose: row.Text("dose"), Times: row.List("times"),
				WithFood: row.Yes("with_food"), FirstDay: row.Day("first_day"), LastDay: row.Day("last_day"), Note: row.Text("note")}
		},
		func(row records.Row, m Medicine) []records.Wrong {
			return lifeWrong(row, "first_day", m.FirstDay, dogs[m.DogID].Born)
		})
	return bad, putMedicines(ctx, tx, medicines)
}

func feedingPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindFeeding, About: "What is to be known about feeding a dog", Key: []string{"dog"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "note", Form: sheet.FormText, Required: true, Max: 500, Example: "own food, soaked; no chicken", About: "for whoever feeds it"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			feedings := make([]feeding, len(rows))
			for i, row := range rows {
				feedings[i] = feeding{DogID: ids.DogID(row.Ref("dog")), Note: row.Text("note")}
			}
			return nil, putFeedings(ctx, tx, feedings)
		},
		List: listOfDogs(listFeedings, func(f feeding, code map[ids.DogID]string) []string { return []string{code[f.DogID], f.Note} }),
	}
}

func bitesPort() records.Port {
	var levels []string
	for _, b := range workload.Bites() {
		levels = append(levels, b.Level)
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindBites, About: "Bites of dogs whose day is known", Key: []string{"dog", "day"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "day", Form: sheet.FormDay, Required: true, Example: "2026-11-02", About: "day of the bite"},
			{Name: "level", Form: sheet.FormChoice, OneOf: levels, Required: true, Example: "1", About: "level by wound, as in dogs"},
			{Name: "note", Form: sheet.FormText, Max: 500, Example: "over a bowl", About: "how it came about"},
		}},
		Put: putBiteRows,
		List: listOfDogs(listBites, func(b Bite, code map[ids.DogID]string) []string {
			return []string{code[b.DogID], sheet.Day(b.Day), b.Level, b.Note}
		}),
	}
}

func putBiteRows(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
	dogs, err := ListDogsByID(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	bites, bad := split(rows,
		func(row records.Row) Bite {
			return Bite{DogID: ids.DogID(row.Ref("dog")), Day: row.Day("day"), Level: row.Text("level"), Note: row.Text("note")}
		},
		func(row records.Row, b Bite) []records.Wrong { return lifeWrong(row, "day", b.Day, dogs[b.DogID].Born) })
	return bad, putBites(ctx, tx, bites)
}
