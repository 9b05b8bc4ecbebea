package sheet

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// KindRecords are the records of one kind, for a workbook of several. Each
// record has one cell per column of the kind, in its order.
type KindRecords struct {
	Kind    Kind
	Records [][]string
}

// maxSheetRows is the number of rows that a sheet of a workbook can have.
const maxSheetRows = 1 << 20

// Write writes records of a kind as "csv" or "xlsx". Each record has one cell
// per column of the kind, in its order, made with Day, Int, YesNo and the like
// or plain text. Cells go through the same cleaning as in Read; what they are
// after it comes in again unchanged. Cells are not checked against their form.
//
// A CSV file is UTF-8 with a byte order mark, by which spreadsheet programs know
// it, with commas and line feeds. In a workbook, numbers are numbers and all
// else is text, so that no program turns a code into a date.
//
// The error names a record with the wrong number of cells or a cell that is too
// long, a format that is not known, or a failure of w.
func Write(w io.Writer, format string, k Kind, records [][]string) error {
	switch format {
	case "csv":
		return writeCSV(w, k, records)
	case "xlsx":
		return WriteBook(w, []KindRecords{{k, records}})
	}
	return unknownFormat(format)
}

func unknownFormat(format string) error {
	return fmt.Errorf("format %q is not known: write csv or xlsx", format)
}

func writeCSV(w io.Writer, k Kind, records [][]string) error {
	out := newCSVWriter(w, ',')
	if err := out.Write(headerOf(k)); err != nil {
		return fmt.Errorf("write %s: %w", k.Name, err)
	}
	row := make([]string, len(k.Columns))
	for i, rec := range records {
		cells, err := outgoing(k, i, rec)
		if err != nil {
			return err
		}
		for j, c := range cells {
			row[j] = guard(c)
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("write %s: %w", k.Name, err)
		}
	}
	if err := out.flush(); err != nil {
		return fmt.Errorf("write %s: %w", k.Name, err)
	}
	return nil
}

// csvWriter is a csv.Writer behind the mark that tells spreadsheet programs the
// encoding.
type csvWriter struct {
	*csv.Writer
	buf *bufio.Writer
}

func newCSVWriter(w io.Writer, sep rune) *csvWriter {
	buf := bufio.NewWriter(w)
	_, _ = buf.WriteString("\uFEFF") // a failure stays in buf and shows in flush
	out := &csvWriter{csv.NewWriter(buf), buf}
	out.Comma = sep
	return out
}

func (w *csvWriter) flush() error {
	w.Flush()
	return errors.Join(w.Error(), w.buf.Flush())
}

func headerOf(k Kind) []string {
	names := make([]string, len(k.Columns))
	for i, c := range k.Columns {
		names[i] = c.Name
	}
	return names
}

// outgoing cleans the cells of record i (from 0) and checks that they fit.
func outgoing(k Kind, i int, rec []string) ([]string, error) {
	if len(rec) != len(k.Columns) {
		return nil, fmt.Errorf("write %s, record %d: %d cells for %d columns", k.Name, i+1, len(rec), len(k.Columns))
	}
	cells := make([]string, len(rec))
	for j, c := range rec {
		cells[j] = tidy(c)
		if len(cells[j]) >= MaxCell && utf16Len(cells[j]) >= MaxCell {
			return nil, fmt.Errorf("write %s, record %d, column %s: the cell has more than %d characters", k.Name, i+1, k.Columns[j].Name, MaxCell-1)
		}
	}
	return cells, nil
}

// WriteBook writes one workbook with a sheet for each kind, in order. ReadBook
// reads it again. The errors are those of Write.
func WriteBook(w io.Writer, books []KindRecords) error {
	if len(books) == 0 {
		return errors.New("write a workbook: there is no kind to write")
	}
	f := excelize.NewFile()
	defer func() { _ = f.Close() }() // only temporary files
	styles, err := newStyles(f)
	if err != nil {
		return fmt.Errorf("write a workbook: %w", err)
	}
	for i, b := range books {
		if err := addSheet(f, i, b.Kind.Name); err != nil {
			return err
		}
		if err := fillSheet(f, styles, b); err != nil {
			return err
		}
	}
	if err := f.Write(w); err != nil {
		return fmt.Errorf("write a workbook: %w", err)
	}
	return nil
}

