package enrollment

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

func TestPortsComeInImportOrderAndAreSound(t *testing.T) {
	t.Parallel()
	ports := Ports(func(context.Context, postgres.DB) ([]SiteRules, error) { return nil, nil })
	require.Len(t, ports, len(files))
	seen := map[string]bool{kindSites: true}
	for i, p := range ports {
		require.Equal(t, files[i].kind, p.Kind.Name)
		require.NoError(t, p.Kind.Check())
		require.Equal(t, files[i].lines[0], strings.Join(columnNames(p.Kind), ","))
		for _, c := range p.Kind.Columns {
			require.True(t, c.Refers == "" || seen[c.Refers], "%s.%s refers to a kind that comes later", p.Kind.Name, c.Name)
			require.True(t, c.Example != "" && c.About != "", "%s.%s lacks words for people", p.Kind.Name, c.Name)
		}
		seen[p.Kind.Name] = true
	}
	for _, kind := range []int{0, 1, 2, 6} {
		require.NotNil(t, ports[kind].Codes, "%s is referred to", ports[kind].Kind.Name)
	}
}

// TestWhatWasImportedIsExported also imports everything a second time, which must change nothing.
func TestWhatWasImportedIsExported(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for range 2 {
		for _, f := range files {
			s.mustPut(t, f.kind, f.lines...)
			require.Equal(t, f.lines, s.list(t, f.kind), f.kind)
		}
	}
}

func TestKnownRecordsAreUpdated(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	before := map[string]any{}
	for _, kind := range []string{KindOwners, KindPrograms, KindDogs, KindRequests} {
		before[kind] = s.codes(t, kind)
	}
	changed := []struct {
		kind, was, is string
	}{
		{KindOwners, "MOSS,Ida Moss,,,", "MOSS,Ida Moss-Hall,ida@example.org,1,Europe/Paris"},
		{KindPrograms, "MANNERS,Two weeks of manners,14,3,20,6,1,,1,,,", "MANNERS,Three weeks,21,2,25,0,,2,,,,3"},
		{KindDogs, "KIM,MOSS,Kim,beagle,6,yes,male,2026-10-10,9.8,500,400,1,,,,,", "KIM,LOWE,Kimmy,,0,no,neutered,2026-10-11,10.1,501,402,,,old,yes,no,yes"},
		{KindVaccinations, "BO,rabies,2026-09-20,booster,36", "BO,rabies,2026-09-20,primary,12"},
		{KindAnswers, "BO,excitable,4", "BO,excitable,0"},
		{KindRequests, "R-3,KIM,MANNERS,2027-04-01,2027-04-01,,5,no,2027-01-13,,withdrawn,", "R-3,KIM,LONG,2027-05-01,2027-05-09,2027-05-02,1,yes,2027-01-14,K,open,again"},
		{KindRequestSites, "R-1,HILL,35", "R-1,HILL,40"},
		{KindApart, "BO,KIM,fought over a ball", "BO,KIM,fought twice"},
		{KindVets, "KIM,,555-0191", "KIM,Brook Vets,555-0192"},
		{KindMedicines, "BO,ear drops,2 drops,08:00,no,2027-02-11,,", "BO,ear drops,3 drops,09:00|21:00,yes,2027-02-11,2027-02-12,rub it in"},
		{KindFeeding, "DOT,eats slowly", "DOT,eats fast"},
		{KindBites, "DOT,2026-11-02,1,", "DOT,2026-11-02,2,at the door"},
	}
	for _, c := range changed {
		header := s.list(t, c.kind)[0]
		require.Contains(t, s.list(t, c.kind), c.was)
		s.mustPut(t, c.kind, header, c.is)
		require.Contains(t, s.list(t, c.kind), c.is)
		require.NotContains(t, s.list(t, c.kind), c.was)
	}
	for kind, codes := range before {
		require.Equal(t, codes, s.codes(t, kind), "%s keep their IDs", kind)
	}
}

