package exchange_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/exchange"
)

// stayBoard is a school with four stays in two runs of one site: May and June of each run are taken.
func stayBoard(t *testing.T) school {
	t.Helper()
	s := newSchool(t).full(t)
	report := s.take(t, exchange.Settings{}, stayFile(
		"M-100,TARN,A1,IMARA,2027-05-03,2027-05-17,confirmed",
		"M-101,TARN,A2,IMARA,2027-05-03,2027-05-17,confirmed",
		"M-102,TARN,A1,IMARA,2027-06-07,2027-06-21,confirmed",
		"M-103,TARN,A2,IMARA,2027-06-07,2027-06-21,confirmed"))
	require.Empty(t, told(t, report.Faults))
	return s
}

func stayFile(rows ...string) exchange.File {
	return file("stays.csv", append([]string{"request,site,run,trainer,arrival,graduation,state"}, rows...)...)
}

// TestStaysChangePlacesInOneFile: what a row gives up is free for another, wherever it stands in the file.
func TestStaysChangePlacesInOneFile(t *testing.T) {
	t.Parallel()
	for name, rows := range map[string][]string{
		"two swap": {
			"M-100,TARN,A2,IMARA,2027-05-03,2027-05-17,confirmed",
			"M-101,TARN,A1,IMARA,2027-05-03,2027-05-17,confirmed"},
		"three in a ring": {
			"M-100,TARN,A2,IMARA,2027-05-03,2027-05-17,confirmed",
			"M-101,TARN,A1,IMARA,2027-06-07,2027-06-21,confirmed",
			"M-102,TARN,A1,IMARA,2027-05-03,2027-05-17,confirmed"},
		"one takes what another cancels below": {
			"M-100,TARN,A2,IMARA,2027-05-03,2027-05-17,confirmed",
			"M-101,TARN,A2,IMARA,2027-05-03,2027-05-17,cancelled"},
		"next to each other": {
			"M-100,TARN,A1,IMARA,2027-05-24,2027-06-07,confirmed",
			"M-101,TARN,A1,IMARA,2027-06-21,2027-06-28,published"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := stayBoard(t)
			report := s.take(t, exchange.Settings{}, stayFile(rows...))
			require.Empty(t, told(t, report.Faults))
			require.True(t, report.Imported)
			out := s.text(t, "stays")
			for _, row := range rows {
				require.Contains(t, out, row+"\n")
			}
		})
	}
}

// TestACancelledStayComesBack while another gives up its run; the order of the rows must not matter.
func TestACancelledStayComesBack(t *testing.T) {
	t.Parallel()
	s := stayBoard(t)
	const back, off = "M-100,TARN,A1,IMARA,2027-05-03,2027-05-17,confirmed", "M-104,TARN,A1,IMARA,2027-05-03,2027-05-17,cancelled"
	first := s.take(t, exchange.Settings{}, stayFile(strings.Replace(back, "confirmed", "cancelled", 1), strings.Replace(off, "cancelled", "published", 1)))
	require.Empty(t, told(t, first.Faults))
	refused := s.take(t, exchange.Settings{}, stayFile(back))
	require.Equal(t, []string{`stays.csv line 2, column run: "A1" is taken from 2027-05-03 to 2027-05-17 by another dog`}, told(t, refused.Faults))
	report := s.take(t, exchange.Settings{}, stayFile(back, off))
	require.Empty(t, told(t, report.Faults))
	require.Contains(t, s.text(t, "stays"), back+"\n")
	require.Contains(t, s.text(t, "stays"), off+"\n")
	require.Len(t, s.stayIDs(t, "M-100"), 1, "a stay that comes back is the one that it was")
}

// TestARefusedStayKeepsItsRun: where bad rows are skipped, what a refused row was to give up is not free.
func TestARefusedStayKeepsItsRun(t *testing.T) {
	t.Parallel()
	s := stayBoard(t)
	before := s.stayIDs(t, "M-100")
	report := s.take(t, exchange.Settings{SkipBad: true}, stayFile(
		"M-105,TARN,A1,IMARA,2027-05-10,2027-05-24,confirmed",  // into the run that M-100 was to leave
		"M-106,TARN,A2,IMARA,2027-05-17,2027-05-24,confirmed",  // good
		"M-100,TARN,A2,IMARA,2027-06-01,2027-06-15,confirmed")) // into the run of M-103
	require.True(t, report.Imported)
	require.Equal(t, []string{
		`stays.csv line 2, column run: "A1" is taken from 2027-05-03 to 2027-05-17 by another dog`,
		`stays.csv line 4, column run: "A2" is taken from 2027-06-07 to 2027-06-21 by another dog`,
	}, told(t, report.Faults))
	require.Equal(t, 1, report.Files[0].Taken)
	require.Equal(t, before, s.stayIDs(t, "M-100"))
	require.Contains(t, s.text(t, "stays"), "M-106,TARN,A2,IMARA,2027-05-17,2027-05-24,confirmed\n")
}

// TestOnlyChangedStaysAreInTheAuditTrail takes the stays as exported with one changed row.
func TestOnlyChangedStaysAreInTheAuditTrail(t *testing.T) {
	t.Parallel()
	s := stayBoard(t)
	before := len(s.contents(t)["planner.stay_change"])
	ids := s.stayIDs(t, "M-100")
	rows := strings.Replace(s.text(t, "stays"), "M-101,TARN,A2,IMARA,2027-05-03,2027-05-17,confirmed", "M-101,TARN,A2,IMARA,2027-05-03,2027-05-18,confirmed", 1)
	report := s.take(t, exchange.Settings{}, exchange.File{Name: "stays.csv", Content: []byte(rows)})
	require.Empty(t, told(t, report.Faults))
	require.Len(t, s.contents(t)["planner.stay_change"], before+2, "one stay ends and one begins")
	require.Len(t, s.stayIDs(t, "M-101"), 2)
	require.Equal(t, ids, s.stayIDs(t, "M-100"))
}

// stayIDs are the stays that a request ever had.
func (s school) stayIDs(t *testing.T, request string) []string {
	t.Helper()
	var ids []string
	rows, err := s.pool.Query(t.Context(), `
		select s.id::text from planner.stay s join enrollment.request r on r.id = s.request_id where r.code = $1 order by s.id`, request)
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var id string
		require.NoError(t, rows.Scan(&id))
		ids = append(ids, id)
	}
	return ids
}