// addSheet adds a sheet, the first in place of the one that a new file has.
func addSheet(f *excelize.File, i int, name string) error {
	var err error
	if i == 0 {
		err = f.SetSheetName(f.GetSheetName(0), name)
	} else {
		_, err = f.NewSheet(name)
	}
	if err != nil {
		return fmt.Errorf("add sheet %q: %w", name, err)
	}
	return nil
}

// styles are the looks of cells in a workbook.
type styles struct{ head, text, whole, tenths int }

func newStyles(f *excelize.File) (styles, error) {
	tenths := "0.0"
	var s styles
	for _, style := range []struct {
		id   *int
		look excelize.Style
	}{
		{&s.text, excelize.Style{NumFmt: 49}}, // "@": text, whatever is typed
		{&s.head, excelize.Style{NumFmt: 49, Font: &excelize.Font{Bold: true}, Fill: excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{"E7ECE4"}}}},
		{&s.whole, excelize.Style{NumFmt: 1}},
		{&s.tenths, excelize.Style{CustomNumFmt: &tenths}},
	} {
		id, err := f.NewStyle(&style.look)
		if err != nil {
			return styles{}, fmt.Errorf("make a cell style: %w", err)
		}
		*style.id = id
	}
	return s, nil
}

// of returns the style of the cells of a column. Numbers stay numbers, so that
// they can be summed; a cell with several values is text.
func (s styles) of(c Column) int {
	switch {
	case c.Form == FormWhole && !c.Many:
		return s.whole
	case c.Form == FormTenths && !c.Many:
		return s.tenths
	}
	return s.text
}

func fillSheet(f *excelize.File, s styles, b KindRecords) error {
	fail := func(err error) error { return fmt.Errorf("write sheet %s: %w", b.Kind.Name, err) }
	if len(b.Records) >= maxSheetRows {
		return fail(fmt.Errorf("%d records are more than a sheet can have", len(b.Records)))
	}
	sw, err := f.NewStreamWriter(b.Kind.Name)
	if err != nil {
		return fail(err)
	}
	if err := startSheet(sw, s, b.Kind); err != nil {
		return fail(err)
	}
	row := make([]any, len(b.Kind.Columns))
	for i, rec := range b.Records {
		cells, err := outgoing(b.Kind, i, rec)
		if err != nil {
			return err
		}
		for j, text := range cells {
			row[j] = bookCell(text, s, b.Kind.Columns[j])
		}
		if err := sw.SetRow("A"+strconv.Itoa(i+2), row); err != nil {
			return fail(err)
		}
	}
	if err := sw.Flush(); err != nil {
		return fail(err)
	}
	return nil
}

