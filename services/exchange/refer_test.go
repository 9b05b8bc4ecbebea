package exchange_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/sheet"
)

const runsHead = "site,run,row,length_mm,width_mm,height_mm,isolation"

// TestConsequencesAreToldAsSuch: a reference to what the import itself rejected or could not read is no fault of its own.
func TestConsequencesAreToldAsSuch(t *testing.T) {
	t.Parallel()
	dog := func(code, owner string) string {
		return code + "," + owner + ",Rex,,0,no,male,2025-06-15,20,700,600,,,"
	}
	for name, tt := range map[string]struct {
		files []exchange.File
		want  []string
	}{
		"a code behind the quote of spreadsheets": {
			[]exchange.File{file("owners.csv", ownersHead, "'@B,,,"), file("dogs.csv", dogsHead, dog("X", "'@B"))},
			[]string{"owners.csv line 2, column name: has no value", `dogs.csv line 2, column owner: "@B" points to a row of owners that was itself rejected`},
		},
		"a file that is no table": {
			[]exchange.File{{Name: "owners.csv", Content: []byte("%PDF-1.7\n")}, file("dogs.csv", dogsHead, dog("X", "NEW"), dog("Y", "O-001"))},
			[]string{"owners.csv: is a PDF document, not a table", `dogs.csv line 2, column owner: "NEW" is not among the owners, as far as they could be read`},
		},
		"a header without the key": {
			[]exchange.File{file("owners.csv", "nickname,name", "NEW,New"), file("dogs.csv", dogsHead, dog("X", "NEW"))},
			[]string{"owners.csv line 1, column code: is missing from the header", `dogs.csv line 2, column owner: "NEW" is not among the owners, as far as they could be read`},
		},
		"a row refused by its own rules": {
			[]exchange.File{file("owners.csv", ownersHead, "NEW,New,at home,"), file("dogs.csv", dogsHead, dog("X", "NEW"))},
			[]string{"owners.csv line 2, column email: is not an e-mail address", `dogs.csv line 2, column owner: "NEW" points to a row of owners that was itself rejected`},
		},
		"a run of a site": {
			[]exchange.File{file("runs.csv", runsHead, "TARN,Z9,Z,1,900,900,no"),
				file("closures.csv", "site,run,first_day,last_day,reason", "TARN,Z9,2027-03-01,2027-03-02,paint", "FENN,Z9,2027-03-01,2027-03-02,paint")},
			[]string{`runs.csv line 2, column length_mm: "1" is below 300`, `closures.csv line 2, column run: "Z9" points to a row of runs that was itself rejected`,
				`closures.csv line 3, column run: "Z9" is not among the runs`},
		},
		"a known record whose change was refused stays": {
			[]exchange.File{file("owners.csv", ownersHead, "O-001,,,"), file("dogs.csv", dogsHead, dog("X", "O-001"))},
			[]string{"owners.csv line 2, column name: has no value"},
		},
		"a good row beside a bad one with its code": {
			[]exchange.File{file("owners.csv", ownersHead, "NEW,,,", "NEW,New,,"), file("dogs.csv", dogsHead, dog("X", "NEW"))},
			[]string{"owners.csv line 2, column name: has no value"},
		},
		"faults of a row beside its reference": {
			[]exchange.File{file("requests.csv", requestsHead, "X,NODOG,NOPROGRAM,2027-03-09,2027-03-02,,3,no,2027-01-01,,open,")},
			[]string{`requests.csv line 2, column dog: "NODOG" is not among the dogs`, `requests.csv line 2, column program: "NOPROGRAM" is not among the programs`,
				`requests.csv line 2, column window_last: "2027-03-02" is before the first arrival day`},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			report := newSchool(t).full(t).take(t, exchange.Settings{SkipBad: true}, tt.files...)
			require.Equal(t, tt.want, told(t, report.Faults))
		})
	}
}

func TestACodeInOtherLettersIsPointedOut(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	report := s.take(t, exchange.Settings{}, file("closures.csv", "site,run,first_day,last_day,reason",
		"tarn,A1,2027-05-01,2027-05-02,paint", "TARN,a1,2027-05-03,2027-05-04,paint", "TRAN,A1,2027-05-05,2027-05-06,paint"))
	var remedies []string
	for _, f := range report.Faults {
		remedies = append(remedies, fmt.Sprintf("%d %s: %s", f.Line, f.Column, f.Remedy))
	}
	require.Equal(t, []string{
		"2 site: write TARN: codes are told apart by capital letters too", "2 run: write A1: codes are told apart by capital letters too",
		"3 run: write A1: codes are told apart by capital letters too",
		"4 site: correct the code, or add it to sites first", "4 run: correct the code, or add it to runs first",
	}, remedies)
}

// TestNothingTakenIsNotImported: nobody should read "imported" when every row was refused.
func TestNothingTakenIsNotImported(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	report := s.take(t, exchange.Settings{SkipBad: true}, file("owners.csv", ownersHead, "ANN,,,"))
	require.False(t, report.Imported)
	require.NotEmpty(t, report.Files[0].RejectedContent)
	_, err := s.Take(t.Context(), nil, exchange.Settings{}, func(exchange.Progress) {})
	known, ok := apperr.From(err)
	require.True(t, ok)
	require.Equal(t, apperr.Invalid, known.Kind)
}

// TestFaultsAreListedToALimit: ten thousand are enough to read, and each rejected row keeps its reason.
func TestFaultsAreListedToALimit(t *testing.T) {
	t.Parallel()
	const extra = 50
	areas := []string{"site,area,kind,dogs_at_once"}
	for i := range sheet.MaxFaults + extra {
		areas = append(areas, fmt.Sprintf("NOWHERE,A%d,yard,2", i))
	}
	report := newSchool(t).take(t, exchange.Settings{SkipBad: true}, file("areas.csv", areas...))
	require.Len(t, report.Faults, sheet.MaxFaults+1)
	require.Equal(t, fmt.Sprintf("areas.csv: has %d more faults, which are not listed: correct these first, then import again", extra),
		report.Faults[sheet.MaxFaults].String())
	require.Equal(t, sheet.MaxFaults+extra, report.Files[0].Rejected)
	require.Equal(t, sheet.MaxFaults+extra, strings.Count(string(report.Files[0].RejectedContent), "is not among the sites"))
}

// TestWorkbooksGoByTheirSheets whatever their own name is: nothing in them may be passed over in silence.
func TestWorkbooksGoByTheirSheets(t *testing.T) {
	t.Parallel()
	full := newSchool(t).full(t)
	book, single := full.give(t, "xlsx")[0], full.give(t, "xlsx", "owners")[0]
	for name, tt := range map[string]struct {
		file exchange.File
		want int
	}{
		"all kinds":                             {exchange.File{Name: "school.xlsx", Content: book.Content}, len(allPorts())},
		"all kinds, named after one":            {exchange.File{Name: "owners.xlsx", Content: book.Content}, len(allPorts())},
		"all kinds, one of them asked for":      {exchange.File{Name: "school.xlsx", Kind: "sites", Content: book.Content}, 1},
		"one kind, named after it":              {exchange.File{Name: "Owners March.xlsx", Content: single.Content}, 1},
		"one kind, named after another by luck": {exchange.File{Name: "school.xlsx", Content: single.Content}, 1},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			report := newSchool(t).take(t, exchange.Settings{}, tt.file)
			require.Empty(t, told(t, report.Faults))
			require.Len(t, report.Files, tt.want)
		})
	}
}
