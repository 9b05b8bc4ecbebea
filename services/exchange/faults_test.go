package exchange_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

const (
	ownersHead   = "code,name,email,phone"
	dogsHead     = "code,owner,name,breed,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm,bite_level,season_started,note"
	requestsHead = "code,dog,program,window_first,window_last,wished,priority,deposit,asked_on,household,state,note"
	sitesHead    = "request,site,travel_minutes"
	staysHead    = "request,site,run,trainer,arrival,graduation,state"
)

// manyFaults is a folder in which something is wrong in every file.
func manyFaults() []exchange.File {
	return []exchange.File{
		file("request-sites.csv", sitesHead,
			"N-1,TARN,20",    // good, but N-1 is rejected
			"N-3,NOWHERE,20", // unknown site
			"N-3,FENN,2000"), // out of bounds
		file("requests.csv", requestsHead,
			"N-1,BAD,FIRST14,2027-04-01,2027-04-08,,3,no,2027-01-01,,open,", // its dog is rejected
			"N-2,GOOD,NONE,2027-05-01,2027-05-08,,3,no,2027-01-01,,open,",   // unknown program
			"N-3,GOOD,FIRST14,2027-03-01,2027-03-08,,3,no,2027-01-01,,open,",
			"N-4,GOOD,FIRST14,2027-03-09,2027-03-08,31.02.2027,9,perhaps,2027-01-01,,open,"),
		file("dogs.csv", dogsHead,
			"BAD,NOBODY,Bad,,0,no,male,2025-02-30,20,700,600,,,", // no such day, and no such owner
			"GOOD,ANN,Good,,0,no,male,2025-02-03,20,700,600,,,",
			"GOOD,ANN,Good,,0,no,male,2025-02-03,20,700,600,,,"), // twice
		file("owners.csv", ownersHead, "ANN,Ann,ann at home,", "BEN,Ben,,"),
		file("owners-more.csv", ownersHead, "BEN,Benjamin,,", "CAY,Cay,,"),
		file("lists.csv", "a,b", "1,2"),
		{Name: "photo.csv", Kind: "owners", Content: []byte("\x89PNG\r\n\x1a\n0000000000")},
		{Name: "cats.csv", Kind: "cats", Content: []byte("code\nA\n")},
		file("stays.csv", staysHead, "F-001,TARN,E1,IMARA,2027-03-01,2027-03-01,confirmed"),
	}
}

func TestAllFaultsAreToldAtOnceAndNothingIsImported(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	before := s.contents(t)
	report := s.take(t, exchange.Settings{}, manyFaults()...)
	require.False(t, report.Imported)
	got := told(t, report.Faults)
	for _, f := range report.Faults {
		require.NotEmpty(t, f.File)
		require.NotEmpty(t, f.Rule)
	}
	require.Equal(t, faultsTold, got, strings.Join(got, "\n"))
	require.Equal(t, before, s.contents(t), "nothing was imported")
	for _, f := range report.Files {
		require.Zero(t, f.Taken, f.Name)
		require.Empty(t, f.RejectedContent, "bad rows are given back only when they may be skipped")
	}
}

// faultsTold are the faults of manyFaults: first those of whole files, then those of rows in import order.
var faultsTold = []string{
	`lists.csv: does not say which records it holds`,
	`photo.csv: is a picture, not a table`,
	`cats.csv: "cats" is no kind of record`,
	`owners.csv line 2, column email: is not an e-mail address`,
	`owners-more.csv line 2: stands in owners.csv line 3 already`,
	`dogs.csv line 2, column born: "2025-02-30" is not a date`,
	`dogs.csv line 2, column owner: "NOBODY" is not among the owners, as far as they could be read`,
	`dogs.csv line 3, column owner: "ANN" points to a row of owners that was itself rejected`,
	`dogs.csv line 4, column code: "GOOD" is on line 3 already`,
	`dogs.csv line 4, column owner: "ANN" points to a row of owners that was itself rejected`,
	`requests.csv line 2, column dog: "BAD" points to a row of dogs that was itself rejected`,
	`requests.csv line 3, column dog: "GOOD" points to a row of dogs that was itself rejected`,
	`requests.csv line 3, column program: "NONE" is not among the programs`,
	`requests.csv line 4, column dog: "GOOD" points to a row of dogs that was itself rejected`,
	`requests.csv line 5, column wished: "31.02.2027" is not a date`,
	`requests.csv line 5, column priority: "9" is above 5`,
	`requests.csv line 5, column deposit: "perhaps" is neither yes nor no`,
	`requests.csv line 5, column dog: "GOOD" points to a row of dogs that was itself rejected`,
	`request-sites.csv line 2, column request: "N-1" points to a row of requests that was itself rejected`,
	`request-sites.csv line 3, column request: "N-3" points to a row of requests that was itself rejected`,
	`request-sites.csv line 3, column site: "NOWHERE" is not among the sites`,
	`request-sites.csv line 4, column travel_minutes: "2000" is above 1440`,
	`request-sites.csv line 4, column request: "N-3" points to a row of requests that was itself rejected`,
	`stays.csv line 2, column graduation: "2027-03-01" is not after the arrival day`,
}