// startSheet writes the header row, which stays in sight.
func startSheet(sw *excelize.StreamWriter, s styles, k Kind) error {
	errs := []error{sw.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"})}
	head := make([]any, len(k.Columns))
	for i, c := range k.Columns {
		errs = append(errs, sw.SetColWidth(i+1, i+1, widthOf(c)), sw.SetColStyle(i+1, i+1, s.of(c)))
		head[i] = excelize.Cell{StyleID: s.head, Value: c.Name}
	}
	return errors.Join(append(errs, sw.SetRow("A1", head))...)
}

// widthOf chooses the width of a column, in characters.
func widthOf(c Column) float64 {
	width := max(len(c.Name), len(c.Example)) + 3
	return float64(min(max(width, 10), 40))
}

// bookCell makes a cell: a number where the column holds numbers and the text
// is one, nothing where it is empty, else text.
func bookCell(text string, s styles, c Column) any {
	if text == "" {
		return nil
	}
	style := s.of(c)
	if style != s.text && isPlainNumber(text) && len(text) <= 15 && !strings.HasPrefix(text, "+") {
		if n, err := strconv.ParseFloat(text, 64); err == nil {
			return excelize.Cell{StyleID: style, Value: n}
		}
	}
	return excelize.Cell{StyleID: s.text, Value: guardText(text)}
}

// WriteRejected writes the rejected rows of a table as they stood in the file,
// with a last column "reasons". Once corrected, that file can be read like any
// other: Read passes over the column. It keeps the separator of a CSV file. Two
// faults can't come again by themselves, because the new file is well formed:
// a quote in the wrong place, which stays in its cell, and missing cells at the
// end of a row, which are empty. Their reasons say so to whoever corrects them.
func WriteRejected(w io.Writer, format string, t Table) error {
	head, rows := rejectedRows(t)
	return writeRaw(w, format, t, head, rows)
}

// writeRaw writes cells as they stood in the file of a table.
func writeRaw(w io.Writer, format string, t Table, head []string, rows [][]string) error {
	switch format {
	case "csv":
		sep := t.separator
		if sep == 0 {
			sep = ','
		}
		out := newCSVWriter(w, sep)
		for _, row := range append([][]string{head}, rows...) {
			for i, c := range row {
				// The cells are as in the file, where some have their quote already.
				if c != "" && startsFormula(clean(c)) && !isPlainNumber(clean(c)) {
					row[i] = "'" + clean(c)
				}
			}
			if err := out.Write(row); err != nil {
				return fmt.Errorf("write rows of %s: %w", t.Kind.Name, err)
			}
		}
		if err := out.flush(); err != nil {
			return fmt.Errorf("write rows of %s: %w", t.Kind.Name, err)
		}
		return nil
	case "xlsx":
		return writeRawBook(w, t, head, rows)
	}
	return unknownFormat(format)
}

// rejectedRows lines up the rejected rows: all with the same number of cells,
// the reasons last, and no reasons of an earlier time.
func rejectedRows(t Table) ([]string, [][]string) {
	old := -1
	for i, name := range t.Header {
		if fold(name) == reasonsColumn {
			old = i
		}
	}
	width := len(t.Header)
	for _, r := range t.Rejected {
		width = max(width, len(r.Row))
	}
	line := func(cells []string, reasons string) []string {
		row := make([]string, width, width+1)
		copy(row, cells)
		if old >= 0 {
			row = append(row[:old], row[old+1:]...)
		}
		return append(row, reasons)
	}
	rows := make([][]string, len(t.Rejected))
	for i, r := range t.Rejected {
		var reasons []string
		for _, f := range r.Faults {
			text := f.reason()
			if f.Column != "" {
				text = f.Column + ": " + text
			}
			reasons = append(reasons, text)
		}
		cut := []rune(fmt.Sprintf("line %d: %s", r.Line, strings.Join(reasons, "; ")))
		rows[i] = line(r.Row, string(cut[:min(len(cut), 4000)]))
	}
	return line(t.Header, reasonsColumn), rows
}

func writeRawBook(w io.Writer, t Table, head []string, rows [][]string) error {
	k := Kind{Name: t.Kind.Name}
	for _, name := range head {
		k.Columns = append(k.Columns, Column{Name: name})
	}
	f := excelize.NewFile()
	defer func() { _ = f.Close() }() // only temporary files
	s, err := newStyles(f)
	if err != nil {
		return fmt.Errorf("write rows of %s: %w", t.Kind.Name, err)
	}
	if err := addSheet(f, 0, k.Name); err != nil {
		return err
	}
	sw, err := f.NewStreamWriter(k.Name)
	if err != nil {
		return fmt.Errorf("write rows of %s: %w", t.Kind.Name, err)
	}
	errs := []error{startSheet(sw, s, k)}
	for i, row := range rows {
		cells := make([]any, len(row))
		for j, c := range row {
			if c = tidy(c); c != "" {
				cells[j] = excelize.Cell{StyleID: s.text, Value: c}
			}
		}
		errs = append(errs, sw.SetRow("A"+strconv.Itoa(i+2), cells))
	}
	if err := errors.Join(append(errs, sw.Flush(), f.Write(w))...); err != nil {
		return fmt.Errorf("write rows of %s: %w", t.Kind.Name, err)
	}
	return nil
}
