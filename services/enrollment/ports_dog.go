package enrollment

import (
	"context"
	"fmt"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/workload"
)

// gramsPerTenth turns tenths of a kilogram, as files have them, into grams.
const gramsPerTenth = 100

func dogColumnsOfFile() []sheet.Column {
	var bites []string
	for _, b := range workload.Bites() {
		bites = append(bites, b.Level)
	}
	return []sheet.Column{
		{Name: "code", Form: sheet.FormCode, Required: true, Example: "REX-LOWE", About: "short name used in other files"},
		{Name: "owner", Form: sheet.FormCode, Required: true, Refers: KindOwners, Example: "LOWE", About: "code of the owner"},
		{Name: "name", Form: sheet.FormText, Required: true, Max: 60, Example: "Rex", About: "what the dog is called"},
		{Name: "breed", Form: sheet.FormText, Max: 80, Example: "mixed", About: "as the owner says it"},
		{Name: "breed_tier", Form: sheet.FormWhole, Required: true, Min: 0, Max: len(workload.BreedTiers()), Example: "0", About: "tier of the breed, 1 to 6; 0 when unknown"},
		{Name: "hound", Form: sheet.FormYesNo, Required: true, Example: "no", About: "yes for a scent or sight hound"},
		{Name: "sex", Form: sheet.FormChoice, OneOf: []string{string(Female), string(Male), string(Spayed), string(Neutered)}, Required: true, Example: "female", About: "sex, and whether neutered"},
		{Name: "born", Form: sheet.FormDay, Required: true, Example: "2025-06-01", About: "day of birth, as well as it is known"},
		{Name: "weight_kg", Form: sheet.FormTenths, Required: true, Min: 5, Max: 1200, Example: "21.5", About: "weight in kilograms"},
		{Name: "length_mm", Form: sheet.FormWhole, Required: true, Min: 100, Max: 1600, Example: "780", About: "nose to base of tail, in millimetres"},
		{Name: "height_mm", Form: sheet.FormWhole, Required: true, Min: 100, Max: 1300, Example: "620", About: "floor to top of the head, standing, in millimetres"},
		{Name: "bite_level", Form: sheet.FormChoice, OneOf: bites, Example: "2", About: "worst bite on record; empty when there is none"},
		{Name: "season_started", Form: sheet.FormDay, Example: "2027-02-20", About: "first day of her latest or expected season; only for a female"},
		{Name: "note", Form: sheet.FormText, Max: 1000, Example: "afraid of brooms", About: "what whoever handles the dog should know"},
		{Name: "flat_faced", Form: sheet.FormYesNo, Example: "no", About: "yes for a short skull; empty: not recorded, which counts as yes in heat"},
		{Name: "overweight", Form: sheet.FormYesNo, Example: "no", About: "by its condition, as a veterinarian sees it; empty: not recorded, which counts as yes in heat"},
		{Name: "two_people", Form: sheet.FormYesNo, Example: "no", About: "yes when two people must be with it at work; empty: not recorded"},
	}
}

func dogsPort() records.Port {
	return records.Port{
		Kind:  sheet.Kind{Name: KindDogs, About: "Dogs", Key: []string{"code"}, Columns: dogColumnsOfFile()},
		Check: checkDog,
		Put:   putDogRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			dogs, err := ListDogs(ctx, db)
			if err != nil {
				return nil, err
			}
			owners, err := OwnerCodes(ctx, db)
			if err != nil {
				return nil, err
			}
			owner := namesOf[ids.OwnerID](owners)
			traits, err := listAllTraits(ctx, db)
			return records.Cells(dogs, func(d Dog) []string {
				return []string{d.Code, owner[d.OwnerID], d.Name, d.Breed, sheet.Int(d.BreedTier), sheet.YesNo(d.Hound), string(d.Sex),
					sheet.Day(d.Born), sheet.Tenths(d.WeightG / gramsPerTenth), sheet.Int(d.LengthMM), sheet.Int(d.HeightMM),
					d.BiteLevel, sheet.Day(d.SeasonStarted), d.Note, string(traits[d.ID].FlatFaced), string(traits[d.ID].Overweight), string(traits[d.ID].TwoPeople)}
			}), err
		},
		Codes: DogCodes,
	}
}

