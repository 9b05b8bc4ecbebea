package sheet_test

import (
	"archive/zip"
	"bytes"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// workbook makes an .xlsx file with one sheet named dogs and lets change add to it.
func workbook(t testing.TB, change func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	require.NoError(t, f.SetSheetName("Sheet1", "dogs"))
	change(f)
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	return b.Bytes()
}

func put(t testing.TB, f *excelize.File, name string, rows ...[]any) {
	t.Helper()
	for i, row := range rows {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		require.NoError(t, err)
		require.NoError(t, f.SetSheetRow(name, cell, &row))
	}
}

// swapPart replaces text in one part of a workbook.
func swapPart(t testing.TB, book []byte, part, from, to string) []byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	require.NoError(t, err)
	var b bytes.Buffer
	zw := zip.NewWriter(&b)
	for _, f := range zr.File {
		rc, err := f.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(rc)
		require.NoError(t, err)
		if f.Name == part {
			require.Contains(t, string(data), from)
			data = []byte(strings.Replace(string(data), from, to, 1))
		}
		w, err := zw.Create(f.Name)
		require.NoError(t, err)
		_, err = w.Write(data)
		require.NoError(t, err)
	}
	require.NoError(t, zw.Close())
	return b.Bytes()
}

func readBytes(t testing.TB, data []byte, k sheet.Kind, o sheet.Options) sheet.Table {
	t.Helper()
	table, err := sheet.Read("book.xlsx", data, k, o)
	require.NoError(t, err)
	requireConsistent(t, table)
	return table
}

func TestXLSXCells(t *testing.T) {
	t.Parallel()
	day := time.Date(2027, 3, 14, 0, 0, 0, 0, time.UTC)
	cases := map[string]struct {
		form  sheet.Form
		value any
		want  string // as in requireCell
	}{
		"date":                {sheet.FormDay, day, "2027-03-14"},
		"date as number":      {sheet.FormDay, 46460, "2027-03-14"},
		"date as text":        {sheet.FormDay, "14.03.2027", "2027-03-14"},
		"date with time":      {sheet.FormDay, day.Add(9*time.Hour + 30*time.Minute), "!2027-03-14 09:30\" holds a time beside the date"},
		"early date":          {sheet.FormDay, 5, "!\"5\" is not a date"},
		"compact date":        {sheet.FormDay, 20270314, "2027-03-14"},
		"time":                {sheet.FormClock, 0.395833333333333, "09:30"},
		"midnight":            {sheet.FormClock, 0, "00:00"},
		"last minute":         {sheet.FormClock, 0.999305555555556, "23:59"},
		"time with seconds":   {sheet.FormClock, 0.39589, "!is not a time of day"},
		"time as text":        {sheet.FormClock, "9:30 pm", "21:30"},
		"date as time":        {sheet.FormClock, day.Add(9 * time.Hour), "!2027-03-14 09:00\" is not a time of day"},
		"whole":               {sheet.FormWhole, 12, "12"},
		"whole as text":       {sheet.FormWhole, "12", "12"},
		"float whole":         {sheet.FormWhole, 12.0, "12"},
		"half":                {sheet.FormWhole, 2.5, "!is not a whole number"},
		"date as whole":       {sheet.FormWhole, day, "!was turned into a date by the spreadsheet program (2027-03-14)"},
		"tenths":              {sheet.FormTenths, 2.3, "2.3"},
		"tenths with noise":   {sheet.FormTenths, 2.2999999999999998, "2.3"},
		"sum with noise":      {sheet.FormTenths, 0.1 + 0.2, "0.3"},
		"yes":                 {sheet.FormYesNo, true, "yes"},
		"no":                  {sheet.FormYesNo, false, "no"},
		"yes as number":       {sheet.FormYesNo, 1, "yes"},
		"code of digits":      {sheet.FormCode, 101, "101"},
		"long code of digits": {sheet.FormCode, 985112345678903, "985112345678903"},
		"date as code":        {sheet.FormCode, day, "!was turned into a date"},
		"code":                {sheet.FormCode, "3-1", "3-1"},
		"text like a number":  {sheet.FormText, "1E5", "1E5"},
		"number as text":      {sheet.FormText, 1.1, "1.1"},
		"date as a text":      {sheet.FormText, day, "2027-03-14"},
		"formula start":       {sheet.FormText, "=1+1", "=1+1"},
		"escapes":             {sheet.FormText, "_x005F_x000D_ & <b>", "_x000D_ & <b>"},
		"two lines":           {sheet.FormText, "one\ntwo", "one\ntwo"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			data := workbook(t, func(f *excelize.File) { put(t, f, "dogs", []any{"cell", "other"}, []any{c.value, "x"}) })
			k := small(sheet.Column{Name: "cell", Form: c.form}, sheet.Column{Name: "other"})
			requireCell(t, readBytes(t, data, k, sheet.Options{}), c.want)
		})
	}
}