// TestBadRowsAreSkippedAndComeInCorrected takes the good rows, corrects the files of rejected ones, and takes them.
func TestBadRowsAreSkippedAndComeInCorrected(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	files := manyFaults()
	files = slices.DeleteFunc(files, func(f exchange.File) bool {
		return f.Kind != "" || f.Name == "lists.csv" || f.Name == "stays.csv" || f.Name == "owners-more.csv"
	})
	report := s.take(t, exchange.Settings{SkipBad: true}, files...)
	require.True(t, report.Imported)
	require.Contains(t, s.text(t, "owners"), "BEN,Ben,,")
	require.NotContains(t, s.text(t, "owners"), "ANN")
	corrected := map[string]string{}
	for _, f := range report.Files {
		require.Equal(t, f.Rows, f.Taken+f.Rejected, f.Name)
		if f.Rejected > 0 {
			require.Equal(t, strings.TrimSuffix(f.Name, ".csv")+".rejected.csv", f.RejectedName)
			require.Contains(t, strings.SplitN(string(f.RejectedContent), "\n", 2)[0], ",reasons")
			corrected[f.RejectedName] = string(f.RejectedContent)
		}
	}
	for _, change := range [][3]string{
		{"owners.rejected.csv", "ann at home", "ann@example.org"}, {"dogs.rejected.csv", "2025-02-30", "2025-02-28"}, {"dogs.rejected.csv", "NOBODY", "BEN"},
		{"requests.rejected.csv", "NONE", "FIRST14"},
		{"requests.rejected.csv", "2027-03-09,2027-03-08,31.02.2027,9,perhaps", "2027-06-01,2027-06-08,,5,no"},
		{"request-sites.rejected.csv", "NOWHERE", "TARN"}, {"request-sites.rejected.csv", "2000", "200"},
	} {
		require.Contains(t, corrected[change[0]], change[1])
		corrected[change[0]] = strings.Replace(corrected[change[0]], change[1], change[2], 1)
	}
	lines := strings.Split(strings.TrimSpace(corrected["dogs.rejected.csv"]), "\n")
	require.Len(t, lines, 4, "dogs of ANN wait for her")
	corrected["dogs.rejected.csv"] = strings.Join(lines[:3], "\n") + "\n"
	var again []exchange.File
	for name, text := range corrected {
		again = append(again, exchange.File{Name: name, Content: []byte(text)})
	}
	report = s.take(t, exchange.Settings{}, again...)
	require.Empty(t, told(t, report.Faults))
	require.True(t, report.Imported)
	for _, code := range []string{"N-1,", "N-2,", "N-3,", "N-4,"} {
		require.Contains(t, s.text(t, "requests"), "\n"+code)
	}
}

func TestADryRunChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	before := s.contents(t)
	report := s.take(t, exchange.Settings{DryRun: true}, scenariotest.Files(t)...)
	require.Empty(t, report.Faults)
	require.False(t, report.Imported)
	for _, f := range report.Files {
		require.Equal(t, f.Rows, f.Taken, "%s says how many would be taken", f.Name)
	}
	require.Equal(t, before, s.contents(t))
}

func TestRejectedRowsOfAWorkbook(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	var book strings.Builder
	ports := allPorts()
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == "owners" })
	j := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == "programs" })
	require.NoError(t, sheet.WriteBook(&book, []sheet.KindRecords{
		{Kind: ports[i].Kind, Records: [][]string{{"ANN", "Ann", "not an address", "", ""}, {"BEN", "Ben", "", "", ""}}},
		{Kind: ports[j].Kind}}))
	report := s.take(t, exchange.Settings{SkipBad: true}, exchange.File{Name: "school.xlsx", Content: []byte(book.String())})
	require.True(t, report.Imported)
	require.Equal(t, "school.owners.rejected.xlsx", report.Files[0].RejectedName)
	again := s.take(t, exchange.Settings{}, exchange.File{Name: report.Files[0].RejectedName, Content: report.Files[0].RejectedContent})
	require.Equal(t, []string{"school.owners.rejected.xlsx sheet owners line 2, column email: is not an e-mail address"}, told(t, again.Faults))
}

