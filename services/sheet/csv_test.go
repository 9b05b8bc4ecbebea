package sheet_test

import (
	"encoding/binary"
	"fmt"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
)

// dogs is a kind for tests of the file around the cells.
func dogs() sheet.Kind {
	return sheet.Kind{
		Name: "dogs", About: "the dogs that the school knows", Key: []string{"code"},
		Columns: []sheet.Column{
			{Name: "code", Form: sheet.FormCode, Example: "D-7"},
			{Name: "name", Form: sheet.FormText, Required: true, Example: "Rex"},
			{Name: "born_on", Form: sheet.FormDay, Example: "2024-05-01"},
		},
	}
}

func utf16Bytes(order binary.AppendByteOrder, s string) string {
	var b []byte
	for _, u := range utf16.Encode([]rune(s)) {
		b = order.AppendUint16(b, u)
	}
	return string(b)
}

func TestCSVEncodings(t *testing.T) {
	t.Parallel()
	text := "code,name,born_on\nD-1,Zoë 🐕,2024-05-01\n"
	latin := "code,name,born_on\nD-1,Zo\xeb \x80,2024-05-01\n"
	cases := map[string]struct {
		data, want, note string
		o                sheet.Options
	}{
		"utf-8":            {data: text, want: "Zoë 🐕"},
		"utf-8 with mark":  {data: "\ufeff" + text, want: "Zoë 🐕"},
		"utf-16le":         {data: utf16Bytes(binary.LittleEndian, "\ufeff"+text), want: "Zoë 🐕", note: "read as UTF-16"},
		"utf-16be":         {data: utf16Bytes(binary.BigEndian, "\ufeff"+text), want: "Zoë 🐕", note: "read as UTF-16"},
		"utf-16le no mark": {data: utf16Bytes(binary.LittleEndian, text), want: "Zoë 🐕", note: "read as UTF-16"},
		"windows-1252":     {data: latin, want: "Zoë €", note: "read as Windows-1252, because line 2 is not valid UTF-8"},
		"named":            {data: latin, want: "Zoë €", note: "read as windows-1252", o: sheet.Options{Encoding: "Windows-1252"}},
		"named utf-8":      {data: text, want: "Zoë 🐕", o: sheet.Options{Encoding: "utf-8"}},
		"named utf-16le":   {data: utf16Bytes(binary.LittleEndian, text), want: "Zoë 🐕", note: "read as utf-16le", o: sheet.Options{Encoding: "utf-16le"}},
		"named central":    {data: strings.Replace(latin, "\xeb \x80", "\xf8", 1), want: "Zoř", note: "read as iso-8859-2", o: sheet.Options{Encoding: "iso-8859-2"}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table := read(t, "dogs.csv", c.data, dogs(), c.o)
			require.Empty(t, table.Faults)
			require.Equal(t, c.want, table.Rows[0].Text("name"))
			if c.note == "" {
				require.Empty(t, table.Notes)
			} else {
				require.Equal(t, []string{c.note}, table.Notes)
			}
		})
	}
}