func dogOf(id ids.DogID, row records.Row) Dog {
	return Dog{ID: id, Code: row.Text("code"), OwnerID: ids.OwnerID(row.Ref("owner")), Name: row.Text("name"), Breed: row.Text("breed"),
		BreedTier: row.Int("breed_tier"), Hound: row.Yes("hound"), Sex: Sex(row.Text("sex")), Born: row.Day("born"),
		WeightG: row.Int("weight_kg") * gramsPerTenth, LengthMM: row.Int("length_mm"), HeightMM: row.Int("height_mm"),
		BiteLevel: row.Text("bite_level"), SeasonStarted: row.Day("season_started"), Note: row.Text("note")}
}

func checkDog(row records.Row) []records.Wrong {
	season := row.Day("season_started")
	switch sex := Sex(row.Text("sex")); {
	case season.IsZero():
	case sex != Female:
		return []records.Wrong{row.Wrong("season_started", fmt.Sprintf("is given for a dog that is %s", sex), "leave it empty, or write female as its sex")}
	default:
		return lifeWrong(row, "season_started", season, row.Day("born"))
	}
	return nil
}

// lifeWrong finds a day that is not of the dog's life: before its birth, or in an age that no dog reaches. Days are held against
// each other and never against today: what was exported from a school comes in again in any year.
func lifeWrong(row records.Row, column string, day, born calendar.Date) []records.Wrong {
	switch {
	case day.Before(born):
		return []records.Wrong{row.Wrong(column, fmt.Sprintf("is before the dog was born, %s", born), "check both days")}
	case day.After(born.AddMonths(mostAgeMonths)):
		return []records.Wrong{row.Wrong(column, fmt.Sprintf("is more than %d years after the dog was born, %s", mostAgeMonths/12, born), "check the year of both days")}
	}
	return nil
}

func putDogRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	codes := make([]string, len(rows))
	for i, row := range rows {
		codes[i] = row.Text("code")
	}
	known, err := dogsByCode(ctx, tx, codes)
	if err != nil {
		return nil, err
	}
	changing := make([]ids.DogID, 0, len(known))
	for _, id := range known {
		changing = append(changing, ids.DogID(id))
	}
	lives, err := livesOnRecord(ctx, tx, changing)
	if err != nil {
		return nil, err
	}
	dogs, bad := split(rows, func(row records.Row) Dog { return dogOf(ids.DogID(in.Mint()), row) },
		func(row records.Row, d Dog) []records.Wrong {
			return bornWrong(row, d.Born, lives[ids.DogID(known[d.Code])])
		})
	if err := putDogs(ctx, tx, dogs); err != nil {
		return nil, err
	}
	return bad, putTraitRows(ctx, tx, rows, dogs)
}

// life is the first and the last day on which something is on record of a dog; zero days when nothing is.
type life struct{ first, last calendar.Date }

func (l *life) add(day calendar.Date) {
	if l.first.IsZero() || day.Before(l.first) {
		l.first = day
	}
	if l.last.IsZero() || day.After(l.last) {
		l.last = day
	}
}

// livesOnRecord looks at what lifeWrong was asked about before: shots, words on the work, medicines, bites, and windows of requests.
func livesOnRecord(ctx context.Context, db postgres.DB, dogs []ids.DogID) (map[ids.DogID]life, error) {
	lives := map[ids.DogID]life{}
	if len(dogs) == 0 {
		return lives, nil
	}
	add := func(dog ids.DogID, day calendar.Date) {
		l := lives[dog]
		l.add(day)
		lives[dog] = l
	}
	shots, err := listShots(ctx, db, dogs)
	if err != nil {
		return nil, err
	}
	for dog, all := range shots {
		for _, shot := range all {
			add(dog, shot.Given)
		}
	}
	words, err := listOverridesOf(ctx, db, dogs)
	if err != nil {
		return nil, err
	}
	for _, word := range words {
		add(word.DogID, dayOf(word.DecidedAt.Add(mostAhead)))
	}
	upkeep, err := ListUpkeep(ctx, db, dogs)
	if err != nil {
		return nil, err
	}
	for dog, u := range upkeep {
		for _, day := range u.days() {
			add(dog, day)
		}
	}
	requests, err := listKnown(ctx, db, []string{}, dogs, []string{})
	for _, r := range requests {
		add(r.DogID, r.Days.From)
	}
	return lives, err
}