// TestStaysThatClash are told with their rows, not by the database.
func TestStaysThatClash(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	before := s.contents(t)
	lines := strings.Split(s.text(t, "stays"), "\n")
	first := strings.Split(lines[1], ",")
	report := s.take(t, exchange.Settings{}, file("stays.csv", staysHead,
		"M-100,"+strings.Join(first[1:], ","), // where F is already
		"M-101,"+first[1]+","+first[2]+","+first[3]+",2027-06-01,2027-06-15,confirmed",
		"M-102,"+first[1]+","+first[2]+","+first[3]+",2027-06-14,2027-06-20,confirmed"))
	require.Len(t, report.Faults, 2)
	require.Equal(t, 2, report.Faults[0].Line)
	require.Contains(t, report.Faults[0].Rule, "is taken from "+first[4]+" to "+first[5])
	require.Equal(t, 4, report.Faults[1].Line)
	require.Equal(t, before, s.contents(t))
}

// TestTheDatabaseIsNeverQuoted provokes what the forms of cells cannot see.
func TestTheDatabaseIsNeverQuoted(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	for name, f := range map[string]exchange.File{
		"last day of all":   file("closures.csv", "site,run,first_day,last_day,reason", "DRUM,A1,9999-12-30,9999-12-31,ever"),
		"first day of all":  file("closures.csv", "site,run,first_day,last_day,reason", "DRUM,A1,0001-01-01,0001-01-02,never"),
		"closures overlap":  file("closures.csv", "site,run,first_day,last_day,reason", "DRUM,A1,2027-03-01,2027-03-09,x", "DRUM,A1,2027-03-05,2027-03-06,y"),
		"absences overlap":  file("absences.csv", "trainer,first_day,last_day,kind", "IMARA,2027-04-01,2027-04-09,leave", "IMARA,2027-04-05,2027-04-06,leave"),
		"windows far away":  file("requests.csv", requestsHead, "Z-1,M-100,FIRST14,9999-12-01,9999-12-31,,3,no,2027-01-01,,open,"),
		"null byte":         file("owners.csv", ownersHead, "ANN,A\x00nn,,"),
		"numbers too large": file("runs.csv", "site,run,row,length_mm,width_mm,height_mm,isolation", "DRUM,ZZ,A,99999999999999999999,900,900,no"),
		"weird letters":     file("owners.csv", ownersHead, "ANN,A\u202Enn \U0001F415 \u0301,,"),
	} {
		report, err := s.Take(t.Context(), []exchange.File{f}, exchange.Settings{}, func(exchange.Progress) {})
		if err != nil {
			require.Failf(t, "not told as a fault", "%s: %v", name, err)
		}
		told(t, report.Faults)
		require.Equal(t, name == "weird letters", report.Imported, name)
	}
}

// TestWhatTheDatabaseRefusesIsToldInWords: no name of a table, no statement and no code of an error reaches whoever imports.
func TestWhatTheDatabaseRefusesIsToldInWords(t *testing.T) {
	t.Parallel()
	for sql, want := range map[string]string{
		`insert into facility.site (id, code, name, zone, rabies_waiting_days, required_vaccines, floor_percent, clean_down_days, rules_note)
		 values (gen_random_uuid(), 'A', 'A', 'UTC', 15, '{}', 100, 0, '')`: `"site rabies waiting days check"`,
		`insert into facility.run (id) values (null)`: `"run.`,
		`select from nowhere`:                         "",
	} {
		pool := postgrestest.Database(t)
		ports := allPorts()[:1]
		ports[0].Put = func(ctx context.Context, tx postgres.Tx, _ records.Intake, _ []records.Row) ([]records.Wrong, error) {
			_, err := tx.Exec(ctx, sql)
			return nil, err
		}
		server := exchange.NewServer(exchange.Deps{Pool: pool, Mint: ids.NewMint(), Now: time.Now,
			Caller: func(context.Context) string { return "test" }, Ports: ports})
		_, err := server.Take(t.Context(), []exchange.File{file("sites.csv", "code,name,zone,rabies_waiting_days,floor_percent,clean_down_days", "A,A,UTC,14,100,0")},
			exchange.Settings{}, func(exchange.Progress) {})
		require.Error(t, err)
		known, ok := apperr.From(err)
		require.Equal(t, want != "", ok, "what is not known is internal, and the edge shows a fixed text for it")
		if ok {
			require.Equal(t, "RECORDS_CLASH", known.Reason)
			require.Contains(t, known.Message, want)
			require.NotContains(t, known.Message, "SQLSTATE")
		}
	}
}