func TestRowsThatCannotBe(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for _, tt := range []struct {
		name, kind, line, column, rule string
	}{
		{"address", KindOwners, "X,Max,max at example.org,,", "email", "is not an e-mail address"},
		{"address with a name", KindOwners, "X,Max,Max <max@example.org>,,", "email", "is not an e-mail address"},
		{"zone that is none", KindOwners, "X,Max,,,Mars/Dome", "zone", "is not an IANA time zone"},
		{"male in season", KindDogs, "X,LOWE,X,,0,no,male,2025-02-02,20,700,600,,2027-01-01,,,,", "season_started", "is given for a dog that is male"},
		{"spayed in season", KindDogs, "X,LOWE,X,,0,no,spayed,2025-02-02,20,700,600,,2027-01-01,,,,", "season_started", "is given for a dog that is spayed"},
		{"season before birth", KindDogs, "X,LOWE,X,,0,no,female,2025-02-02,20,700,600,,2025-02-01,,,,", "season_started", "is before the dog was born, 2025-02-02"},
		{"season in another year", KindDogs, "X,LOWE,X,,0,no,female,2025-02-02,20,700,600,,2055-02-03,,,,", "season_started", "is more than 30 years after the dog was born, 2025-02-02"},
		{"shot before birth", KindVaccinations, "BO,rabies,2025-06-14,primary,12", "given", "is before the dog was born, 2025-06-15"},
		{"shot in another year", KindVaccinations, "BO,rabies,2062-02-02,primary,12", "given", "is more than 30 years after the dog was born, 2025-06-15"},
		{"instant without a zone", KindOverrides, "BO,2027-01-15T10:20:30,ANA,5,,because", "decided_at", "is not an instant in UTC"},
		{"instant elsewhere", KindOverrides, "BO,2027-01-15T10:20:30-07:00,ANA,5,,because", "decided_at", "is not an instant in UTC"},
		{"decided before birth", KindOverrides, "BO,2025-06-14T09:59:59Z,ANA,5,,because", "decided_at", "is before the dog was born, 2025-06-15"},
		{"window turned round", KindRequests, "X,BO,MANNERS,2027-03-02,2027-03-01,,3,no,2027-01-01,,open,", "window_last", "is before the first arrival day"},
		{"window of years", KindRequests, "X,BO,MANNERS,2027-03-02,2029-03-01,,3,no,2027-01-01,,open,", "window_last", "makes a window of more than 366 days"},
		{"wish before the window", KindRequests, "X,BO,MANNERS,2027-03-02,2027-03-09,2027-03-01,3,no,2027-01-01,,open,", "wished", "is outside of the arrival window"},
		{"wish after the window", KindRequests, "X,BO,MANNERS,2027-03-02,2027-03-09,2027-03-10,3,no,2027-01-01,,open,", "wished", "is outside of the arrival window"},
		{"asked too late", KindRequests, "X,BO,MANNERS,2027-01-02,2027-01-09,,3,no,2027-01-10,,open,", "asked_on", "is after the last arrival day"},
		{"window before birth", KindRequests, "X,BO,MANNERS,2025-06-14,2025-07-09,,3,no,2025-02-02,,open,", "window_first", "is before the dog was born, 2025-06-15"},
		{"window in another century", KindRequests, "X,BO,MANNERS,2127-03-02,2127-03-09,,3,no,2027-02-02,,open,", "window_first", "is more than 30 years after the dog was born, 2025-06-15"},
		{"medicine that ends first", KindMedicines, "BO,drops,1,08:00,no,2027-03-02,2027-03-01,", "last_day", "is before the first day"},
		{"medicine before birth", KindMedicines, "BO,drops,1,08:00,no,2025-06-14,,", "first_day", "is before the dog was born, 2025-06-15"},
		{"bite before birth", KindBites, "DOT,2024-02-28,1,", "day", "is before the dog was born, 2024-02-29"},
	} {
		// The rows of one kind come after those before it, so the school fills up as the kinds go by.
		t.Run(tt.name, func(t *testing.T) {
			for i := range kindIndex(tt.kind) {
				s.mustPut(t, files[i].kind, files[i].lines...)
			}
			header, good := files[kindIndex(tt.kind)].lines[0], files[kindIndex(tt.kind)].lines[1]
			wrong := s.put(t, tt.kind, header, tt.line, good)
			require.Len(t, wrong, 1)
			require.Equal(t, fault{2, tt.column}, fault{wrong[0].Line, wrong[0].Column})
			require.Equal(t, tt.rule, wrong[0].Rule)
			require.NotEmpty(t, wrong[0].Remedy)
			require.Equal(t, []string{header, good}, s.list(t, tt.kind), "the other row is written, this one is not")
		})
	}
}