func TestCSVSeparatorsAndLines(t *testing.T) {
	t.Parallel()
	cases := map[string]struct{ data, note string }{
		"comma":                   {"code,name,born_on\nD-1,Rex,2024-05-01\n", ""},
		"semicolon":               {"code;name;born_on\nD-1;Rex;2024-05-01\n", "separator ;"},
		"tab":                     {"code\tname\tborn_on\nD-1\tRex\t2024-05-01\n", "separator tab"},
		"bar":                     {"code|name|born_on\nD-1|Rex|2024-05-01\n", "separator |"},
		"quoted names":            {"\"code\";\"name\";\"born_on\"\n\"D-1\";\"Rex\";\"2024-05-01\"\n", "separator ;"},
		"commas in a quoted name": {"code;name;born_on;\"a,b,c,d,e\"\nD-1;Rex;2024-05-01;\n", "separator ;|column 'a,b,c,d,e' is not known and was not read"},
		"sep line":                {"sep=;\r\ncode;name;born_on\r\nD-1;Rex;2024-05-01\r\n", "separator ;"},
		"crlf":                    {"code,name,born_on\r\nD-1,Rex,2024-05-01\r\n", ""},
		"cr":                      {"code,name,born_on\rD-1,Rex,2024-05-01\r", ""},
		"no last line end":        {"code,name,born_on\nD-1,Rex,2024-05-01", ""},
		"blank lines":             {"\n\ncode,name,born_on\n\n,,\nD-1,Rex,2024-05-01\n \n", ""},
		"trailing empty columns":  {"code,name,born_on,,\nD-1,Rex,2024-05-01,,\n", ""},
		"header variants":         {"CODE,Name ,\"Born On\"\nD-1,Rex,2024-05-01\n", ""},
		"other order":             {"born-on,name,code\n2024-05-01,Rex,D-1\n", ""},
		"unknown column":          {"code,name,colour,born_on\nD-1,Rex,black,2024-05-01\n", "column 'colour' is not known and was not read"},
		"reasons column":          {"code,name,born_on,Reasons\nD-1,Rex,2024-05-01,old news\n", ""},
		"title above":             {"Dogs of the school\n\ncode,name,born_on\nD-1,Rex,2024-05-01\n", "the header row is line 3; what stands above it was not read"},
		"named like a workbook":   {"", "the file is named like a workbook, but is text; it was read as CSV"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			file := "dogs.csv"
			if c.data == "" {
				file, c.data = "dogs.xls", "code,name,born_on\nD-1,Rex,2024-05-01\n"
			}
			table := read(t, file, c.data, dogs(), sheet.Options{})
			require.Empty(t, table.Faults)
			require.Equal(t, [][]string{{"D-1", "Rex", "2024-05-01"}}, texts(dogs(), table.Rows))
			require.Equal(t, c.note, strings.Join(table.Notes, "|"))
		})
	}
	forced := read(t, "dogs.csv", "code;name;born_on\nD-1;Rex;\n", dogs(), sheet.Options{Separator: ';'})
	require.Len(t, forced.Rows, 1)
	_, err := sheet.Read("dogs.csv", []byte("code\n"), dogs(), sheet.Options{Separator: '"'})
	require.ErrorContains(t, err, "can't separate cells")
}

