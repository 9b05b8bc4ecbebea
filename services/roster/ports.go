package roster

import (
	"context"
	"net/mail"
	"slices"
	"strconv"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// Names of the kinds of record that this package keeps.
const (
	KindTrainers  = "trainers"
	KindShifts    = "shifts"
	KindAbsences  = "absences"
	KindLoans     = "loans"
	KindWorkRules = "work-rules"

	// kindSites is kept by another package; columns refer to it by name.
	kindSites = "sites"
)

// Ports returns the ways in and out of this package's records, in import order. sites gives the codes that lists show.
func Ports(sites Sites) []records.Port {
	return []records.Port{trainersPort(sites), shiftsPort(sites), absencesPort(), loansPort(sites), workRulesPort(sites)}
}

func trainersPort(sites Sites) records.Port {
	columns := []sheet.Column{
		{Name: "code", Form: sheet.FormCode, Required: true, Example: "ANA", About: "short name used in other files"},
		{Name: "name", Form: sheet.FormText, Required: true, Max: 120, Example: "Ana Reyes", About: "name for people"},
		{Name: "email", Form: sheet.FormText, Max: 254, Example: "ana@example.org", About: "address for the day sheet; personal data"},
		{Name: "home_site", Form: sheet.FormCode, Required: true, Refers: kindSites, Example: "HILL", About: "code of the home site"},
		{Name: "minutes_a_day", Form: sheet.FormWhole, Required: true, Min: 0, Max: 720, Example: "360", About: "handling minutes on a working day"},
		{Name: "most_dogs", Form: sheet.FormWhole, Required: true, Min: 0, Max: 20, Example: "6", About: "most dogs in hand at a time"},
		{Name: "care_classes", Form: sheet.FormChoice, Many: true, OneOf: CareClassNames, Example: "open|guarded", About: "care classes that the trainer may handle"},
	}
	for _, skill := range SkillNames {
		columns = append(columns, sheet.Column{Name: skill, Form: sheet.FormWhole, Min: 0, Max: 3, Example: "2", About: "level held, 1 to 3; empty or 0 when not held"})
	}
	return records.Port{
		Kind:  sheet.Kind{Name: KindTrainers, About: "Trainers with what they can do", Key: []string{"code"}, Columns: columns},
		Check: checkTrainer,
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			trainers := make([]Trainer, len(rows))
			for i, row := range rows {
				trainers[i] = Trainer{ID: ids.TrainerID(in.Mint()), Code: row.Text("code"), Name: row.Text("name"), Email: row.Text("email"),
					HomeSiteID: ids.SiteID(row.Ref("home_site")), MinutesADay: row.Int("minutes_a_day"), MostDogs: row.Int("most_dogs"),
					CareClasses: inOrder(row.List("care_classes"), CareClassNames), Skills: skillsOf(row)}
			}
			return nil, putTrainers(ctx, tx, trainers)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			trainers, err := ListTrainers(ctx, db)
			if err != nil {
				return nil, err
			}
			code, err := siteNames(ctx, db, sites)
			return records.Cells(trainers, func(t Trainer) []string {
				row := []string{t.Code, t.Name, t.Email, code[t.HomeSiteID], sheet.Int(t.MinutesADay), sheet.Int(t.MostDogs), sheet.List(t.CareClasses...)}
				for _, skill := range SkillNames {
					row = append(row, level(t.Skills[skill]))
				}
				return row
			}), err
		},
		Codes: TrainerCodes,
	}
}

// checkTrainer looks at the address. What it finds wrong leaves the address itself out, as findings may be kept or passed on.
func checkTrainer(row records.Row) []records.Wrong {
	address := row.Text("email")
	if address == "" {
		return nil
	}
	if parsed, err := mail.ParseAddress(address); err == nil && parsed.Address == address {
		return nil
	}
	return []records.Wrong{{Line: row.Line, Column: "email", Rule: "is not an e-mail address",
		Remedy: "write one address and no name, such as ana@example.org, or leave the cell empty"}}
}

// skillsOf reads the levels held; 0 and an empty cell are both "not held".
func skillsOf(row records.Row) map[string]int {
	skills := map[string]int{}
	for _, skill := range SkillNames {
		if n := row.Int(skill); n > 0 {
			skills[skill] = n
		}
	}
	return skills
}