func TestXLSX1904(t *testing.T) {
	t.Parallel()
	yes := true
	data := workbook(t, func(f *excelize.File) {
		require.NoError(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &yes}))
		put(t, f, "dogs", []any{"cell"}, []any{44998}) // 46460 - 1462
	})
	requireCell(t, readBytes(t, data, small(sheet.Column{Name: "cell", Form: sheet.FormDay}), sheet.Options{}), "2027-03-14")
}

func TestXLSXFormulas(t *testing.T) {
	t.Parallel()
	base := workbook(t, func(f *excelize.File) {
		put(t, f, "dogs", []any{"cell", "other"}, []any{41, "x"})
	})
	k := small(sheet.Column{Name: "cell", Form: sheet.FormWhole}, sheet.Column{Name: "other"})
	cell := func(xml string) []byte {
		return swapPart(t, base, "xl/worksheets/sheet1.xml", `<c r="A2"><v>41</v></c>`, xml)
	}
	requireCell(t, readBytes(t, cell(`<c r="A2"><f>40+2</f><v>42</v></c>`), k, sheet.Options{}), "42")
	requireCell(t, readBytes(t, cell(`<c r="A2" t="str"><f>"4"&amp;"2"</f><v>42</v></c>`), k, sheet.Options{}), "42")
	requireCell(t, readBytes(t, cell(`<c r="A2" t="e"><f>NA()</f><v>#N/A</v></c>`), k, sheet.Options{}), `!"#N/A" is the mark of a formula that failed`)
	requireCell(t, readBytes(t, cell(`<c r="A2" t="str"><f>"42"</f><v xml:space="preserve"> 42</v></c>`), k, sheet.Options{}), "42")
	empty := readBytes(t, cell(`<c r="A2" t="str"><f>""</f><v></v></c>`), k, sheet.Options{})
	require.Empty(t, empty.Faults)
	require.False(t, empty.Rows[0].Has("cell"))
	for _, xml := range []string{`<c r="A2"><f>40+2</f></c>`, `<c r="A2"><f>40+2</f><v></v></c>`, `<c r="A2"><f>40+2</f><v /></c>`, `<c r="A2"><f>40+2</f><v/></c>`} {
		table := readBytes(t, cell(xml), k, sheet.Options{})
		require.Len(t, table.Faults, 1, xml)
		require.Contains(t, table.Faults[0].String(), "is a formula whose value was not saved: open the file in a spreadsheet program and save it")
		require.Equal(t, []string{"sheet 'dogs' has formulas whose values were not saved"}, table.Notes)
	}
}