func TestCSVFaults(t *testing.T) {
	t.Parallel()
	head := "code,name,born_on\n"
	cases := map[string]struct {
		data   string
		faults []string
		good   int
	}{
		"every fault of a row": {head + "D-1,,31.02.2027\n,Rex,\n", []string{
			`dogs.csv line 2, column name: has no value: fill it in, for example Rex`,
			`dogs.csv line 2, column born_on: "31.02.2027" is not a date: write it as 2027-02-28`,
			`dogs.csv line 3, column code: has no value: fill it in, for example D-7`,
		}, 0},
		"same key": {head + "D-1,Rex,\nD-2,Bo,\nD-1,Ada,\n", []string{
			`dogs.csv line 4, column code: "D-1" is on line 2 already: keep one of lines 2 and 4, or correct one of them`,
		}, 2},
		"too many cells": {head + "D-1,Rex,2024-05-01,black\nD-2,Bo,\n", []string{
			`dogs.csv line 2: "black" stands in cell 4, but the header has 3 columns: put quotes round a cell that holds a separator, or delete the extra cell`,
		}, 1},
		"too few cells": {head + "D-1,Rex\nD-2,Bo,\n", []string{
			`dogs.csv line 2: has 2 cells, but the header has 3 columns: add the missing separators; a line break inside a cell needs quotes round the cell`,
		}, 1},
		"missing column": {"code,nmae\nD-1,Rex\n", []string{
			`dogs.csv line 1, column name: is missing from the header: is 'nmae' meant? rename it to name`,
		}, 0},
		"missing key column": {"name\nRex\n", []string{
			`dogs.csv line 1, column code: is missing from the header: add a column with the name code`,
		}, 0},
		"column twice": {"code,name,Name\nD-1,Rex,Rex\n", []string{
			`dogs.csv line 1, column name: "Name" stands over two columns (B and C): delete or rename one of them`,
		}, 0},
		"column without a name": {"code,,name\nD-1,black,Rex\nD-2,,Bo\n", []string{
			`dogs.csv line 2: "black" stands in column B, which has no name in the header: name the column, or empty the cell`,
		}, 1},
		"quoted line break": {head + "D-1,\"Rex\nthe second\",\nD-2,,\n", []string{
			`dogs.csv line 4, column name: has no value: fill it in, for example Rex`,
		}, 1},
		"stray quote": {head + "D-1,5\" Rex,\nD-2,Bo,\n", []string{
			`dogs.csv line 2: has a quote (") in the wrong place: put quotes round the whole cell and double the quotes inside it, as in "a 5"" collar"`,
		}, 1},
		"open quote": {head + "D-1,\"Rex,\nD-2,Bo,\nD-3,\"Ada\",\nD-4,Max,\n", []string{
			`dogs.csv line 2: has a quote (") that is not closed on this line, and the text runs on wrongly: put quotes round the whole cell and double the quotes inside it, as in "a 5"" collar"`,
		}, 3},
		"open quote at the end": {head + "D-1,Rex,\nD-2,\"Bo,\nD-3,Ada,\n", []string{
			`dogs.csv line 3: has a quote (") that is not closed on this line, and the text runs on wrongly: put quotes round the whole cell and double the quotes inside it, as in "a 5"" collar"`,
		}, 2},
		"zero byte": {head + "D-1,Re\x00x,\nD-2,Bo,\n", []string{
			`dogs.csv line 2, column name: "Re\x00x" holds a character that can't be shown (U+0000): delete the cell and type it again`,
		}, 1},
		"ambiguous date": {head + "D-1,Rex,3/4/2027\n", []string{
			`dogs.csv line 2, column born_on: "3/4/2027" can mean 2027-04-03 or 2027-03-04: write the one that is meant, or say how this file writes dates with --dates dmy or --dates mdy`,
		}, 0},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table := read(t, "dogs.csv", c.data, dogs(), sheet.Options{})
			var got []string
			for _, f := range table.Faults {
				got = append(got, f.String())
			}
			require.Equal(t, c.faults, got)
			require.Len(t, table.Rows, c.good)
		})
	}
}

func TestCSVUnreadable(t *testing.T) {
	t.Parallel()
	cases := map[string]struct {
		data, want string
		o          sheet.Options
	}{
		"empty":            {"", "dogs.csv: is empty: save the list again", sheet.Options{}},
		"only a mark":      {"\ufeff\r\n", "is empty", sheet.Options{}},
		"no header":        {"D-1,Rex\nD-2,Bo\n", "has no header row with the columns of dogs: write a first row with the names code, name, born_on", sheet.Options{}},
		"broken header":    {"code,na\"me\n", `line 1: has a quote (") in the wrong place`, sheet.Options{}},
		"pdf":              {"%PDF-1.7 ...", "is a PDF document, not a table", sheet.Options{}},
		"web page":         {"\r\n<html><table><tr><td>code", "is a web page, not a table: open it in a spreadsheet program", sheet.Options{}},
		"binary":           {strings.Repeat("\x01\x02\x03code,name", 50), "holds binary data", sheet.Options{}},
		"binary, not utf8": {strings.Repeat("\x81\x02\xfe\x9d\x00", 50), "is neither UTF-8 nor Windows-1252 text (line 1)", sheet.Options{}},
		"wrong utf-8":      {"code\n\xff\n", "dogs.csv line 2: is not valid UTF-8", sheet.Options{Encoding: "utf-8"}},
		"unknown encoding": {"code\n", `the encoding "klingon" is not known`, sheet.Options{Encoding: "klingon"}},
		"too many columns": {"code,name" + strings.Repeat(",x", 250) + "\n", "has 252 columns, more than 200", sheet.Options{}},
		"too wide a row":   {"code,name\nD-1,Rex" + strings.Repeat(",x", 250) + "\n", "line 2: has 252 cells, more than the 200", sheet.Options{}},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := sheet.Read("dogs.csv", []byte(c.data), dogs(), c.o)
			require.ErrorContains(t, err, c.want)
			var f sheet.Fault
			require.ErrorAs(t, err, &f)
			require.NotEmpty(t, f.Remedy)
		})
	}
}

