package enrollment

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// testNow is the instant of every import in these tests.
var testNow = time.Date(2027, 2, 1, 9, 30, 0, 0, time.UTC)

// day is a date written by hand.
func day(text string) calendar.Date { return calendar.MustDate(text) }

// days makes a span of days written as its first and last one.
func days(first, last string) calendar.Span {
	return calendar.Span{From: day(first), To: day(last).AddDays(1)}
}

// school is a database with two sites, whose rules stand in for those of the package that keeps sites.
type school struct {
	*postgres.Pool
	sites []SiteRules
	// promised are the requests that have a stay, as the planner would say.
	promised []ids.RequestID
}

func newSchool(t testing.TB) *school {
	t.Helper()
	s := &school{Pool: postgrestest.Database(t), sites: []SiteRules{
		{Code: "HILL", RabiesWaitingDays: 28, RequiredVaccines: []string{"rabies", "bordetella"}},
		{Code: "LAKE", RabiesWaitingDays: 14},
	}}
	for i := range s.sites {
		// The sites get IDs whose order is not that of their codes.
		s.sites[i].ID = ids.SiteID(uuid.UUID{0: byte(9 - i), 15: 1})
		_, err := s.Exec(t.Context(), `
			insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days)
			values ($1, $2, $2, 'America/Denver', $3, coalesce($4, '{}'::text[]), 100, 0)`,
			s.sites[i].ID, s.sites[i].Code, s.sites[i].RabiesWaitingDays, s.sites[i].RequiredVaccines)
		require.NoError(t, err)
	}
	return s
}

func (s *school) listSites(context.Context, postgres.DB) ([]SiteRules, error) { return s.sites, nil }

func (s *school) port(t testing.TB, kind string) records.Port {
	t.Helper()
	ports := Ports(s.listSites)
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == kind })
	require.GreaterOrEqual(t, i, 0, kind)
	return ports[i]
}

// codes are those of a kind, which another package keeps when it is sites.
func (s *school) codes(t testing.TB, kind string) map[string]uuid.UUID {
	t.Helper()
	if kind == kindSites {
		known := map[string]uuid.UUID{}
		for _, site := range s.sites {
			known[site.Code] = site.ID.UUID()
		}
		return known
	}
	known, err := s.port(t, kind).Codes(t.Context(), s)
	require.NoError(t, err)
	return known
}

// rows reads lines of a CSV file and looks its references up, as an import does.
func (s *school) rows(t testing.TB, port records.Port, lines ...string) []records.Row {
	t.Helper()
	table, err := sheet.Read(port.Kind.Name+".csv", []byte(strings.Join(lines, "\n")+"\n"), port.Kind, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, table.Faults)
	known := map[string]map[string]uuid.UUID{}
	for _, c := range port.Kind.Columns {
		if c.Refers != "" {
			known[c.Name] = s.codes(t, c.Refers)
		}
	}
	rows := make([]records.Row, len(table.Rows))
	for i, row := range table.Rows {
		refs := map[string]uuid.UUID{}
		for column, codes := range known {
			if row.Has(column) {
				id, ok := codes[row.Text(column)] // require.Contains walks the whole map
				require.True(t, ok, "line %d, %s", row.Line, column)
				refs[column] = id
			}
		}
		rows[i] = records.NewRow(row, refs)
	}
	return rows
}

// put checks the rows of a file, puts those that pass and commits, as an import does, and returns what was wrong.
func (s *school) put(t testing.TB, kind string, lines ...string) []records.Wrong {
	t.Helper()
	port := s.port(t, kind)
	var wrong []records.Wrong
	good := slices.DeleteFunc(s.rows(t, port, lines...), func(row records.Row) bool {
		if port.Check == nil {
			return false
		}
		found := port.Check(row)
		wrong = append(wrong, found...)
		return len(found) > 0
	})
	err := postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error {
		more, err := port.Put(t.Context(), tx, records.Intake{Mint: uuid.New, Now: testNow, By: "test"}, good)
		wrong = append(wrong, more...)
		return err
	})
	require.NoError(t, err)
	return wrong
}

// mustPut is put for files without a fault.
func (s *school) mustPut(t testing.TB, kind string, lines ...string) {
	t.Helper()
	require.Empty(t, s.put(t, kind, lines...), kind)
}

// list returns a kind as lines, its header first, with cells joined by commas; no cell of these tests holds a comma.
func (s *school) list(t testing.TB, kind string) []string {
	t.Helper()
	port := s.port(t, kind)
	rows, err := port.List(t.Context(), s)
	require.NoError(t, err)
	header := make([]string, len(port.Kind.Columns))
	for i, c := range port.Kind.Columns {
		header[i] = c.Name
	}
	lines := []string{strings.Join(header, ",")}
	for _, row := range rows {
		require.Len(t, row, len(header))
		lines = append(lines, strings.Join(row, ","))
	}
	return lines
}

