package exchange_test

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/sheet"
)

// TestWhatGoesOutComesInUnchanged takes the export of a school into an empty database, whose export must be the same.
func TestWhatGoesOutComesInUnchanged(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"csv", "xlsx"} {
		t.Run(format, func(t *testing.T) {
			t.Parallel()
			out := newSchool(t).full(t).give(t, format)
			if format == "xlsx" {
				require.Len(t, out, 1, "several kinds make one workbook")
			} else {
				require.Len(t, out, len(allPorts()))
			}
			other := newSchool(t)
			for i := range out {
				out[i].Kind = "" // the name says it
			}
			report := other.take(t, exchange.Settings{}, out...)
			require.Empty(t, told(t, report.Faults))
			require.True(t, report.Imported)
			again := other.give(t, format)
			require.Len(t, again, len(out))
			for i := range out {
				require.Equal(t, out[i].Name, again[i].Name)
				require.Equal(t, partsOf(t, out[i]), partsOf(t, again[i]), "%s differs", out[i].Name)
			}
		})
	}
}

// partsOf is a file, or the files packed into a workbook, whose order in the package means nothing and is not always the same.
func partsOf(t *testing.T, f exchange.File) map[string]string {
	t.Helper()
	if !strings.HasSuffix(f.Name, ".xlsx") {
		return map[string]string{"": string(f.Content)}
	}
	packed, err := zip.NewReader(bytes.NewReader(f.Content), int64(len(f.Content)))
	require.NoError(t, err)
	parts := map[string]string{}
	for _, p := range packed.File {
		r, err := p.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(r)
		require.NoError(t, err)
		parts[p.Name] = string(content)
	}
	require.Greater(t, len(parts), len(allPorts()))
	return parts
}

// renewed are tables whose rows are replaced by an import; nothing points to their IDs.
var renewed = []string{"facility.closure", "roster.absence", "roster.loan"}

// TestImportingTwiceChangesNothing: no new IDs, and nothing in the audit trail.
func TestImportingTwiceChangesNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t).full(t)
	before := s.contents(t)
	require.NotEmpty(t, before["planner.stay_change"])
	s.full(t)
	after := s.contents(t)
	for _, table := range renewed {
		require.Len(t, after[table], len(before[table]))
		delete(before, table)
		delete(after, table)
	}
	require.Equal(t, before, after)
}

// TestTemplatesComeIn: the example row of every template is one that import takes.
func TestTemplatesComeIn(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"csv", "xlsx"} {
		for _, p := range allPorts() {
			var buffer bytes.Buffer
			require.NoError(t, sheet.Template(&buffer, format, p.Kind))
			table, err := sheet.Read(p.Kind.Name+"."+format, buffer.Bytes(), p.Kind, sheet.Options{})
			require.NoError(t, err)
			require.Empty(t, table.Faults, p.Kind.Name)
			require.Len(t, table.Rows, 1, p.Kind.Name)
		}
	}
}

func TestOtherWaysToWriteAFile(t *testing.T) {
	t.Parallel()
	const good = "code,name,email,phone,zone\nLOWE,Zoë Lowé,,,\n"
	latin, err := charmap.Windows1252.NewEncoder().String(good)
	require.NoError(t, err)
	wide, err := unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(good)
	require.NoError(t, err)
	for name, tt := range map[string]struct{ content, note string }{
		"windows-1252":   {latin, "read as Windows-1252, because line 2 is not valid UTF-8"},
		"utf-16":         {wide, "read as UTF-16"},
		"semicolons":     {strings.ReplaceAll(good, ",", ";"), "separator ;"},
		"unknown column": {"code,name,email,phone,zone,shoe size\nLOWE,Zoë Lowé,,,,9\n", "column 'shoe size' is not known and was not read"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newSchool(t)
			report := s.take(t, exchange.Settings{}, exchange.File{Name: "owners.csv", Content: []byte(tt.content)})
			require.Empty(t, told(t, report.Faults))
			require.Equal(t, []string{tt.note}, report.Files[0].Notes)
			require.Equal(t, good, s.text(t, "owners"))
		})
	}
}