func TestXLSXSheets(t *testing.T) {
	t.Parallel()
	list := [][]any{{"code", "name"}, {"D-1", "Rex"}}
	other := [][]any{{"code", "name"}, {"D-2", "Bo"}}
	build := func(names ...string) []byte {
		return workbook(t, func(f *excelize.File) {
			require.NoError(t, f.SetSheetName("dogs", names[0]))
			put(t, f, names[0], other...)
			for _, n := range names[1:] {
				_, err := f.NewSheet(n)
				require.NoError(t, err)
				put(t, f, n, list...)
			}
		})
	}
	hide := func(data []byte, names ...string) []byte {
		f, err := excelize.OpenReader(bytes.NewReader(data))
		require.NoError(t, err)
		_, err = f.NewSheet("plain")
		require.NoError(t, err)
		idx, err := f.GetSheetIndex("plain")
		require.NoError(t, err)
		f.SetActiveSheet(idx)
		for _, n := range names {
			require.NoError(t, f.SetSheetVisible(n, false))
		}
		put(t, f, "plain", list...)
		var b bytes.Buffer
		require.NoError(t, f.Write(&b))
		return b.Bytes()
	}
	t.Run("by name of the kind", func(t *testing.T) {
		t.Parallel()
		table := readBytes(t, build("first", "DOGS"), dogs(), sheet.Options{})
		require.Equal(t, "DOGS", table.Sheet)
		require.Equal(t, "D-1", table.Rows[0].Key())
		require.Empty(t, table.Notes)
	})
	t.Run("by option", func(t *testing.T) {
		t.Parallel()
		require.Equal(t, "first", readBytes(t, build("first", "dogs"), dogs(), sheet.Options{Sheet: "First"}).Sheet)
		_, err := sheet.Read("book.xlsx", build("first"), dogs(), sheet.Options{Sheet: "third"})
		require.EqualError(t, err, "book.xlsx: has no sheet 'third': choose one of 'first'")
	})
	t.Run("the first", func(t *testing.T) {
		t.Parallel()
		table := readBytes(t, build("first", "second"), dogs(), sheet.Options{})
		require.Equal(t, "D-2", table.Rows[0].Key())
		require.Equal(t, []string{"read sheet 'first', the first one; not read: 'second'"}, table.Notes)
	})
	t.Run("not a hidden one", func(t *testing.T) {
		t.Parallel()
		table := readBytes(t, hide(build("first"), "first"), dogs(), sheet.Options{})
		require.Equal(t, "plain", table.Sheet)
		require.Equal(t, []string{"sheet 'first' is hidden and was not read"}, table.Notes)
	})
	t.Run("a hidden one by name", func(t *testing.T) {
		t.Parallel()
		require.Equal(t, "first", readBytes(t, hide(build("first"), "first"), dogs(), sheet.Options{Sheet: "first"}).Sheet)
	})
	t.Run("empty sheet", func(t *testing.T) {
		t.Parallel()
		_, err := sheet.Read("book.xlsx", workbook(t, func(*excelize.File) {}), dogs(), sheet.Options{})
		require.ErrorContains(t, err, "has no header row with the columns of dogs")
	})
}

func TestXLSXMergedHiddenAndBlankRows(t *testing.T) {
	t.Parallel()
	k := small(sheet.Column{Name: "site", Required: true}, sheet.Column{Name: "day", Form: sheet.FormDay}, sheet.Column{Name: "note"})
	data := workbook(t, func(f *excelize.File) {
		put(t, f, "dogs", []any{"Bookings of March"}, nil, []any{"site", "day", "note"},
			[]any{"oak", time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC), "a"}, []any{nil, time.Date(2027, 3, 2, 0, 0, 0, 0, time.UTC), "b"}, nil,
			[]any{"elm", nil, "c"})
		require.NoError(t, f.MergeCell("dogs", "A1", "C1"))
		require.NoError(t, f.MergeCell("dogs", "A4", "A6"))
		require.NoError(t, f.SetRowVisible("dogs", 5, false))
		require.NoError(t, f.SetCellStr("dogs", "C9", "orphan"))
	})
	table := readBytes(t, data, k, sheet.Options{})
	require.Equal(t, [][]string{{"oak", "2027-03-01", "a"}, {"oak", "2027-03-02", "b"}, {"elm", "", "c"}}, texts(k, table.Rows))
	require.Equal(t, []int{4, 5, 7}, []int{table.Rows[0].Line, table.Rows[1].Line, table.Rows[2].Line})
	require.Equal(t, "book.xlsx line 9, column site: has no value: fill it in\n", sheet.FaultText(table.Faults, 0))
	require.Equal(t, []string{
		"sheet 'dogs' has merged cells; the value of cells merged downwards was read for each of their rows",
		"the header row is line 3; what stands above it was not read",
		"1 of the rows of sheet 'dogs' are hidden; they were read like the others",
	}, table.Notes)
}

