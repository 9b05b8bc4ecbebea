package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// readCSV reads a text file.
func readCSV(file string, data []byte, k Kind, o Options) (Table, error) {
	text, notes, err := decodeText(file, data, o.Encoding)
	if err != nil {
		return Table{}, err
	}
	if isNamed(file, ".xlsx", ".xls", ".xlsm", ".ods") {
		notes = append(notes, "the file is named like a workbook, but is text; it was read as CSV")
	}
	b := newBuilder(file, "", k, o)
	b.ragged = true
	b.table.Notes = notes
	text, line, sep := sepLine(text)
	switch {
	case o.Separator != 0:
		if sep = o.Separator; strings.ContainsRune("\"'\r\n\uFFFD", sep) {
			return Table{}, unreadable(file, fmt.Sprintf("can't be read: %q can't separate cells", sep), `choose one of , ; | or a tab`)
		}
	case sep == 0:
		sep = separatorOf(text, b.lay)
	}
	if sep != ',' {
		b.note("separator %s", separatorName(sep))
	}
	b.table.separator = sep
	return b.run(newCSVSource(text, sep, line))
}

func separatorName(sep rune) string {
	if sep == '\t' {
		return "tab"
	}
	return string(sep)
}

// sepLine takes away a first line such as sep=; which some programs write to
// name the separator. It returns the line that the rest begins on.
func sepLine(text []byte) ([]byte, int, rune) {
	if len(text) < 5 || !strings.EqualFold(string(text[:4]), "sep=") {
		return text, 1, 0
	}
	end := bytes.IndexByte(text, '\n')
	if end < 0 || strings.IndexByte(",;\t|", text[4]) < 0 || len(bytes.TrimRight(text[5:end], "\r")) != 0 {
		return text, 1, 0
	}
	return text[end+1:], 2, rune(text[4])
}

// separatorOf finds the separator with which the rows at the top name the most
// columns of the kind; without any, the one that makes the most cells.
func separatorOf(text []byte, l *layout) rune {
	best, bestMatch, bestCells := ',', 0, 0
	for _, sep := range ",;\t|" {
		head, _ := peek(newCSVSource(text, sep, 1)) // it only ever ends
		match, cells := 0, 0
		for _, r := range head {
			if r.broken == nil {
				match = max(match, l.match(r.cells))
				cells = max(cells, len(r.cells))
			}
		}
		if match > bestMatch || match == bestMatch && cells > bestCells {
			best, bestMatch, bestCells = sep, match, cells
		}
	}
	return best
}

// csvSource reads records and goes on after a broken one with the line below
// it, so that one stray quote costs one row and not the rest of the file.
type csvSource struct {
	text   []byte // from where the reader began
	sep    rune
	line   int // of the first line of text
	r      *csv.Reader
	last   int64 // where the previous record ended
	budget int   // bytes that may still be read again after broken records
}

func newCSVSource(text []byte, sep rune, line int) *csvSource {
	s := &csvSource{sep: sep, budget: 4*len(text) + MaxLine}
	s.restart(text, line)
	return s
}

func (s *csvSource) restart(text []byte, line int) {
	s.text, s.line, s.last = text, line, 0
	s.r = csv.NewReader(bytes.NewReader(text))
	s.r.Comma = s.sep
	s.r.FieldsPerRecord = -1
	s.r.ReuseRecord = true
}

func (s *csvSource) next() (record, error) {
	cells, err := s.r.Read()
	if errors.Is(err, io.EOF) {
		return record{}, io.EOF
	}
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		return s.skipBroken(parse), nil
	}
	if err != nil {
		return record{}, err
	}
	first, _ := s.r.FieldPos(0)
	r := record{line: s.line + first - 1, cells: cells}
	end := s.r.InputOffset()
	if end-s.last > MaxLine {
		r.broken = wrong(fmt.Sprintf("is longer than %d bytes", MaxLine), "a missing quote can be the cause; shorten the row or correct the quotes")
		r.cells = cutCells(cells)
	}
	s.last = end
	return r, nil
}

// skipBroken makes a record of the line on which a broken record begins.
func (s *csvSource) skipBroken(parse *csv.ParseError) record {
	rest := s.text
	for range parse.StartLine - 1 {
		rest = rest[bytes.IndexByte(rest, '\n')+1:]
	}
	line, below, _ := bytes.Cut(rest, []byte{'\n'})
	at := s.line + parse.StartLine - 1
	raw := strings.TrimSuffix(string(line[:min(len(line), MaxLine)]), "\r")
	rule := `has a quote (") in the wrong place`
	if parse.Line > parse.StartLine {
		rule = `has a quote (") that is not closed on this line, and the text runs on wrongly`
	}
	again := int(s.r.InputOffset()) - (len(s.text) - len(below))
	if s.budget -= again; s.budget >= 0 {
		s.restart(below, at+1)
	} else {
		s.last = s.r.InputOffset()
		rule += fmt.Sprintf("; lines up to %d were not read", s.line+parse.Line-1)
	}
	return record{
		line:   at,
		cells:  cutCells(strings.Split(raw, string(s.sep))),
		broken: wrong(rule, `put quotes round the whole cell and double the quotes inside it, as in "a 5"" collar"`),
	}
}

// cutCells keeps a broken row small enough to be shown and written.
func cutCells(cells []string) []string {
	cells = cells[:min(len(cells), MaxColumns)]
	kept := make([]string, len(cells))
	for i, c := range cells {
		kept[i] = strings.ToValidUTF8(c[:min(len(c), MaxCell)], "")
	}
	return kept
}