// files holds every kind in import order as an export writes it.
var files = []struct {
	kind  string
	lines []string
}{
	{KindOwners, []string{"code,name,email,phone,zone",
		"LOWE,Sam Lowe,sam@example.org,+1 555 0100,America/Denver",
		"MOSS,Ida Moss,,,",
	}},
	{KindPrograms, []string{programsCSV,
		"LONG,Four weeks,28,4,15,9,1,1,2,3,,",
		"MANNERS,Two weeks of manners,14,3,20,6,1,,1,,,",
	}},
	{KindDogs, []string{dogsCSV + traitsCSV,
		"BO,LOWE,Bo,mixed,0,no,female,2025-06-15,21.5,780,620,,2027-02-20,afraid of brooms,no,no,no",
		"DOT,LOWE,Dot,,6,yes,spayed,2024-02-29,30.0,800,650,3b,,,no,yes,yes",
		"KIM,MOSS,Kim,beagle,6,yes,male,2026-10-10,9.8,500,400,1,,,,,",
	}},
	{KindVaccinations, []string{"dog,vaccine,given,course,label_months",
		"BO,bordetella,2026-09-01,primary,12",
		"BO,rabies,2025-09-20,primary,12",
		"BO,rabies,2026-09-20,booster,36",
		"DOT,rabies,2027-02-20,primary,12",
	}},
	{KindAnswers, []string{"dog,question,score",
		"BO,excitable,4",
		"BO,pulls_on_lead,3",
		"DOT,fears_strangers,0",
	}},
	{KindOverrides, []string{"dog,decided_at,decided_by,minutes,care_class,reason",
		"BO,2026-12-01T08:00:00.000000Z,ANA,120,,needs more time",
		"BO,2027-01-15T10:20:30.123456Z,ANA,,guarded,jumps at strangers",
		"DOT,2026-12-01T08:00:00.000000Z,BEN,60,restricted,knows her",
	}},
	{KindRequests, []string{requestsCSV,
		"R-1,BO,MANNERS,2027-03-01,2027-03-21,2027-03-08,3,yes,2027-01-11,LOWE-SPRING,open,back on the 20th",
		"R-2,DOT,LONG,2027-03-15,2027-04-10,,1,no,2027-01-12,LOWE-SPRING,open,",
		"R-3,KIM,MANNERS,2027-04-01,2027-04-01,,5,no,2027-01-13,,withdrawn,",
	}},
	{KindRequestSites, []string{"request,site,travel_minutes",
		"R-1,HILL,35",
		"R-1,LAKE,0",
		"R-2,LAKE,1440",
	}},
	{KindApart, []string{"dog,other,reason",
		"BO,KIM,fought over a ball",
		"DOT,KIM,owner asks for it",
	}},
	{KindVets, []string{"dog,name,phone",
		"BO,Low Mill Practice,+1 555 0190",
		"KIM,,555-0191",
	}},
	{KindMedicines, []string{"dog,medicine,dose,times,with_food,first_day,last_day,note",
		"BO,ear drops,5 drops,08:00|20:30,no,2027-02-01,2027-02-10,left ear",
		"BO,ear drops,2 drops,08:00,no,2027-02-11,,",
		"DOT,joint tablets,1,07:00,yes,2027-02-01,,",
	}},
	{KindFeeding, []string{"dog,note",
		"DOT,eats slowly",
	}},
	{KindBites, []string{"dog,day,level,note",
		"DOT,2026-05-02,3b,at the gate",
		"DOT,2026-11-02,1,",
	}},
}

const (
	programsCSV = "code,name,nights,sessions_a_day,session_minutes,least_age_months,heel,hold,recall,distance,nerves,reactivity"
	dogsCSV     = "code,owner,name,breed,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm,bite_level,season_started,note"
	traitsCSV   = ",flat_faced,overweight,two_people"
	requestsCSV = "code,dog,program,window_first,window_last,wished,priority,deposit,asked_on,household,state,note"
)

// fill puts files in, all of them or those before a kind.
func (s *school) fill(t testing.TB, before string) {
	t.Helper()
	for _, f := range files {
		if f.kind == before {
			return
		}
		s.mustPut(t, f.kind, f.lines...)
	}
}

// requestFile makes the request file of lines "code,dog,program,first,last,household".
func requestFile(short ...string) []string {
	lines := []string{requestsCSV}
	for _, s := range short {
		c := strings.Split(s, ",")
		lines = append(lines, strings.Join([]string{c[0], c[1], c[2], c[3], c[4], "", "3", "no", "2027-01-01", c[5], StateOpen, ""}, ","))
	}
	return lines
}

// fault is a Wrong without its words.
type fault struct {
	line   int
	column string
}

func faultsOf(wrong []records.Wrong) []fault {
	var out []fault
	for _, w := range wrong {
		out = append(out, fault{w.Line, w.Column})
	}
	return out
}
