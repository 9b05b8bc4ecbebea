package sheet_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"
)

var formats = []string{"csv", "xlsx"}

func sample() [][]string {
	return [][]string{
		{"R-1", "D-7", sheet.Day(calendar.MustDate("2027-03-14")), sheet.Int(21), sheet.Tenths(245), sheet.Clock(calendar.MustClock("09:30")),
			sheet.YesNo(true), "high", sheet.List("oak", "elm"), "=SUM(A1) or \"so\", they say;\ntwo lines"},
		{"007", "3-1", "2027-04-01", "7", "0.5", "", "no", "returning guest", "", "'quoted' and 'so"},
		{"+49", "=x", "2027-04-02", "42", "", "00:00", "", "", "", "-5"},
		{"1E5", "@d", "2199-12-31", "14", "120.0", "23:59", "", "", "oak", "Zoë 🐕 'tis"},
	}
}

func TestWriteThenRead(t *testing.T) {
	t.Parallel()
	for _, format := range formats {
		data := write(t, format, requests(), sample())
		table, err := sheet.Read("requests."+format, data, requests(), sheet.Options{})
		require.NoError(t, err)
		require.Empty(t, table.Faults, format)
		require.Empty(t, table.Notes, format)
		require.Equal(t, sample(), texts(requests(), table.Rows), format)
		require.Equal(t, data, write(t, format, requests(), sample()), "the same records make the same bytes")
	}
	golden(t, "requests.csv", write(t, "csv", requests(), sample()))
}

// In a workbook numbers are numbers and all else is text.
func TestWriteXLSXTypes(t *testing.T) {
	t.Parallel()
	f, err := excelize.OpenReader(bytes.NewReader(write(t, "xlsx", requests(), sample())))
	require.NoError(t, err)
	for cell, want := range map[string]excelize.CellType{
		"A3": excelize.CellTypeInlineString, "B3": excelize.CellTypeInlineString, "C2": excelize.CellTypeInlineString,
		"D2": excelize.CellTypeUnset, "E2": excelize.CellTypeUnset, "J2": excelize.CellTypeInlineString, "A1": excelize.CellTypeInlineString,
	} {
		got, err := f.GetCellType("requests", cell)
		require.NoError(t, err)
		require.Equal(t, want, got, cell)
		formula, err := f.GetCellFormula("requests", cell)
		require.NoError(t, err)
		require.Empty(t, formula)
	}
	shown, err := f.GetCellValue("requests", "E5")
	require.NoError(t, err)
	require.Equal(t, "120.0", shown)
}

// Nothing in an exported CSV file starts a formula, except plain numbers.
func TestCSVExportIsNeutral(t *testing.T) {
	t.Parallel()
	k := small(sheet.Column{Name: "a"}, sheet.Column{Name: "b"})
	data := write(t, "csv", k, [][]string{{"=1", "+x"}, {"-x", "@x"}, {" =1", "\t=1"}, {"\u00a0=1", "\ufeff=1"}, {"＝1", "-5"}, {"'=1", "\r=1"}, {"\x00=1", "a"}})
	require.Equal(t, "\ufeffa,b\n'=1,'+x\n'-x,'@x\n'=1,'=1\n'=1,'=1\n'＝1,-5\n''=1,'=1\n'=1,a\n", string(data))
}

func TestWriteErrors(t *testing.T) {
	t.Parallel()
	k := small(sheet.Column{Name: "a"}, sheet.Column{Name: "b"})
	for _, format := range formats {
		require.EqualError(t, sheet.Write(&bytes.Buffer{}, format, k, [][]string{{"1", "2"}, {"1"}}), "write things, record 2: 1 cells for 2 columns")
		require.EqualError(t, sheet.Write(&bytes.Buffer{}, format, k, [][]string{{"1", strings.Repeat("x", sheet.MaxCell)}}), "write things, record 1, column b: the cell has more than 32766 characters")
		require.NoError(t, sheet.Write(&bytes.Buffer{}, format, k, [][]string{{"1", strings.Repeat("x", sheet.MaxCell-1)}}))
		require.ErrorContains(t, sheet.Write(broken{}, format, k, nil), "no room")
		require.ErrorContains(t, sheet.Template(broken{}, format, k), "no room")
	}
	for _, err := range []error{
		sheet.Write(&bytes.Buffer{}, "ods", k, nil), sheet.Template(&bytes.Buffer{}, "ods", k), sheet.WriteRejected(&bytes.Buffer{}, "ods", sheet.Table{}),
	} {
		require.EqualError(t, err, `format "ods" is not known: write csv or xlsx`)
	}
	require.Error(t, sheet.WriteBook(&bytes.Buffer{}, nil))
	require.Error(t, sheet.TemplateBook(&bytes.Buffer{}, nil))
	require.ErrorContains(t, sheet.WriteBook(&bytes.Buffer{}, []sheet.KindRecords{{Kind: sheet.Kind{Name: "a/b", Columns: k.Columns}}}), `add sheet "a/b"`)
}