func TestOrderOfDates(t *testing.T) {
	t.Parallel()
	files := []exchange.File{file("owners.csv", "code,name,email,phone", "LOWE,Sam Lowe,,"),
		file("dogs.csv", "code,owner,name,breed,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm,bite_level,season_started,note",
			"REX,LOWE,Rex,,0,no,male,3/4/2025,20,700,600,,,")}
	for order, born := range map[sheet.DateOrder]string{sheet.DatesDMY: "2025-04-03", sheet.DatesMDY: "2025-03-04"} {
		s := newSchool(t)
		report := s.take(t, exchange.Settings{Dates: order}, files...)
		require.Empty(t, told(t, report.Faults))
		require.Contains(t, s.text(t, "dogs"), ","+born+",")
	}
	report := newSchool(t).take(t, exchange.Settings{}, files...)
	require.Len(t, report.Faults, 1)
	require.Equal(t, "born", report.Faults[0].Column)
	require.False(t, report.Imported)
}

// TestImportsAtOnce: each waits for the one before, so all come through and agree.
func TestImportsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	files := scenariotest.Files(t)
	var all sync.WaitGroup
	errs := make([]error, 3)
	reports := make([]exchange.Report, 3)
	for i := range errs {
		all.Go(func() {
			reports[i], errs[i] = s.Take(t.Context(), files, exchange.Settings{}, func(exchange.Progress) {})
		})
	}
	all.Wait()
	for i := range errs {
		require.NoError(t, errs[i])
		require.True(t, reports[i].Imported)
	}
	require.Equal(t, newSchool(t).full(t).give(t, "csv"), s.give(t, "csv"))
	require.Len(t, s.contents(t)["planner.stay_change"], 64, "one entry for each of the scenario's stays")
}

// TestACancelledImportLeavesNothing cancels while requests are written.
func TestACancelledImportLeavesNothing(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	before := s.contents(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	_, err := s.Take(ctx, scenariotest.Files(t), exchange.Settings{}, func(p exchange.Progress) {
		if p.Kind == "requests" {
			cancel()
		}
	})
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, before, s.contents(t))
}

// TestALargeFile takes in 100,000 requests with their owners and dogs; fewer under the race detector.
func TestALargeFile(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("300,000 rows")
	}
	const n = manyRequests
	owners, dogs, requests := []string{"code,name,email,phone"},
		[]string{"code,owner,name,breed,breed_tier,hound,sex,born,weight_kg,length_mm,height_mm,bite_level,season_started,note"},
		[]string{"code,dog,program,window_first,window_last,wished,priority,deposit,asked_on,household,state,note"}
	first := time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC)
	for i := range n {
		day := first.AddDate(0, 0, i%300)
		owners = append(owners, fmt.Sprintf("O%d,Owner %d,o%d@example.org,", i, i, i))
		dogs = append(dogs, fmt.Sprintf("D%d,O%d,Rex,,0,no,male,2025-06-15,20,700,600,,,", i, i))
		requests = append(requests, fmt.Sprintf("R%d,D%d,MANNERS,%s,%s,,3,no,2027-01-11,,open,", i, i, day.Format(time.DateOnly), day.AddDate(0, 0, 20).Format(time.DateOnly)))
	}
	s := newSchool(t)
	events := map[string]int{}
	started := time.Now()
	report, err := s.Take(t.Context(), []exchange.File{file("requests.csv", requests...), file("dogs.csv", dogs...), file("owners.csv", owners...),
		file("programs.csv", "code,name,nights,sessions_a_day,session_minutes,least_age_months", "MANNERS,Manners,14,3,20,6")},
		exchange.Settings{}, func(p exchange.Progress) {
			require.LessOrEqual(t, p.Done, p.Of)
			events[p.Phase+" "+p.Kind]++
		})
	require.NoError(t, err)
	t.Logf("%d rows in %.1f s", 3*n+1, time.Since(started).Seconds())
	require.Empty(t, report.Faults)
	require.True(t, report.Imported)
	require.Equal(t, map[string]int{"reading ": 4, "writing owners": 1 + n/5000, "writing dogs": 1 + n/5000, "writing requests": 2, "writing programs": 2}, events)
	require.Equal(t, n+1, strings.Count(s.text(t, "requests"), "\n"))
}
