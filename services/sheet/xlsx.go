package sheet

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

const damagedRemedy = "open it in a spreadsheet program, repair it, and save it again as .xlsx"

// readXLSX reads one sheet of a workbook.
func readXLSX(file string, data []byte, k Kind, o Options) (table Table, err error) {
	defer guardDamage(file, &err)
	w, err := openBook(file, data)
	if err != nil {
		return Table{}, err
	}
	defer w.close()
	name, notes, err := w.choose(k, o)
	if err != nil {
		return Table{}, err
	}
	return w.read(file, name, notes, k, o)
}

// guardDamage turns a panic of the workbook library, which some damaged files
// cause, into the message that the file is damaged. Panics of our own about
// wrong kinds pass.
func guardDamage(file string, err *error) {
	p := recover()
	if p == nil {
		return
	}
	if text, ok := p.(string); ok && strings.HasPrefix(text, "sheet: ") {
		panic(p)
	}
	*err = unreadable(file, "is a damaged workbook", damagedRemedy)
}

// book is an open workbook.
type book struct {
	file  string
	f     *excelize.File
	parts map[string]string // sheet name to the part of the archive that holds it
	epoch bool              // dates count from 1904
}

// openBook opens a workbook that checkZip has passed. Everything stays in
// memory: the limits keep it small, and a server may have no place for files.
func openBook(file string, data []byte) (*book, error) {
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: MaxUnzipped, UnzipXMLSizeLimit: MaxUnzipped,
	})
	if err != nil {
		return nil, unreadable(file, "is a damaged workbook ("+err.Error()+")", damagedRemedy)
	}
	w := &book{file: file, f: f}
	if w.parts, err = sheetParts(f); err != nil || len(f.GetSheetList()) == 0 {
		w.close()
		return nil, unreadable(file, "is a damaged workbook: its list of sheets can't be read", damagedRemedy)
	}
	if props, err := f.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		w.epoch = *props.Date1904
	}
	return w, nil
}

func (w *book) close() { _ = w.f.Close() } // nothing was written; there is nothing to lose

// sheets lists the sheets that hold cells; charts can have a sheet of their own.
func (w *book) sheets() []string {
	return slices.DeleteFunc(w.f.GetSheetList(), func(name string) bool {
		return strings.Contains(w.parts[name], "chartsheets/") || strings.Contains(w.parts[name], "dialogsheets/")
	})
}

// choose finds the sheet to read and notes which others there are.
func (w *book) choose(k Kind, o Options) (string, []string, error) {
	var shown, hidden []string
	byName, want := "", k.Name
	if o.Sheet != "" {
		want = o.Sheet
	}
	for _, name := range w.sheets() {
		visible, err := w.f.GetSheetVisible(name)
		if err == nil && !visible {
			hidden = append(hidden, name)
		} else {
			shown = append(shown, name)
		}
		if fold(name) == fold(want) && byName == "" {
			byName = name
		}
	}
	var notes []string
	for _, name := range hidden {
		if name != byName && name != choicesSheet {
			notes = append(notes, fmt.Sprintf("sheet '%s' is hidden and was not read", name))
		}
	}
	switch {
	case byName != "":
		return byName, notes, nil
	case o.Sheet != "":
		return "", nil, unreadable(w.file, fmt.Sprintf("has no sheet '%s'", o.Sheet), "choose one of "+quoteList(w.sheets()))
	case len(shown) == 0:
		return "", nil, unreadable(w.file, "has only hidden sheets", "unhide the sheet with the list, or name it with the option --sheet")
	case len(shown) > 1:
		notes = append(notes, fmt.Sprintf("read sheet '%s', the first one; not read: %s", shown[0], quoteList(shown[1:])))
	}
	return shown[0], notes, nil
}

func quoteList(names []string) string { return "'" + strings.Join(names, "', '") + "'" }