type broken struct{}

func (broken) Write([]byte) (int, error) { return 0, errors.New("no room") }

func TestBook(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	require.NoError(t, sheet.WriteBook(&b, []sheet.KindRecords{
		{Kind: requests(), Records: sample()},
		{Kind: dogs(), Records: [][]string{{"D-7", "Rex", "2024-05-01"}, {"D-8", "", ""}}},
	}))
	book, err := sheet.ReadBook("school.xlsx", b.Bytes(), []sheet.Kind{dogs(), requests(), {Name: "sites"}}, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, book.Notes)
	require.Len(t, book.Tables, 2)
	require.Equal(t, "dogs", book.Tables[0].Kind.Name)
	table, ok := book.Table("requests")
	require.True(t, ok)
	require.Equal(t, sample(), texts(requests(), table.Rows))
	_, ok = book.Table("sites")
	require.False(t, ok)
	require.Equal(t, "school.xlsx sheet dogs line 3, column name: has no value: fill it in, for example Rex\n", sheet.FaultText(book.Faults(), 0))

	only, err := sheet.ReadBook("school.xlsx", b.Bytes(), []sheet.Kind{dogs()}, sheet.Options{})
	require.NoError(t, err)
	require.Equal(t, []string{"sheet 'requests' is not named like a list and was not read"}, only.Notes)

	_, err = sheet.ReadBook("school.xlsx", b.Bytes(), []sheet.Kind{{Name: "sites"}}, sheet.Options{})
	require.EqualError(t, err, "school.xlsx: has no sheet with the name of a list: name the sheets 'sites'")
	_, err = sheet.ReadBook("dogs.csv", []byte("code,name\n"), []sheet.Kind{dogs()}, sheet.Options{})
	require.EqualError(t, err, "dogs.csv: is not a workbook: hand in an .xlsx file with a sheet per list, or read this list by itself")

	_, err = sheet.ReadBook("school.xlsx", b.Bytes(), []sheet.Kind{{Name: "dogs", Columns: []sheet.Column{{Name: "strange"}}}}, sheet.Options{})
	require.EqualError(t, err, "school.xlsx sheet dogs: has no header row with the columns of dogs: write a first row with the names strange")
}

func TestTemplate(t *testing.T) {
	t.Parallel()
	require.NoError(t, requests().Check())
	for _, format := range formats {
		var b bytes.Buffer
		require.NoError(t, sheet.Template(&b, format, requests()))
		if format == "csv" {
			golden(t, "template.csv", b.Bytes())
		}
		table, err := sheet.Read("t."+format, b.Bytes(), requests(), sheet.Options{})
		require.NoError(t, err)
		require.Empty(t, table.Faults, "a template can be read as it is")
		require.Empty(t, table.Notes)
		require.Equal(t, [][]string{{"R-1042", "D-7", "2027-03-14", "21", "24.5", "09:30", "yes", "normal", "oak|elm", ""}}, texts(requests(), table.Rows))
	}
}

