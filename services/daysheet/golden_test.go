package daysheet_test

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

var update = flag.Bool("update", false, "keep the golden sheets anew")

// goldenDay is the graduation day of D-059.
const goldenDay = "2027-03-04"

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "%s; -update keeps it anew, after reading the difference", name)
}

func TestGoldenSheets(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.keepFixed(t, goldenDay)
	for name, req := range map[string]*daysheetv1.PrintDaySheetRequest{
		"drum.txt":        {Format: daysheetv1.PrintDaySheetRequest_FORMAT_TEXT},
		"drum-rows.txt":   {Format: daysheetv1.PrintDaySheetRequest_FORMAT_TEXT, Sheets: daysheetv1.Sheets_SHEETS_ROWS},
		"drum.csv":        {Format: daysheetv1.PrintDaySheetRequest_FORMAT_CSV},
		"drum-rows.csv":   {Format: daysheetv1.PrintDaySheetRequest_FORMAT_CSV, Sheets: daysheetv1.Sheets_SHEETS_ROWS},
		"drum.html":       {Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML},
		"drum-row-c.html": {Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML, Row: "C", Paper: daysheetv1.PrintDaySheetRequest_PAPER_LETTER},
		"drum-lotte.txt":  {TrainerCode: "LOTTE"},
		"drum-lotte.html": {TrainerCode: "LOTTE", Format: daysheetv1.PrintDaySheetRequest_FORMAT_HTML, Paper: daysheetv1.PrintDaySheetRequest_PAPER_LETTER},
	} {
		req.SiteCode, req.Day = "DRUM", goldenDay
		got := s.print(t, req)
		golden(t, name, got)
		if strings.HasSuffix(name, ".txt") {
			for _, line := range strings.Split(got, "\n") {
				require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
			}
		}
	}
}