func TestFaultsOfOwnersHoldNoPersonalData(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	wrong := s.put(t, KindOwners, "code,name,email,phone", "X,Max,max at example.org,5550100")
	require.Len(t, wrong, 1)
	require.Empty(t, wrong[0].Value)
}

// TestImportsDoNotLookAtTheCalendar: what was exported once comes in on any clock.
func TestImportsDoNotLookAtTheCalendar(t *testing.T) {
	t.Parallel()
	for _, year := range []int{1990, 2026, 2199} {
		s := newSchool(t)
		for _, f := range files {
			port := s.port(t, f.kind)
			rows := s.rows(t, port, f.lines...)
			in := records.Intake{Mint: uuid.New, Now: time.Date(year, 5, 1, 0, 0, 0, 0, time.UTC), By: "test"}
			require.NoError(t, postgres.InTx(t.Context(), s.Pool, func(tx postgres.Tx) error {
				wrong, err := port.Put(t.Context(), tx, in, rows)
				require.Empty(t, wrong, "%s in %d", f.kind, year)
				return err
			}))
			require.Equal(t, f.lines, s.list(t, f.kind))
		}
	}
}

// TestADayOfBirthGoesWithWhatIsOnRecord: else an export could not come in again.
func TestADayOfBirthGoesWithWhatIsOnRecord(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	for born, rule := range map[string]string{
		"2025-09-20": "", // the day of the first shot
		"2025-09-21": "is after the first day on record of this dog, 2025-09-20",
		"1997-03-01": "", // 30 years before the window opens
		"1997-02-28": "makes the dog older than 30 years on 2027-03-01",
	} {
		wrong := s.put(t, KindDogs, dogsCSV, "BO,LOWE,Bo,mixed,0,no,female,"+born+",21.5,780,620,,2027-02-20,")
		if rule == "" {
			require.Empty(t, wrong, born)
			continue
		}
		require.Len(t, wrong, 1, born)
		require.Equal(t, "born", wrong[0].Column)
		require.Equal(t, rule, wrong[0].Rule)
	}
}

func TestWhatAPersonDecidedIsNotChanged(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	was := s.list(t, KindOverrides)
	wrong := s.put(t, KindOverrides, was[0],
		"BO,2026-12-01T08:00:00Z,ANA,120,,needs more time", // the same word, written shorter
		"BO,2027-01-15T10:20:30.123456Z,ANA,,open,jumps at strangers",
		"KIM,2027-01-15T10:20:30Z,ANA,50,,quick",
		"KIM,2027-01-15T10:20:30.0Z,ANA,51,,quick")
	require.Equal(t, []fault{{3, "decided_at"}, {5, "decided_at"}}, faultsOf(wrong))
	require.Equal(t, append(was, "KIM,2027-01-15T10:20:30.000000Z,ANA,50,,quick"), s.list(t, KindOverrides))
}

func TestGoalsOfAProgramAreReplaced(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.mustPut(t, KindPrograms, programsCSV, "A,A,14,3,20,6,1,1,1,1,1,1", "B,B,14,3,20,6,1,,,,,")
	s.mustPut(t, KindPrograms, programsCSV, "A,A,14,3,20,6,,0,3,,,")
	require.Equal(t, []string{programsCSV, "A,A,14,3,20,6,,,3,,,", "B,B,14,3,20,6,1,,,,,"}, s.list(t, KindPrograms))
}

func columnNames(k sheet.Kind) []string {
	var names []string
	for _, c := range k.Columns {
		names = append(names, c.Name)
	}
	return names
}

func kindIndex(kind string) int {
	for i, f := range files {
		if f.kind == kind {
			return i
		}
	}
	panic(kind)
}

// TestSitesOfARequestAreItsOwn guards against sites of one request that are shown with another.
func TestSitesOfARequestAreItsOwn(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.fill(t, "")
	cases, err := ListCases(t.Context(), s, calendar.MustMonth("2027-03"))
	require.NoError(t, err)
	got := map[string]map[ids.SiteID]int{}
	for _, c := range cases {
		got[c.Request.Code] = map[ids.SiteID]int{}
		for _, choice := range c.Request.Sites {
			got[c.Request.Code][choice.SiteID] = choice.TravelMinutes
		}
	}
	hill, lake := s.sites[0].ID, s.sites[1].ID
	require.Equal(t, map[string]map[ids.SiteID]int{"R-1": {hill: 35, lake: 0}, "R-2": {lake: 1440}}, got)
}