func TestTemplateXLSX(t *testing.T) {
	t.Parallel()
	many := make([]string, 60)
	for i := range many {
		many[i] = fmt.Sprintf("choice number %d", i)
	}
	k := requests()
	k.Columns = append(k.Columns, sheet.Column{Name: "breed", Form: sheet.FormChoice, OneOf: many, Required: true})
	var b bytes.Buffer
	require.NoError(t, sheet.TemplateBook(&b, []sheet.Kind{k, dogs()}))
	f, err := excelize.OpenReader(bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	require.Equal(t, []string{"requests", "choices", "dogs", "about"}, f.GetSheetList())

	notes, err := f.GetComments("requests")
	require.NoError(t, err)
	require.Len(t, notes, 11)
	require.Contains(t, notes[2].Text, "Arrival day")
	require.Contains(t, notes[2].Text, "Needed in every row.")

	rules, err := f.GetDataValidations("requests")
	require.NoError(t, err)
	byRange := map[string]*excelize.DataValidation{}
	for _, r := range rules {
		byRange[r.Sqref] = r
	}
	require.Equal(t, `"yes,no"`, byRange["G2:G300001"].Formula1)
	require.Equal(t, `"normal,high,returning guest"`, byRange["H2:H300001"].Formula1)
	require.Equal(t, "7", byRange["D2:D300001"].Formula1)
	require.Equal(t, "42", byRange["D2:D300001"].Formula2)
	require.Equal(t, "choices!$A$1:$A$60", byRange["K2:K300001"].Formula1)
	require.NotContains(t, byRange, "I2:I300001", "a cell with several values can't be chosen from a list")

	style, err := f.GetCellStyle("requests", "C200") // a date that is typed here stays as typed
	require.NoError(t, err)
	look, err := f.GetStyle(style)
	require.NoError(t, err)
	require.Equal(t, 49, look.NumFmt)

	book, err := sheet.ReadBook("t.xlsx", b.Bytes(), []sheet.Kind{k, dogs()}, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, book.Faults())
	require.Empty(t, book.Notes)
	require.Len(t, book.Tables, 2)
	alone, err := sheet.Read("t.xlsx", b.Bytes(), k, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, alone.Notes, "the hidden sheet of choices is ours")
}

func TestDescribe(t *testing.T) {
	t.Parallel()
	golden(t, "describe.txt", []byte(sheet.Describe(requests())+"\n"+sheet.Describe(small(sheet.Column{Name: "a"}))))
}

// The way of a file with faults: read, write the rejected rows, correct those,
// read them again.
func TestRejectedRowsComeBack(t *testing.T) {
	t.Parallel()
	source := "name;code;colour;born_on\n" +
		"Rex;D-1;black;2024-05-01\n" +
		"Bo;D-2;brown;31.02.2024\n" +
		"'=Max;=D-3;;3/4/2024\n" +
		";D-4;grey;\n" +
		"Ada;D-5;red;2024-01-01;extra\n" +
		"\"Zoe;D-6;white;2024-01-02\n"
	table := read(t, "dogs.csv", source, dogs(), sheet.Options{})
	require.Len(t, table.Rows, 1)
	require.Len(t, table.Rejected, 5)
	golden(t, "faults.txt", []byte(sheet.FaultText(table.Faults, 0)))

	for _, format := range formats {
		var b bytes.Buffer
		require.NoError(t, sheet.WriteRejected(&b, format, table))
		if format == "csv" {
			golden(t, "rejected.csv", b.Bytes())
		}
		// Not corrected, the same rows are rejected for the same reasons, and
		// the reasons are not read as cells.
		again, err := sheet.Read("again."+format, b.Bytes(), dogs(), sheet.Options{})
		require.NoError(t, err)
		require.Len(t, again.Rows, 1, "only the stray quote is lost with the file's form")
		require.Equal(t, `"Zoe`, again.Rows[0].Text("name"))
		require.Equal(t, []string{"Bo", "D-2", "brown", "31.02.2024"}, again.Rejected[0].Row[:4])
		require.Equal(t, "=D-3", strings.TrimPrefix(again.Rejected[1].Row[1], "'"))
		require.Equal(t, "3/4/2024", again.Rejected[1].Faults[0].Value)
		require.Len(t, again.Rejected, 4)
	}
}

func TestRejectedCSVIsCorrectedAndRead(t *testing.T) {
	t.Parallel()
	table := read(t, "dogs.csv", "code,name,born_on\nD-1,,2024-05-01\nD-2,'=Bo,soon\nD-3,Ada,\n", dogs(), sheet.Options{})
	var b bytes.Buffer
	require.NoError(t, sheet.WriteRejected(&b, "csv", table))
	fixed := strings.NewReplacer("D-1,,", "D-1,Rex,", ",soon,", ",2024-05-02,").Replace(b.String())
	again := read(t, "fixed.csv", fixed, dogs(), sheet.Options{})
	require.Empty(t, again.Faults)
	require.Empty(t, again.Notes)
	require.Equal(t, [][]string{{"D-1", "Rex", "2024-05-01"}, {"D-2", "=Bo", "2024-05-02"}}, texts(dogs(), again.Rows))
	require.Equal(t, []string{"code", "name", "born_on", "reasons"}, again.Header)

	// A second round does not add a second column of reasons.
	b.Reset()
	table = read(t, "again.csv", strings.Replace(fixed, "Rex", "", 1), dogs(), sheet.Options{})
	require.NoError(t, sheet.WriteRejected(&b, "csv", table))
	require.Equal(t, 1, strings.Count(b.String(), "reasons"))
}

// Property: what Write writes, Read reads: the same cells, in both formats.
func TestRoundTrip(t *testing.T) {
	t.Parallel()
	k := requests()
	k.Key = nil
	k.Columns[0].Required = true
	odd := rapid.SampledFrom([]string{"=1+1", "'", "'=x", "''+1", "'007", "-5", "+5", "@", "a;b|c", `\`, `\;`, "a\nb", "x\ty", "_x000D_", "\"", "\"\"", ",", "sep=;", "1E5", "TRUE", "ß🐕e\u0301", "<&>", "01.02.2027", "\ufeff", "\u00a0x\u00a0", "#", "\u2028"})
	text := rapid.OneOf(odd, rapid.String(), rapid.StringOfN(rapid.RuneFrom([]rune("ab'=+-@;|\\\", \n\t")), 0, 12, -1))
	rapid.Check(t, func(t *rapid.T) {
		var records [][]string
		for range rapid.IntRange(1, 5).Draw(t, "records") {
			day, err := calendar.NewDate(2027, 1, 1)
			require.NoError(t, err)
			code := rapid.StringMatching(`[A-Za-z0-9=+@'._-][A-Za-z0-9 ._/-]{0,30}[A-Za-z0-9]`)
			records = append(records, []string{
				code.Draw(t, "code"), code.Draw(t, "dog"),
				sheet.Day(day.AddDays(rapid.IntRange(-20000, 60000).Draw(t, "day"))),
				sheet.Int(rapid.IntRange(7, 42).Draw(t, "nights")),
				sheet.Tenths(rapid.IntRange(5, 1200).Draw(t, "weight")),
				sheet.Clock(calendar.Clock(rapid.IntRange(0, 1439).Draw(t, "clock"))),
				sheet.YesNo(rapid.Bool().Draw(t, "deposit")),
				rapid.SampledFrom([]string{"", "normal", "high", "returning guest"}).Draw(t, "priority"),
				sheet.List(rapid.SliceOfN(code, 0, 4).Draw(t, "sites")...),
				firstRunes(text.Draw(t, "note"), 200),
			})
		}
		for _, format := range formats {
			var b bytes.Buffer
			require.NoError(t, sheet.Write(&b, format, k, records))
			table, err := sheet.Read("f."+format, b.Bytes(), k, sheet.Options{})
			require.NoError(t, err)
			for _, f := range table.Faults {
				// A note may happen to be one of the marks that a spreadsheet leaves,
				// such as ####.
				require.Regexp(t, "formula that failed|too narrow|has shortened", f.Rule)
				require.Equal(t, "note", f.Column)
			}
			if len(table.Faults) > 0 {
				continue
			}
			got := texts(k, table.Rows)
			require.Len(t, got, len(records))
			for i := range records {
				require.Equal(t, records[i][:9], got[i][:9], format)
				require.Equal(t, plain(records[i][9]), got[i][9], format)
			}
			// And what came in goes out as the same bytes.
			var second bytes.Buffer
			require.NoError(t, sheet.Write(&second, format, k, got))
			require.Equal(t, b.Bytes(), second.Bytes(), format)
		}
	})
}

func firstRunes(s string, n int) string {
	r := []rune(s)
	return string(r[:min(len(r), n)])
}

// plain says again, in its own way, what cleaning means: it is what the round
// trip is measured against.
func plain(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\r':
			b.WriteRune('\n')
		case r == 0xa0 || r == 0x2007 || r == 0x202f:
			b.WriteRune(' ')
		case r == 0x200b || r == 0x2060 || r == 0xfeff || r == 0xfffe || r == 0xffff:
		case r < ' ' && r != '\n' && r != '\t', r >= 0x7f && r < 0xa0:
		default:
			b.WriteRune(r)
		}
	}
	return strings.TrimSpace(b.String())
}
