package sheet_test

import (
	"bytes"
	"testing"

	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// requireRead reads anything: an error, or a table in which every row is good
// or rejected for a reason, and in which the good rows survive being written
// and read again.
func requireRead(t *testing.T, file string, data []byte, o sheet.Options) {
	k := requests()
	table, err := sheet.Read(file, data, k, o)
	if err != nil {
		var f sheet.Fault
		require.ErrorAs(t, err, &f)
		require.NotEmpty(t, f.Remedy)
		return
	}
	requireConsistent(t, table)
	var rejected bytes.Buffer
	require.NoError(t, sheet.WriteRejected(&rejected, "csv", table))
	good := texts(k, table.Rows)
	if len(good) == 0 {
		return
	}
	var b bytes.Buffer
	if err := sheet.Write(&b, "csv", k, good); err != nil {
		require.ErrorContains(t, err, "has more than 32766 characters")
		return
	}
	again, err := sheet.Read("again.csv", b.Bytes(), k, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, again.Faults)
	require.Equal(t, good, texts(k, again.Rows))
}

func FuzzReadCSV(f *testing.F) {
	for _, seed := range []string{
		"code,dog,wished,nights,weight,call_at,deposit,priority,sites,note\nR-1,D-7,2027-03-14,21,24.5,9:30,x,HIGH,oak;elm,likes balls\n",
		"code;dog;wished;nights\r\nR-1;D-7;14 Mar 27;21\r\n\"R-2;D-8;3/4/2027;x\r\n",
		"sep=|\ncode|dog|wished|nights|note\n'=1|+2|20270314|7|''=x\n",
		"\ufeffcode\tdog\twished\tnights\rR\tD\tSunday, 14 March 2027\t7,0\r",
		"\xff\xfec\x00o\x00d\x00e\x00,\x00d\x00o\x00g\x00\n\x00",
		"code,code,dog\n\x80,\x9f,\x00\n",
		"title\n\ncode,dog,wished,nights,sites\na,b,3.4.2027,1,\\;;\\|\n",
	} {
		f.Add([]byte(seed), uint8(0))
	}
	f.Fuzz(func(t *testing.T, data []byte, options uint8) {
		o := sheet.Options{Dates: sheet.DateOrder(options % 3)}
		if options&4 != 0 {
			o.Separator = rune([]byte(",;\t|")[options>>3&3])
		}
		if options&32 != 0 {
			o.Encoding = []string{"utf-8", "windows-1252", "utf-16le", "shift_jis"}[options>>6]
		}
		requireRead(t, "f.csv", data, o)
	})
}

func FuzzReadXLSX(f *testing.F) {
	k := requests()
	for _, records := range [][][]string{sample(), {}} {
		var b bytes.Buffer
		require.NoError(f, sheet.Write(&b, "xlsx", k, records))
		f.Add(b.Bytes())
	}
	f.Add(workbook(f, func(x *excelize.File) {
		put(f, x, "dogs", []any{"code", "dog", "wished", "nights"}, []any{"R-1", "D-7", 46460, 21}, []any{nil, true, 0.5, "x"})
		require.NoError(f, x.MergeCell("dogs", "A2", "A3"))
	}))
	f.Fuzz(func(t *testing.T, data []byte) { requireRead(t, "f.xlsx", data, sheet.Options{}) })
}

// FuzzReadSheetXML damages the inside of a workbook, which random bytes of the
// packed file hardly ever reach.
func FuzzReadSheetXML(f *testing.F) {
	base := workbook(f, func(x *excelize.File) {
		put(f, x, "dogs", []any{"code", "dog", "wished", "nights"}, []any{"R-1", "D-7", 46460, 21})
	})
	const rows = `<row r="1"><c r="A1" t="s"><v>0</v></c>`
	f.Add(`<row r="1"><c r="A1" t="inlineStr"><is><t>code</t></is></c></row><row r="9"><c r="B9"><f>1</f></c></row>`)
	f.Add(`<row><c t="str"><v>code</v></c><c t="b"><v>1</v></c></row><row r="3"/><row r="2"><c r="ZZ2" s="1"><v>1E+300</v></c></row>`)
	f.Add(`<row r="1048577"><c r="A1" t="s"><v>99</v></c></row></sheetData><mergeCells><mergeCell ref="A1:A9"/><mergeCell ref="B"/></mergeCells>`)
	f.Fuzz(func(t *testing.T, xml string) {
		data := swapPart(t, base, "xl/worksheets/sheet1.xml", rows, xml+rows)
		requireRead(t, "f.xlsx", data, sheet.Options{})
	})
}
