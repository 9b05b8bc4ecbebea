package sheet

import (
	"fmt"
	"strings"
	"time"

	"github.com/longlead/longlead/services/calendar"
)

// Row is a record without a fault. Its cells are asked for by the name of their
// column as the Kind has it; an unknown name, or a method that does not suit
// the form of the column, is an error of the program and panics.
type Row struct {
	Line int // line of the file (of the sheet, in a workbook), from 1

	lay   *layout
	cells []string // as in the file
	nums  []int64  // by column of the kind; what it means is in column.read
}

// Has reports whether the cell holds anything.
func (r Row) Has(col string) bool { return r.text(r.lay.position(col)) != "" }

// Given reports whether the file has the column at all: an empty cell says that there is nothing, a file without the column says nothing
// about it.
func (r Row) Given(col string) bool { return r.lay.at[r.lay.position(col)] >= 0 }

// Text returns the cell as Write would write it: a date as 2027-03-14, a choice
// as OneOf spells it. An empty cell, or a column that the file does not have,
// is "".
func (r Row) Text(col string) string {
	return r.canonical(r.lay.position(col))
}

// Int returns a whole number, or a number of tenths; 0 when the cell is empty.
func (r Row) Int(col string) int {
	return int(r.number(col, FormWhole, FormTenths))
}

// Day returns a date; the absent date when the cell is empty.
func (r Row) Day(col string) calendar.Date {
	return dayOf(r.number(col, FormDay, FormDay))
}

// Clock returns a time of day. An empty cell is midnight: ask Has where that
// matters.
func (r Row) Clock(col string) calendar.Clock {
	return calendar.Clock(r.number(col, FormClock, FormClock))
}

// Yes returns whether the cell says yes; an empty cell does not.
func (r Row) Yes(col string) bool {
	return r.number(col, FormYesNo, FormYesNo) == 1
}

// List returns the values of a cell in order, each as Text would return it;
// nil when the cell is empty. A column without Many has at most one.
func (r Row) List(col string) []string {
	i := r.lay.position(col)
	return r.lay.cols[i].values(r.text(i))
}

// Raw returns the cells as the file has them, in its order. Dates and times of
// a workbook are text already. Don't change the slice.
func (r Row) Raw() []string { return r.cells }

// Key returns the cells of the key columns, joined by a bar; two rows of one
// table never have the same. It is "" when the kind has no key.
func (r Row) Key() string {
	if len(r.lay.keys) == 1 {
		return r.canonical(r.lay.keys[0])
	}
	parts := make([]string, len(r.lay.keys))
	for i, k := range r.lay.keys {
		parts[i] = escapeItem(r.canonical(k))
	}
	return strings.Join(parts, listSeparator)
}

// text returns a cell cleaned, by position in the kind.
func (r Row) text(i int) string {
	at := r.lay.at[i]
	if at < 0 || at >= len(r.cells) {
		return ""
	}
	return unguard(clean(r.cells[at]))
}

func (r Row) canonical(i int) string {
	text, c := r.text(i), &r.lay.cols[i]
	switch {
	case text == "":
		return ""
	case c.Many:
		return List(c.values(text)...)
	}
	return c.spell(text, r.nums[i])
}

func (r Row) number(col string, a, b Form) int64 {
	i := r.lay.position(col)
	if c := r.lay.cols[i]; (c.Form != a && c.Form != b) || c.Many {
		panic(fmt.Sprintf("sheet: column %q of kind %q holds %v, not %v", col, r.lay.kind.Name, c.Form, a))
	}
	return r.nums[i]
}

// packDay keeps a date as a number that sorts and prints: 20270314. 0 is absent.
func packDay(year, month, day int) int64 { return int64(year*10000 + month*100 + day) }

func dayOf(n int64) calendar.Date {
	if n == 0 {
		return calendar.Date{}
	}
	// The parts were checked when the cell was read.
	d, _ := calendar.NewDate(int(n/10000), time.Month(n/100%100), int(n%100))
	return d
}
