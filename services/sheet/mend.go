package sheet

import (
	"cmp"
	"io"
	"slices"
)

// Mend is a cell that a person has corrected after reading what was wrong: the file is read as if it stood there. A row whose cells are all
// mended to nothing is left out. The header cannot be mended.
type Mend struct {
	// Sheet of a workbook; empty for CSV.
	Sheet string
	// Line of the row, from 1, and Cell, its number in the row, from 0.
	Line, Cell int
	Value      string
}

func mendsOf(sheetName string, all []Mend) map[int][]Mend {
	var of map[int][]Mend
	for _, m := range all {
		if m.Sheet != sheetName || m.Cell < 0 || m.Cell >= MaxColumns {
			continue
		}
		if of == nil {
			of = map[int][]Mend{}
		}
		of[m.Line] = append(of[m.Line], m)
	}
	return of
}

// mend puts the mends of a row into it and returns how many of its cells are used; n is what they were before. A row that was too short gets
// the cells that it lacks.
func (b *builder) mend(r *record, n int) int {
	mends := b.mends[r.line]
	if len(mends) == 0 {
		return n
	}
	width := max(len(r.cells), len(b.table.Header))
	for _, m := range mends {
		width = max(width, m.Cell+1)
	}
	cells := make([]string, width)
	copy(cells, r.cells)
	for _, m := range mends {
		cells[m.Cell] = m.Value
		delete(r.cellBy, m.Cell)
	}
	r.cells = cells
	n = used(cells)
	r.cells = cells[:max(n, min(width, len(b.table.Header)))]
	return n
}

// WriteMended writes a whole table as it was read, mends and all: every row, good or rejected, in the order of the file. The format is "csv" or
// "xlsx"; a CSV file keeps its separator.
func WriteMended(w io.Writer, format string, t Table) error {
	lines := make([]RawRow, 0, len(t.Rows)+len(t.Rejected))
	for _, r := range t.Rows {
		lines = append(lines, RawRow{r.Line, r.Raw()})
	}
	for _, r := range t.Rejected {
		lines = append(lines, RawRow{r.Line, r.Row})
	}
	slices.SortFunc(lines, func(a, b RawRow) int { return cmp.Compare(a.Line, b.Line) })
	width := len(t.Header)
	for _, l := range lines {
		width = max(width, len(l.Cells))
	}
	rows := make([][]string, len(lines))
	for i, l := range lines {
		rows[i] = make([]string, width)
		copy(rows[i], l.Cells)
	}
	head := make([]string, width)
	copy(head, t.Header)
	return writeRaw(w, format, t, head, rows)
}

// RawRow is a row as it stands in its file.
type RawRow struct {
	Line  int
	Cells []string
}