func TestXLSXBesideTheList(t *testing.T) {
	t.Parallel()
	data := workbook(t, func(f *excelize.File) {
		put(t, f, "dogs", []any{"code", "name"}, []any{"D-1", "Rex"}, []any{"D-2", "Bo", "scribble"})
		require.NoError(t, f.SetCellStr("dogs", "XFD9", "far away"))
	})
	_, err := sheet.Read("book.xlsx", data, dogs(), sheet.Options{})
	require.ErrorContains(t, err, "book.xlsx line 9: has 16384 cells, more than the 200 columns a list may have")
	data = workbook(t, func(f *excelize.File) {
		put(t, f, "dogs", []any{"code", "name"}, []any{"D-1", "Rex"}, []any{"D-2", "Bo", "scribble"})
	})
	table := readBytes(t, data, dogs(), sheet.Options{})
	require.Len(t, table.Rows, 1)
	require.Contains(t, table.Faults[0].String(), `line 3: "scribble" stands in cell 3, but the header has 2 columns`)
}

// flipped changes one bit of packed data, as a bad disk does.
func flipped(t *testing.T, book []byte) string {
	zr, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	require.NoError(t, err)
	for _, f := range zr.File {
		if f.Name == "xl/sharedStrings.xml" {
			at, err := f.DataOffset()
			require.NoError(t, err)
			bad := bytes.Clone(book)
			bad[at+int64(f.CompressedSize64)/2] ^= 4
			return string(bad)
		}
	}
	t.Fatal("no shared strings")
	return ""
}

func TestXLSXUnreadable(t *testing.T) {
	t.Parallel()
	good := workbook(t, func(f *excelize.File) { put(t, f, "dogs", []any{"code", "name"}, []any{"D-1", "Rex"}) })
	ole := "\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1" + strings.Repeat("\x00", 600)
	wide := func(s string) string { return strings.Join(strings.Split(s, ""), "\x00") + "\x00" }
	var locked bytes.Buffer
	f, err := excelize.OpenReader(bytes.NewReader(good))
	require.NoError(t, err)
	require.NoError(t, f.Write(&locked, excelize.Options{Password: "secret"}))
	archive := func(names ...string) string {
		var b bytes.Buffer
		zw := zip.NewWriter(&b)
		for _, n := range names {
			w, err := zw.Create(n)
			require.NoError(t, err)
			_, err = w.Write([]byte("x"))
			require.NoError(t, err)
		}
		require.NoError(t, zw.Close())
		return b.String()
	}
	cases := map[string]struct{ data, want string }{
		"password":          {locked.String(), "is protected with a password: open it, remove the password, and save it again as .xlsx"},
		"old format":        {ole + wide("Workbook"), "is a workbook in the old .xls format: open it in a spreadsheet program and save it as .xlsx"},
		"old document":      {ole + wide("WordDocument"), "is an old Office document"},
		"cut off":           {string(good[:len(good)/2]), "is a damaged workbook"},
		"other zip":         {archive("readme.txt"), "is a zip archive, not a workbook"},
		"text document":     {archive("[Content_Types].xml", "word/document.xml"), "is a text document (.docx)"},
		"open document":     {archive("mimetype", "content.xml"), "is an OpenDocument file"},
		"binary workbook":   {archive("[Content_Types].xml", "xl/workbook.bin"), "is a binary workbook (.xlsb)"},
		"no workbook part":  {archive("[Content_Types].xml", "xl/other.xml"), "is a damaged workbook"},
		"flipped bits":      {flipped(t, good), "is a damaged workbook"},
		"sheet cut off":     {string(swapPart(t, good, "xl/worksheets/sheet1.xml", "</row></sheetData>", "")), "is a damaged workbook"},
		"sheet ends early":  {string(swapPart(t, good, "xl/worksheets/sheet1.xml", "</worksheet>", "")), "is a damaged workbook: sheet 'dogs' ends too early"},
		"bad cell name":     {string(swapPart(t, good, "xl/worksheets/sheet1.xml", `r="A2" t`, `r="2A" t`)), "can't be read: row 2"},
		"sheet part absent": {string(swapPart(t, good, "xl/_rels/workbook.xml.rels", "sheet1.xml", "sheet7.xml")), "can't be read: sheet 'dogs' holds no cells"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			table, err := sheet.Read("book.xlsx", []byte(c.data), dogs(), sheet.Options{})
			if err == nil {
				t.Log(table.Rows, table.Faults)
			}
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "book.xlsx")
			require.ErrorAs(t, err, new(sheet.Fault))
		})
	}
	// The name does not decide: a workbook named .csv is read as one.
	table, err := sheet.Read("dogs.csv", good, dogs(), sheet.Options{})
	require.NoError(t, err)
	require.Len(t, table.Rows, 1)
}

