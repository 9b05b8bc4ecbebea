package enrollment

import (
	"context"
	"net/mail"
	"slices"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/workload"
)

// Names of the kinds of record that this package keeps.
const (
	KindOwners       = "owners"
	KindPrograms     = "programs"
	KindDogs         = "dogs"
	KindVaccinations = "vaccinations"
	KindAnswers      = "answers"
	KindOverrides    = "workload-overrides"
	KindRequests     = "requests"
	KindRequestSites = "request-sites"
	KindApart        = "apart"

	// kindSites is kept by another package; columns refer to it by name.
	kindSites = "sites"
)

// Ports returns the ways in and out of this package's records, in import order. sites gives the codes that lists show.
func Ports(sites Sites) []records.Port {
	return append([]records.Port{ownersPort(), programsPort(), dogsPort(), vaccinationsPort(), answersPort(), overridesPort(),
		requestsPort(), requestSitesPort(sites), apartPort()}, upkeepPorts()...)
}

func ownersPort() records.Port {
	return records.Port{
		Kind: sheet.Kind{Name: KindOwners, About: "Owners; personal data", Key: []string{"code"}, Columns: []sheet.Column{
			{Name: "code", Form: sheet.FormCode, Required: true, Example: "LOWE", About: "short name used in other files"},
			{Name: "name", Form: sheet.FormText, Required: true, Max: 120, Example: "Sam Lowe", About: "name to greet the owner by"},
			{Name: "email", Form: sheet.FormText, Max: 254, Example: "sam@example.org", About: "where to write to"},
			{Name: "phone", Form: sheet.FormText, Max: 40, Example: "+1 555 0100", About: "where to call"},
			{Name: "zone", Form: sheet.FormText, Max: 60, Example: "America/Denver", About: "IANA time zone of the owner's home, for hours in which no mail comes; empty: the site's"},
		}},
		Check: checkOwner,
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			owners := make([]Owner, len(rows))
			for i, row := range rows {
				owners[i] = Owner{ID: ids.OwnerID(in.Mint()), Code: row.Text("code"), Name: row.Text("name"), Email: row.Text("email"), Phone: row.Text("phone"), Zone: row.Text("zone")}
			}
			return nil, putOwners(ctx, tx, owners)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			owners, err := ListOwners(ctx, db)
			return records.Cells(owners, func(o Owner) []string { return []string{o.Code, o.Name, o.Email, o.Phone, o.Zone} }), err
		},
		Codes: OwnerCodes,
	}
}

// checkOwner looks at the address and the zone. What it finds wrong in the address leaves the address itself out, as findings may be kept or
// passed on.
func checkOwner(row records.Row) (wrong []records.Wrong) {
	if text := row.Text("email"); text != "" {
		if a, err := mail.ParseAddress(text); err != nil || a.Address != text {
			wrong = append(wrong, records.Wrong{Line: row.Line, Column: "email", Rule: "is not an e-mail address", Remedy: "write it as name@example.org, or leave it empty"})
		}
	}
	if text := row.Text("zone"); text != "" {
		if _, err := calendar.LoadZone(text); err != nil {
			wrong = append(wrong, row.Wrong("zone", "is not an IANA time zone", "write a name such as America/Denver or Europe/London, or leave it empty"))
		}
	}
	return wrong
}

func programsPort() records.Port {
	columns := []sheet.Column{
		{Name: "code", Form: sheet.FormCode, Required: true, Example: "MANNERS", About: "short name used in other files"},
		{Name: "name", Form: sheet.FormText, Required: true, Max: 120, Example: "Two weeks of manners", About: "name for people"},
		{Name: "nights", Form: sheet.FormWhole, Required: true, Min: 1, Max: 60, Example: "14", About: "nights from arrival to graduation"},
		{Name: "sessions_a_day", Form: sheet.FormWhole, Required: true, Min: 1, Max: 8, Example: "3", About: "sessions on a working day"},
		{Name: "session_minutes", Form: sheet.FormWhole, Required: true, Min: 5, Max: 60, Example: "20", About: "minutes of one session"},
		{Name: "least_age_months", Form: sheet.FormWhole, Required: true, Min: 0, Max: 120, Example: "6", About: "least age on arrival; 0 for any"},
	}
	for _, skill := range workload.Skills() {
		columns = append(columns, sheet.Column{Name: string(skill), Form: sheet.FormWhole, Min: 0, Max: workload.HighestLevel, Example: "1",
			About: "level of trainer it asks for, 1 to 3; empty when it is no goal"})
	}
	return records.Port{
		Kind: sheet.Kind{Name: KindPrograms, About: "Programs with their goals", Key: []string{"code"}, Columns: columns},
		Put: func(ctx context.Context, tx postgres.Tx, in records.Intake, rows []records.Row) ([]records.Wrong, error) {
			programs := make([]Program, len(rows))
			for i, row := range rows {
				programs[i] = Program{ID: ids.ProgramID(in.Mint()), Code: row.Text("code"), Name: row.Text("name"), Nights: row.Int("nights"),
					SessionsADay: row.Int("sessions_a_day"), SessionMinutes: row.Int("session_minutes"),
					LeastAgeMonths: row.Int("least_age_months"), Goals: goalsOf(row)}
			}
			return nil, putPrograms(ctx, tx, programs)
		},
		List: func(ctx context.Context, db postgres.DB) ([][]string, error) {
			programs, err := ListPrograms(ctx, db)
			return records.Cells(programs, func(p Program) []string {
				row := []string{p.Code, p.Name, sheet.Int(p.Nights), sheet.Int(p.SessionsADay), sheet.Int(p.SessionMinutes), sheet.Int(p.LeastAgeMonths)}
				for _, skill := range workload.Skills() {
					row = append(row, blankZero(p.Goals[skill]))
				}
				return row
			}), err
		},
		Codes: ProgramCodes,
	}
}

func goalsOf(row records.Row) map[workload.Skill]int {
	goals := map[workload.Skill]int{}
	for _, skill := range workload.Skills() {
		if level := row.Int(string(skill)); level > 0 {
			goals[skill] = level
		}
	}
	return goals
}

// blankZero writes a number whose zero means "not stated".
func blankZero(n int) string {
	if n == 0 {
		return ""
	}
	return sheet.Int(n)
}

// namesOf turns a map of codes round: from ID to code.
func namesOf[K ~[16]byte](byCode map[string]uuid.UUID) map[K]string {
	names := make(map[K]string, len(byCode))
	for code, id := range byCode {
		names[K(id)] = code
	}
	return names
}

// split makes a record of each row, and returns those about which wrong is silent and what it said about the others.
func split[T any](rows []records.Row, make func(records.Row) T, wrong func(records.Row, T) []records.Wrong) (good []T, bad []records.Wrong) {
	good = slices.Grow(good, len(rows))
	for _, row := range rows {
		one := make(row)
		if found := wrong(row, one); len(found) > 0 {
			bad = append(bad, found...)
			continue
		}
		good = append(good, one)
	}
	return good, bad
}