func level(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// inOrder returns the names that values holds, once each, in the order of names. It is never nil.
func inOrder(values, names []string) []string {
	out := []string{}
	for _, name := range names {
		if slices.Contains(values, name) {
			out = append(out, name)
		}
	}
	return out
}

var trainerColumn = sheet.Column{Name: "trainer", Form: sheet.FormCode, Required: true, Refers: KindTrainers, Example: "ANA", About: "code of the trainer"}

func shiftsPort(sites Sites) records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindShifts, About: "Weekly pattern of each trainer", Key: []string{"trainer", "weekday"}, Columns: []sheet.Column{
			trainerColumn,
			{Name: "weekday", Form: sheet.FormChoice, OneOf: calendar.Weekdays(), Required: true, Example: "monday", About: "day of the week on which the shift begins"},
			{Name: "site", Form: sheet.FormCode, Required: true, Refers: kindSites, Example: "HILL", About: "code of the site worked at"},
			{Name: "starts", Form: sheet.FormClock, Required: true, Example: "08:00", About: "local time at which the shift begins"},
			{Name: "ends", Form: sheet.FormClock, Required: true, Example: "16:30", About: "local time at which it ends; at or before the start is on the next day"},
			{Name: "meal_minutes", Form: sheet.FormWhole, Required: true, Min: 0, Max: 180, Example: "30", About: "minutes of the meal break inside the shift"},
		}},
		Check: checkShift,
		Put: func(ctx context.Context, tx postgres.Tx, _ records.Intake, rows []records.Row) ([]records.Wrong, error) {
			shifts := make([]Shift, len(rows))
			for i, row := range rows {
				shifts[i] = Shift{TrainerID: ids.TrainerID(row.Ref("trainer")), Weekday: calendar.WeekdayNumber(row.Text("weekday")),
					SiteID: ids.SiteID(row.Ref("site")), Starts: row.Clock("starts"), Ends: row.Clock("ends"), MealMinutes: row.Int("meal_minutes")}
			}
			return nil, putShifts(ctx, tx, shifts)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			shifts, err := ListShifts(ctx, db)
			if err != nil {
				return nil, err
			}
			trainer, site, err := names(ctx, db, sites)
			return records.Cells(shifts, func(s Shift) []string {
				return []string{trainer[s.TrainerID], calendar.Weekdays()[s.Weekday-1], site[s.SiteID], sheet.Clock(s.Starts), sheet.Clock(s.Ends), sheet.Int(s.MealMinutes)}
			}), err
		},
	}
}

func checkShift(row records.Row) []records.Wrong {
	if row.Int("meal_minutes") < clockMinutes(row.Clock("starts"), row.Clock("ends")) {
		return nil
	}
	return []records.Wrong{row.Wrong("meal_minutes", "is not shorter than the shift", "write a shorter meal, or mend the times of the shift")}
}

// siteNames maps the ID of each site to its code.
func siteNames(ctx context.Context, db postgres.DB, sites Sites) (map[ids.SiteID]string, error) {
	refs, err := sites(ctx, db)
	if err != nil {
		return nil, err
	}
	code := make(map[ids.SiteID]string, len(refs))
	for _, s := range refs {
		code[s.ID] = s.Code
	}
	return code, nil
}

// trainerNames maps the ID of each trainer to its code.
func trainerNames(ctx context.Context, db postgres.DB) (map[ids.TrainerID]string, error) {
	byCode, err := TrainerCodes(ctx, db)
	code := make(map[ids.TrainerID]string, len(byCode))
	for c, id := range byCode {
		code[ids.TrainerID(id)] = c
	}
	return code, err
}

// names maps IDs of trainers and of sites to their codes.
func names(ctx context.Context, db postgres.DB, sites Sites) (map[ids.TrainerID]string, map[ids.SiteID]string, error) {
	trainer, err := trainerNames(ctx, db)
	if err != nil {
		return nil, nil, err
	}
	site, err := siteNames(ctx, db, sites)
	return trainer, site, err
}

// spanColumns are the first and the last day of a record that covers days.
var spanColumns = []sheet.Column{
	{Name: "first_day", Form: sheet.FormDay, Required: true, Example: "2027-03-08", About: "first day"},
	{Name: "last_day", Form: sheet.FormDay, Required: true, Example: "2027-03-14", About: "last day"},
}

// checkSpan holds the last day against the first.
func checkSpan(row records.Row) []records.Wrong {
	if row.Day("last_day").Before(row.Day("first_day")) {
		return []records.Wrong{row.Wrong("last_day", "is before the first day", "write the last day, or the same day again for one day")}
	}
	return nil
}

func spanOf(row records.Row) calendar.Span {
	return calendar.Span{From: row.Day("first_day"), To: row.Day("last_day").AddDays(1)}
}
