package sheet

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// Form says what the cells of a column hold. The zero value is FormText.
type Form int

const (
	FormText   Form = iota // any text; Min and Max count characters
	FormWhole              // a whole number
	FormTenths             // a number with at most one decimal place, kept as whole tenths
	FormDay                // a calendar.Date
	FormClock              // a calendar.Clock
	FormYesNo              // yes or no
	FormChoice             // one of Column.OneOf
	FormCode               // a short name that identifies something, at most MaxCode characters
)

// MaxCode is the length of the longest code, in characters.
const MaxCode = 40

// String names the form for people.
func (f Form) String() string {
	names := [...]string{"text", "whole number", "number with one decimal place", "date", "time of day", "yes or no", "choice", "code"}
	if f < 0 || int(f) >= len(names) {
		return fmt.Sprintf("form %d", int(f))
	}
	return names[f]
}

// Kind is a kind of record: which columns it has and which of them identify it.
type Kind struct {
	// Name is the word for these records in commands, the stem of a file and
	// the name of a sheet: "dogs". At most 31 characters.
	Name string
	// About says in a few words what the records are.
	About   string
	Columns []Column
	// Key names the columns which together identify a record. They are
	// required, and no two records of a file may agree in all of them. Without
	// a key, records may repeat.
	Key []string
}

// Column describes the cells of one column.
type Column struct {
	// Name is written in the header; it is found again whatever the case,
	// spaces, underscores or hyphens.
	Name    string
	About   string // what to write, for people
	Example string // a cell that would be accepted
	Form    Form
	// Required cells must not be empty.
	Required bool
	// OneOf lists the values of a FormChoice.
	OneOf []string
	// Min and Max bound a whole number, a number of tenths (in tenths, as
	// Row.Int returns them) or the characters of a text. Both zero: no bound.
	// A zero Max beside another Min leaves the upper end open.
	Min, Max int
	// Refers names the Kind whose code this cell holds. It is for people and
	// for the caller: this package does not look codes up.
	Refers string
	// Many lets the cell hold several values, separated by ; or |.
	Many bool
}

// reasonsColumn is the column that WriteRejected adds and Read passes over.
const reasonsColumn = "reasons"

// Check reports what is wrong with a kind as a programmer wrote it; every
// package that declares one tests it. Examples must pass their own column.
func (k Kind) Check() error {
	var errs []error
	bad := func(format string, args ...any) {
		errs = append(errs, fmt.Errorf("kind %q: "+format, append([]any{k.Name}, args...)...))
	}
	if k.Name == "" || len([]rune(k.Name)) > 31 || strings.ContainsAny(k.Name, `[]:*?/\'`) {
		bad("the name must have 1 to 31 characters and none of []:*?/\\'")
	}
	if len(k.Columns) == 0 || len(k.Columns) > MaxColumns-1 {
		bad("it must have 1 to %d columns", MaxColumns-1)
	}
	seen := map[string]string{}
	for _, c := range k.Columns {
		f := fold(c.Name)
		switch other, twice := seen[f]; {
		case f == "" || c.Name != clean(c.Name):
			bad("column %q needs a name of letters", c.Name)
		case f == reasonsColumn:
			bad("column %q is a name kept for the reasons of rejected rows", c.Name)
		case twice:
			bad("columns %q and %q can't be told apart in a header", other, c.Name)
		}
		seen[f] = c.Name
		if err := c.check(); err != nil {
			bad("column %q: %w", c.Name, err)
		}
	}
	for _, name := range k.Key {
		i := slices.IndexFunc(k.Columns, func(c Column) bool { return c.Name == name })
		if i < 0 {
			bad("key column %q is not among the columns", name)
		} else if k.Columns[i].Many {
			bad("key column %q holds several values", name)
		}
	}
	return errors.Join(errs...)
}

func (c Column) check() error {
	if c.Form < FormText || c.Form > FormCode {
		return fmt.Errorf("%v is not known", c.Form)
	}
	if (c.Form == FormChoice) != (len(c.OneOf) > 0) {
		return errors.New("a choice, and only a choice, lists its values in OneOf")
	}
	seen := map[string]bool{}
	for _, v := range c.OneOf {
		if f := fold(v); f == "" || seen[f] || strings.ContainsAny(v, ";|\n") || v != clean(v) {
			return fmt.Errorf("value %q is empty, has a ; or |, or repeats another", v)
		} else {
			seen[f] = true
		}
	}
	if c.Max != 0 && c.Min > c.Max {
		return fmt.Errorf("least value %d (Min) is above the greatest, %d (Max)", c.Min, c.Max)
	}
	if c.Example == "" {
		return nil
	}
	lay := newLayout(Kind{Name: "check", Columns: []Column{c}}, DatesISO)
	if p := lay.cols[0].checkCell(c.Example, new(noted)); p != nil {
		return fmt.Errorf("the example %q %s", c.Example, p.rule)
	}
	return nil
}

// fold reduces a header name or a choice to what tells it from another:
// letters and digits in one case, without spaces, underscores and hyphens.
func fold(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || r == '_' || r == '-' || unicode.Is(unicode.Cf, r) {
			return -1
		}
		return unicode.ToLower(r)
	}, name)
}

// layout is a kind prepared for reading: where each column is in the file and
// how its cells are understood. All rows of a table share one.
type layout struct {
	kind  Kind
	cols  []column       // by position in the kind
	index map[string]int // column name to position in the kind
	keys  []int          // positions of the key columns
	named map[string]int // folded name to position in the kind
	file  []int          // per cell of the file: position in the kind, or one of the below
	at    []int          // per column of the kind: cell of the file, -1 where absent
}

// What a cell of the file is when it belongs to no column of the kind.
const (
	ignored = -1 // an unknown column, or reasons
	unnamed = -2 // the header has no name here
)

// column is a Column with what its cells need to be read.
type column struct {
	Column
	dates    DateOrder
	required bool           // by itself or as part of the key
	choices  map[string]int // folded value to position in OneOf
}

// newLayout prepares a kind. It panics when a key names no column, which is an
// error of the program and not of any file.
func newLayout(k Kind, dates DateOrder) *layout {
	l := &layout{kind: k, index: map[string]int{}, named: map[string]int{}}
	for i, c := range k.Columns {
		col := column{Column: c, dates: dates, required: c.Required || slices.Contains(k.Key, c.Name)}
		if len(c.OneOf) > 0 {
			col.choices = make(map[string]int, len(c.OneOf))
			for j, v := range c.OneOf {
				col.choices[fold(v)] = j
			}
		}
		l.cols = append(l.cols, col)
		l.index[c.Name] = i
		l.named[fold(c.Name)] = i
		l.at = append(l.at, -1)
	}
	for _, name := range k.Key {
		l.keys = append(l.keys, l.position(name))
	}
	return l
}

// position returns where a column is in the kind. An unknown name is an error
// of the program, so it panics.
func (l *layout) position(name string) int {
	i, ok := l.index[name]
	if !ok {
		panic(fmt.Sprintf("sheet: kind %q has no column %q", l.kind.Name, name))
	}
	return i
}

// match counts the columns of the kind that a row names, to tell a header.
func (l *layout) match(cells []string) int {
	found := map[int]bool{}
	for _, c := range cells {
		if i, ok := l.named[fold(clean(c))]; ok {
			found[i] = true
		}
	}
	return len(found)
}
