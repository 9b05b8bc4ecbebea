package roster

import (
	"cmp"
	"context"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

func absencesPort() records.Port {
	kind := sheet.Column{Name: "kind", Form: sheet.FormChoice, OneOf: AbsenceKinds, Required: true, Example: "leave",
		About: "leave, sickness or another duty; write nothing about an illness anywhere"}
	return records.Port{
		Kind: sheet.Kind{Name: KindAbsences, About: "Days on which trainers are away", Key: []string{"trainer", "first_day"},
			Columns: slices.Concat([]sheet.Column{trainerColumn}, spanColumns, []sheet.Column{kind})},
		Check:    checkSpan,
		Together: true,
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			absences := make([]Absence, len(rows))
			for i, row := range rows {
				absences[i] = Absence{ID: ids.AbsenceID(in.Mint()), TrainerID: ids.TrainerID(row.Ref("trainer")), Days: spanOf(row), Kind: row.Text("kind")}
			}
			return putAbsences(ctx, tx, rows, absences)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			absences, err := ListAbsences(ctx, db, calendar.Span{})
			if err != nil {
				return nil, err
			}
			trainer, err := trainerNames(ctx, db)
			return records.Cells(absences, func(a Absence) []string {
				return []string{trainer[a.TrainerID], sheet.Day(a.Days.From), sheet.Day(lastDay(a.Days)), a.Kind}
			}), err
		},
	}
}

func loansPort(sites Sites) records.Port {
	site := sheet.Column{Name: "site", Form: sheet.FormCode, Required: true, Refers: kindSites, Example: "LAKE", About: "code of the site to work at"}
	return records.Port{
		Kind: sheet.Kind{Name: KindLoans, About: "Days on which trainers work at another site", Key: []string{"trainer", "first_day"},
			Columns: slices.Concat([]sheet.Column{trainerColumn, site}, spanColumns)},
		Check:    checkSpan,
		Together: true,
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			loans := make([]Loan, len(rows))
			for i, row := range rows {
				loans[i] = Loan{ID: ids.LoanID(in.Mint()), TrainerID: ids.TrainerID(row.Ref("trainer")), SiteID: ids.SiteID(row.Ref("site")), Days: spanOf(row)}
			}
			return putLoans(ctx, tx, rows, loans)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			loans, err := ListLoans(ctx, db, calendar.Span{})
			if err != nil {
				return nil, err
			}
			trainer, site, err := names(ctx, db, sites)
			return records.Cells(loans, func(l Loan) []string {
				return []string{trainer[l.TrainerID], site[l.SiteID], sheet.Day(l.Days.From), sheet.Day(lastDay(l.Days))}
			}), err
		},
	}
}

func workRulesPort(sites Sites) records.Port {
	whole := func(name string, most int, example, about string) sheet.Column {
		return sheet.Column{Name: name, Form: sheet.FormWhole, Required: true, Min: 0, Max: most, Example: example, About: about + "; 0 turns this rule off"}
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindWorkRules, About: "Working-time settings of each site, with where they are from", Key: []string{"site"}, Columns: []sheet.Column{
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: kindSites, Example: "HILL", About: "code of the site"},
			whole("daily_rest_minutes", 1440, "660", "least rest between two shifts"),
			whole("meal_after_minutes", 1440, "360", "length of shift after which a meal is due"),
			whole("meal_minutes", 180, "20", "least length of that meal"),
			whole("weekly_minutes", 10080, "2880", "most work in a week, meals left out"),
			whole("weekly_rest_minutes", 10080, "1440", "least unbroken rest in a week"),
			{Name: "citation", Form: sheet.FormText, Required: true, Min: 1, Max: 500, Example: "staff handbook, section 4", About: "law, contract or house rule that these settings are from"},
		}},
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			rules := make([]WorkRule, len(rows))
			for i, row := range rows {
				rules[i] = WorkRule{SiteID: ids.SiteID(row.Ref("site")), DailyRestMinutes: row.Int("daily_rest_minutes"),
					MealAfterMinutes: row.Int("meal_after_minutes"), MealMinutes: row.Int("meal_minutes"), WeeklyMinutes: row.Int("weekly_minutes"),
					WeeklyRestMinutes: row.Int("weekly_rest_minutes"), Citation: row.Text("citation")}
			}
			return nil, putWorkRules(ctx, tx, rules)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			rules, err := ListWorkRules(ctx, db)
			if err != nil {
				return nil, err
			}
			site, err := siteNames(ctx, db, sites)
			slices.SortFunc(rules, func(a, b WorkRule) int { return cmp.Compare(site[a.SiteID], site[b.SiteID]) })
			return records.Cells(rules, func(r WorkRule) []string {
				return []string{site[r.SiteID], sheet.Int(r.DailyRestMinutes), sheet.Int(r.MealAfterMinutes), sheet.Int(r.MealMinutes),
					sheet.Int(r.WeeklyMinutes), sheet.Int(r.WeeklyRestMinutes), r.Citation}
			}), err
		},
	}
}