func TestCSVHeaderOnly(t *testing.T) {
	t.Parallel()
	table := read(t, "dogs.csv", "code,name,born_on\n", dogs(), sheet.Options{})
	require.True(t, table.OK())
	require.Equal(t, []string{"the file has a header and no rows"}, table.Notes)
	require.Equal(t, []string{"code", "name", "born_on"}, table.Header)
	require.Equal(t, 1, table.HeaderLine)
}

func TestCSVLongLineAndManyFaults(t *testing.T) {
	t.Parallel()
	long := "code,name,born_on\nD-1,Rex,\nD-2,\"" + strings.Repeat("long, ", 200_000) + "\",\nD-3,Bo,\n"
	table := read(t, "dogs.csv", long, dogs(), sheet.Options{})
	require.Len(t, table.Faults, 1)
	require.Contains(t, table.Faults[0].String(), "line 3: is longer than 1048576 bytes")
	require.Len(t, table.Rows, 2)

	var b strings.Builder
	b.WriteString("code,name,born_on\n")
	for i := range 12_000 {
		fmt.Fprintf(&b, "D-%d,,soon\n", i)
	}
	table = read(t, "dogs.csv", b.String(), dogs(), sheet.Options{})
	require.Len(t, table.Faults, sheet.MaxFaults+1)
	require.Equal(t, "dogs.csv: has 14000 more faults, which are not listed: correct these first, then read the file again", table.Faults[sheet.MaxFaults].String())
	require.Len(t, table.Rejected, 12_000)
	require.Len(t, table.Rejected[0].Faults, 2)
	require.Len(t, table.Rejected[11_999].Faults, 1)
	text := sheet.FaultText(table.Faults, 2)
	require.Equal(t, 3, strings.Count(text, "\n"))
	require.True(t, strings.HasSuffix(text, "and 9999 more\n"))
}

// A file of stray quotes must not take time that grows with its square.
func TestCSVManyStrayQuotes(t *testing.T) {
	t.Parallel()
	for _, line := range []string{"D,\"x,\n", "D,x\"y,\n", "D,\"\"\"x,\n", "\"\n"} {
		text := "code,name,born_on\n" + strings.Repeat(line, 50_000)
		table := read(t, "dogs.csv", text, dogs(), sheet.Options{})
		if line != "\"\n" { // pairs of these make quoted cells of one line break, which are blank
			require.NotEmpty(t, table.Faults)
		}
	}
}

func TestCompoundKey(t *testing.T) {
	t.Parallel()
	k := sheet.Kind{Name: "shifts", Key: []string{"trainer", "day"}, Columns: []sheet.Column{
		{Name: "trainer"}, {Name: "day", Form: sheet.FormDay},
	}}
	table := read(t, "s.csv", "trainer,day\nann,2027-03-14\nann,2027-03-15\nann,14.03.2027\nan|n,2027-03-14\n", k, sheet.Options{})
	require.Len(t, table.Faults, 1)
	require.Equal(t, `s.csv line 4, column trainer and day: "ann|2027-03-14" is on line 2 already: keep one of lines 2 and 4, or correct one of them`, table.Faults[0].String())
	require.Equal(t, `an\|n|2027-03-14`, table.Rows[2].Key())
}

func TestTooManyRows(t *testing.T) {
	t.Parallel()
	k := small(sheet.Column{Name: "n", Form: sheet.FormWhole})
	text := "n\n" + strings.Repeat("1\n", sheet.MaxRows)
	require.Len(t, read(t, "f.csv", text, k, sheet.Options{}).Rows, sheet.MaxRows)
	_, err := sheet.Read("f.csv", []byte(text+"1\n"), k, sheet.Options{})
	require.ErrorContains(t, err, "f.csv: has more than 300000 rows: split it into several files")
}