// bornWrong finds a day of birth that does not go with what is on record of the dog.
func bornWrong(row records.Row, born calendar.Date, l life) []records.Wrong {
	switch {
	case l.first.IsZero():
		return nil
	case born.After(l.first):
		return []records.Wrong{row.Wrong("born", fmt.Sprintf("is after the first day on record of this dog, %s", l.first),
			"check the day of birth; shots, decisions, medicines, bites and arrival windows come after it")}
	case l.last.After(born.AddMonths(mostAgeMonths)):
		return []records.Wrong{row.Wrong("born", fmt.Sprintf("makes the dog older than %d years on %s", mostAgeMonths/12, l.last), "check the year")}
	}
	return nil
}

// dayOf is the date of an instant in UTC.
func dayOf(at time.Time) calendar.Date {
	y, m, d := at.UTC().Date()
	day, _ := calendar.NewDate(y, m, d)
	return day
}

func dogColumn() sheet.Column {
	return sheet.Column{Name: "dog", Form: sheet.FormCode, Required: true, Refers: KindDogs, Example: "REX-LOWE", About: "code of the dog"}
}

func vaccinationsPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindVaccinations, About: "Vaccinations on record", Key: []string{"dog", "vaccine", "given"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "vaccine", Form: sheet.FormText, Required: true, Max: 40, Example: "rabies", About: "the vaccine, by the name that sites require it by"},
			{Name: "given", Form: sheet.FormDay, Required: true, Example: "2026-05-04", About: "day of the shot, or of one that is planned"},
			{Name: "course", Form: sheet.FormChoice, OneOf: []string{string(CoursePrimary), string(CourseBooster)}, Required: true, Example: "booster", About: "part of the first course, or a renewal"},
			{Name: "label_months", Form: sheet.FormWhole, Required: true, Min: 1, Max: 60, Example: "36", About: "how long its label says it holds, in months"},
		}},
		Put: putVaccinationRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			shots, err := listVaccinations(ctx, db)
			if err != nil {
				return nil, err
			}
			dogs, err := DogCodes(ctx, db)
			dog := namesOf[ids.DogID](dogs)
			return records.Cells(shots, func(v vaccination) []string {
				return []string{dog[v.DogID], v.Vaccine, sheet.Day(v.Given), string(v.Course), sheet.Int(v.LabelMonths)}
			}), err
		},
	}
}

func putVaccinationRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	dogs, err := ListDogsByID(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	shots, bad := split(rows,
		func(row records.Row) vaccination {
			return vaccination{ID: ids.VaccinationID(in.Mint()), DogID: ids.DogID(row.Ref("dog")), Shot: Shot{Vaccine: row.Text("vaccine"),
				Given: row.Day("given"), Course: Course(row.Text("course")), LabelMonths: row.Int("label_months")}}
		},
		func(row records.Row, v vaccination) []records.Wrong {
			return lifeWrong(row, "given", v.Given, dogs[v.DogID].Born)
		})
	return bad, putVaccinations(ctx, tx, shots)
}

// dogsIn returns the dogs that the rows refer to, each once.
func dogsIn(rows []records.Row) []ids.DogID {
	seen := map[ids.DogID]bool{}
	var dogs []ids.DogID
	for _, row := range rows {
		if id := ids.DogID(row.Ref("dog")); !seen[id] {
			seen[id] = true
			dogs = append(dogs, id)
		}
	}
	return dogs
}

func answersPort() records.Port {
	var questions []string
	for _, q := range workload.Questions() {
		questions = append(questions, string(q.ID))
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindAnswers, About: "Owners' answers to the screening questions", Key: []string{"dog", "question"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "question", Form: sheet.FormChoice, OneOf: questions, Required: true, Example: questions[0], About: "the question"},
			{Name: "score", Form: sheet.FormWhole, Required: true, Min: 0, Max: workload.HighestAnswer, Example: "2", About: "0 (never, none) to 4 (always, very much)"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			answers := make([]answer, len(rows))
			for i, row := range rows {
				answers[i] = answer{DogID: ids.DogID(row.Ref("dog")), Question: workload.Question(row.Text("question")), Score: row.Int("score")}
			}
			return nil, putAnswers(ctx, tx, answers)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			answers, err := listAnswers(ctx, db)
			if err != nil {
				return nil, err
			}
			dogs, err := DogCodes(ctx, db)
			dog := namesOf[ids.DogID](dogs)
			return records.Cells(answers, func(a answer) []string {
				return []string{dog[a.DogID], string(a.Question), sheet.Int(a.Score)}
			}), err
		},
	}
}