// read reads one sheet.
func (w *book) read(file, name string, notes []string, k Kind, o Options) (Table, error) {
	b := newBuilder(file, name, k, o)
	b.table.Notes = notes
	content := w.content(name)
	rows, err := w.f.Rows(name)
	if err != nil || len(content) == 0 {
		return Table{}, unreadable(file, fmt.Sprintf("can't be read: sheet '%s' holds no cells", name), "choose another sheet with the option --sheet")
	}
	defer func() { _ = rows.Close() }() // reading was from memory
	facts := scanSheet(content, w.isDateStyle)
	if !facts.whole {
		return Table{}, unreadable(file, fmt.Sprintf("is a damaged workbook: sheet '%s' ends too early", name), damagedRemedy)
	}
	if facts.merged > 0 {
		b.note("sheet '%s' has merged cells; the value of cells merged downwards was read for each of their rows", name)
	}
	if len(facts.uncounted) > 0 {
		b.note("sheet '%s' has formulas whose values were not saved", name)
	}
	src := &xlsxSource{rows: rows, facts: facts}
	b.adapt = func(r *record) { b.fromWorkbook(r, facts, w.epoch) }
	t, err := b.run(src)
	if err == nil && src.hidden > 0 {
		t.Notes = append(t.Notes, fmt.Sprintf("%d of the rows of sheet '%s' are hidden; they were read like the others", src.hidden, name))
	}
	return t, err
}

// isDateStyle reports whether a cell style shows numbers as dates or times.
func (w *book) isDateStyle(id int) bool {
	style, err := w.f.GetStyle(id)
	if err != nil || style == nil {
		return false
	}
	if style.CustomNumFmt != nil {
		return isDateFormat(*style.CustomNumFmt)
	}
	n := style.NumFmt // 14-22 and 45-47 are the dates and times of the standard, 27-58 of East Asia
	return n >= 14 && n <= 22 || n >= 27 && n <= 36 || n >= 45 && n <= 47 || n >= 50 && n <= 58
}

// isDateFormat looks for the letters of days, months and years in a number
// format, outside of quoted text and brackets.
func isDateFormat(code string) bool {
	inQuotes, inBrackets := false, false
	for i := 0; i < len(code); i++ {
		switch c := code[i]; {
		case inQuotes:
			inQuotes = c != '"'
		case inBrackets:
			inBrackets = c != ']'
		case c == '"':
			inQuotes = true
		case c == '[':
			inBrackets = true
		case c == '\\' || c == '_' || c == '*':
			i++
		case strings.IndexByte("dDmMyYhHsS", c) >= 0:
			return true
		}
	}
	return false
}

// xlsxSource delivers the rows of a sheet. A row that the file leaves out counts
// as a blank line, so that line numbers are those on the screen.
type xlsxSource struct {
	rows   *excelize.Rows
	facts  sheetFacts
	line   int
	hidden int
}

func (s *xlsxSource) next() (record, error) {
	for s.rows.Next() {
		s.line++
		cells, err := s.rows.Columns()
		if err != nil {
			return record{}, fmt.Errorf("row %d: %w", s.line, err)
		}
		n := used(cells)
		if n == 0 {
			continue
		}
		if s.rows.GetRowOpts().Hidden {
			s.hidden++
		}
		return record{line: s.line, cells: s.facts.fillDown(s.line, cells[:n])}, nil
	}
	if err := s.rows.Error(); err != nil {
		return record{}, err
	}
	return record{}, io.EOF
}

// fromWorkbook turns the raw cells of a row into what a person would have typed,
// by the form of their column, and marks the cells that need a person.
func (b *builder) fromWorkbook(r *record, facts sheetFacts, epoch1904 bool) {
	mark := func(at int, p *problem) {
		if r.cellBy == nil {
			r.cellBy = map[int]*problem{}
		}
		r.cellBy[at] = p
	}
	for at, i := range b.lay.file {
		if facts.uncounted.has(r.line, at) {
			mark(at, wrong("is a formula whose value was not saved", "open the file in a spreadsheet program and save it"))
		}
		if i < 0 || at >= len(r.cells) || r.cells[at] == "" {
			continue
		}
		form := b.lay.cols[i].Form
		text, p := fromCell(r.cells[at], form, facts.dates.has(r.line, at), epoch1904)
		if r.cells[at] = text; p != nil {
			mark(at, p)
		}
	}
}
