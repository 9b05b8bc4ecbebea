package enrollment

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/workload"
)

// instantLayout is how files write the instant of a person's word: UTC, to the microsecond, as the database keeps it.
const instantLayout = "2006-01-02T15:04:05.000000Z"

func overridesPort() records.Port {
	var classes []string
	for _, c := range workload.Cares() {
		classes = append(classes, string(c))
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindOverrides, About: "What people decided about the work a dog takes; kept for good", Key: []string{"dog", "decided_at"}, Columns: []sheet.Column{
			dogColumn(),
			{Name: "decided_at", Form: sheet.FormText, Required: true, Max: 40, Example: "2027-02-01T09:30:00Z", About: "instant of the decision in UTC"},
			{Name: "decided_by", Form: sheet.FormText, Required: true, Max: 120, Example: "ANA", About: "who decided"},
			{Name: "minutes", Form: sheet.FormWhole, Min: 0, Max: mostMinutes, Example: "90", About: "minutes a day; empty leaves what was worked out"},
			{Name: "care_class", Form: sheet.FormChoice, OneOf: classes, Example: "guarded", About: "who may handle the dog; empty leaves what was worked out"},
			{Name: "reason", Form: sheet.FormText, Required: true, Min: leastReason, Max: mostReason, Example: "worked with this dog before", About: "why"},
		}},
		Check: func(row records.Row) []records.Wrong {
			if _, ok := instantOf(row); !ok {
				return []records.Wrong{row.Wrong("decided_at", "is not an instant in UTC", "write it as 2027-02-01T09:30:00Z")}
			}
			return nil
		},
		Put: putOverrideRows,
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			words, err := listOverrides(ctx, db)
			if err != nil {
				return nil, err
			}
			dogs, err := DogCodes(ctx, db)
			dog := namesOf[ids.DogID](dogs)
			return records.Cells(words, func(o Override) []string {
				return []string{dog[o.DogID], o.DecidedAt.UTC().Format(instantLayout), o.DecidedBy, blankZero(o.Minutes), string(o.Care), o.Reason}
			}), err
		},
	}
}

// mostAhead is how far the zone farthest ahead is before UTC: a decision of the day of birth there is of the day before in UTC.
const mostAhead = 14 * time.Hour

// instantOf reads the instant, cut to the microsecond, and whether it is one in UTC.
func instantOf(row records.Row) (time.Time, bool) {
	at, err := time.Parse(time.RFC3339Nano, row.Text("decided_at"))
	if err != nil {
		return time.Time{}, false
	}
	_, offset := at.Zone()
	return at.UTC().Truncate(time.Microsecond), offset == 0
}

// putOverrideRows adds words. One that is kept already is passed over when it says the same, and wrong when it does not: what a
// person decided is never changed.
func putOverrideRows(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
	kept, err := listOverridesOf(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	dogs, err := ListDogsByID(ctx, tx, dogsIn(rows))
	if err != nil {
		return nil, err
	}
	var (
		fresh []overrideRow
		bad   []records.Wrong
	)
	for _, row := range rows {
		at, _ := instantOf(row)
		word := Override{DogID: ids.DogID(row.Ref("dog")), DecidedAt: at, DecidedBy: row.Text("decided_by"), Minutes: row.Int("minutes"),
			Care: workload.Care(row.Text("care_class")), Reason: row.Text("reason")}
		before, known := kept[word.key()]
		switch wrong := lifeWrong(row, "decided_at", dayOf(at.Add(mostAhead)), dogs[word.DogID].Born); {
		case len(wrong) > 0:
			bad = append(bad, wrong...)
		case known && before != word:
			bad = append(bad, row.Wrong("decided_at", "is the instant of another decision on this dog, and decisions are not changed",
				"add a new one with a later instant: the latest counts"))
		case !known:
			kept[word.key()] = word
			fresh = append(fresh, overrideRow{ID: in.Mint(), Override: word})
		}
	}
	return bad, insertOverrides(ctx, tx, fresh)
}
