package enrollment

import (
	"context"
	"fmt"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/workload"
)

// traitColumns are the columns of the file of dogs that hold traits.
var traitColumns = [...]string{"flat_faced", "overweight", "two_people"}

// putTraitRows writes the traits of the dogs that were taken. A column that the file does not have leaves what is known: a file of old must
// not make a dog that two people handle one for a single person.
func putTraitRows(ctx context.Context, tx postgres.Tx, rows []records.Row, taken []Dog) error {
	if len(rows) == 0 {
		return nil
	}
	var given [len(traitColumns)]bool
	some := false
	for i, column := range traitColumns {
		given[i] = rows[0].Given(column)
		some = some || given[i]
	}
	if !some {
		return nil
	}
	good := make(map[string]bool, len(taken))
	for _, d := range taken {
		good[d.Code] = true
	}
	var traits []traitRow
	for _, row := range rows {
		if good[row.Text("code")] {
			traits = append(traits, traitRow{Code: row.Text("code"), Traits: Traits{FlatFaced: workload.Trait(row.Text("flat_faced")),
				Overweight: workload.Trait(row.Text("overweight")), TwoPeople: workload.Trait(row.Text("two_people"))}})
		}
	}
	return putTraits(ctx, tx, traits, given)
}

func apartPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindApart, About: "Pairs of dogs that must not meet", Key: []string{"dog", "other"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "other", Form: sheet.FormCode, Required: true, Refers: KindDogs, Example: "KIM-MOSS", About: "code of the other dog; which of the two comes first does not matter"},
			{Name: "reason", Form: sheet.FormText, Required: true, Min: leastReason, Max: mostReason, Example: "fought at the gate", About: "why"},
		}},
		Together: true,
		Check: func(row records.Row) []records.Wrong {
			if row.Text("dog") == row.Text("other") {
				return []records.Wrong{row.Wrong("other", "is the same dog", "write the dog that it must not meet")}
			}
			return nil
		},
		Put: putApartRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			pairs, err := listAllApart(ctx, db)
			return records.Cells(pairs, func(p apartLine) []string { return []string{p.Dog, p.Other, p.Reason} }), err
		},
	}
}

func putApartRows(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) (wrong []records.Wrong, err error) {
	var pairs []Apart
	seen := map[[2]ids.DogID]int{}
	for _, row := range rows {
		p := newApart(ids.DogID(row.Ref("dog")), ids.DogID(row.Ref("other")), row.Text("reason"))
		key := [2]ids.DogID{p.DogID, p.OtherID}
		if line, twice := seen[key]; twice {
			wrong = append(wrong, row.Wrong("other", fmt.Sprintf("makes the same pair as line %d", line), "keep one of the two lines"))
			continue
		}
		seen[key] = row.Line
		pairs = append(pairs, p)
	}
	return wrong, putApart(ctx, tx, pairs)
}

// newApart is a pair with the smaller ID first, as the table has it.
func newApart(a, b ids.DogID, reason string) Apart {
	if a.Compare(b) > 0 {
		a, b = b, a
	}
	return Apart{DogID: a, OtherID: b, Reason: reason}
}
