package exchange

import (
	"cmp"
	"slices"
	"sort"

	"github.com/longlead/longlead/services/sheet"
)

// shown returns the first rejected rows of a table with a row before and after each, by line.
func (t *openTable) shown(most int) []ShownRow {
	rejected := t.Rejected[:min(most, len(t.Rejected))]
	by := make(map[int]ShownRow, 3*len(rejected))
	for _, r := range rejected {
		row := ShownRow{Line: r.Line, Cells: r.Row, Faults: r.Faults, At: make([]int, len(r.Faults))}
		for i, f := range r.Faults {
			row.At[i] = t.cellOf(f)
		}
		by[r.Line] = row
	}
	for _, r := range rejected {
		for _, beside := range t.beside(r.Line) {
			if _, there := by[beside.Line]; !there {
				by[beside.Line] = beside
			}
		}
	}
	rows := make([]ShownRow, 0, len(by))
	for _, row := range by {
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(a, b ShownRow) int { return cmp.Compare(a.Line, b.Line) })
	return rows
}

// beside returns the good rows next to a line; rows stand in the order of the file.
func (t *openTable) beside(line int) (rows []ShownRow) {
	at := sort.Search(len(t.Rows), func(i int) bool { return t.Rows[i].Line >= line })
	for _, i := range []int{at - 1, at, at + 1} {
		if i >= 0 && i < len(t.Rows) && t.Rows[i].Line >= line-1 && t.Rows[i].Line <= line+1 && t.Rows[i].Line != line {
			rows = append(rows, ShownRow{Line: t.Rows[i].Line, Cells: t.Rows[i].Raw()})
		}
	}
	return rows
}

// cellOf returns the number of the cell that a fault is about; -1 when it is about the row, or a column that the file lacks.
func (t *openTable) cellOf(f sheet.Fault) int {
	if i, ok := t.at[f.Column]; ok {
		return i
	}
	return -1
}