// A zip bomb: 400 MB of spaces in half a megabyte, and a file that lies.
func TestXLSXBombs(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	zw := zip.NewWriter(&b)
	for _, name := range []string{"[Content_Types].xml", "xl/worksheets/sheet1.xml"} {
		w, err := zw.Create(name)
		require.NoError(t, err)
		block := bytes.Repeat([]byte{' '}, 1<<20)
		for range 200 {
			_, err := w.Write(block)
			require.NoError(t, err)
		}
	}
	require.NoError(t, zw.Close())
	require.Less(t, b.Len(), 1<<20)
	start := time.Now()
	_, err := sheet.Read("bomb.xlsx", b.Bytes(), dogs(), sheet.Options{})
	require.EqualError(t, err, "bomb.xlsx: unpacks to more than 320 MB: delete what does not belong to the list, or split it, and save again")
	require.Less(t, time.Since(start), 10*time.Second, "it is refused before it is unpacked")

	b.Reset()
	zw = zip.NewWriter(&b)
	w, err := zw.CreateRaw(&zip.FileHeader{Name: "[Content_Types].xml", Method: zip.Deflate, UncompressedSize64: 100 << 20, CompressedSize64: 3})
	require.NoError(t, err)
	_, err = w.Write([]byte{3, 0, 0})
	require.NoError(t, err)
	require.NoError(t, zw.Close())
	_, err = sheet.Read("lie.xlsx", b.Bytes(), dogs(), sheet.Options{})
	require.ErrorContains(t, err, "is a damaged workbook")
}

// Random damage inside the parts never panics and never reads as something else
// without a word.
func TestXLSXDamagedAtRandom(t *testing.T) {
	t.Parallel()
	good := workbook(t, func(f *excelize.File) {
		put(t, f, "dogs", []any{"code", "name", "born_on"}, []any{"D-1", "Rex", 45000}, []any{"D-2", "Bo", 45001})
	})
	r := rand.New(rand.NewPCG(1, 2))
	zr, err := zip.NewReader(bytes.NewReader(good), int64(len(good)))
	require.NoError(t, err)
	for range 300 {
		var b bytes.Buffer
		zw := zip.NewWriter(&b)
		target := r.IntN(len(zr.File))
		for i, f := range zr.File {
			rc, err := f.Open()
			require.NoError(t, err)
			data, err := io.ReadAll(rc)
			require.NoError(t, err)
			if i == target && len(data) > 0 {
				switch at := r.IntN(len(data)); r.IntN(3) {
				case 0:
					data = data[:at]
				case 1:
					data[at] = byte(r.IntN(256))
				default:
					data = append(data[:at:at], data[min(len(data), at+r.IntN(40)):]...)
				}
			}
			w, err := zw.Create(f.Name)
			require.NoError(t, err)
			_, err = w.Write(data)
			require.NoError(t, err)
		}
		require.NoError(t, zw.Close())
		table, err := sheet.Read("book.xlsx", b.Bytes(), dogs(), sheet.Options{})
		if err == nil {
			requireConsistent(t, table)
		}
	}
}
