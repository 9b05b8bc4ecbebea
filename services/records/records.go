// Package records says how one kind of record gets into the database from a spreadsheet and out again. Each service declares
// a Port for each kind it keeps; the exchange service puts them in order and runs them in one transaction. So the columns,
// the checks and the SQL of a kind stand in the service that owns it, and reading files stands in one place.
package records

import (
	"context"
	"time"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/sheet"
)

// Port is the way in and out of one kind of record.
type Port struct {
	// Kind names the columns.
	Kind sheet.Kind
	// Within makes a composite reference: a column whose code is unique only inside what another column of the row names.
	// {"run": "site"} looks the cells up as "HILL/12".
	Within map[string]string
	// Check finds what is wrong in one row beyond the forms of its cells; may be nil.
	Check func(Row) []Wrong
	// Put writes rows that passed Check: new ones are inserted, those with a known key are updated. What it finds wrong with
	// single rows it returns and does not write; the other rows are written.
	Put func(ctx context.Context, tx postgres.Tx, in Intake, rows []Row) ([]Wrong, error)
	// Together says that Put holds rows against each other, beyond their keys, and must see all rows of a file at once: a row may
	// take what another one, far below it, gives up.
	Together bool
	// List returns every record as cells, in the order of the columns, sorted by key.
	List func(ctx context.Context, db postgres.DB) ([][]string, error)
	// Codes maps the code that other kinds refer to (composite ones joined by "/") to the ID; nil when none refers to it.
	Codes func(ctx context.Context, db postgres.DB) (map[string]uuid.UUID, error)
}

// Intake is who brings records in, and when.
type Intake struct {
	// Mint makes new IDs.
	Mint ids.Mint
	// Now is the instant of the import.
	Now time.Time
	// By names the person or token.
	By string
}

// Row is one row whose references have been looked up.
type Row struct {
	sheet.Row
	refs map[string]uuid.UUID
}

// NewRow joins a row and what its reference columns point to.
func NewRow(row sheet.Row, refs map[string]uuid.UUID) Row { return Row{Row: row, refs: refs} }

// Ref returns the ID that a reference column points to; the zero UUID when the cell is empty.
func (r Row) Ref(column string) uuid.UUID { return r.refs[column] }

// Wrong is one thing wrong with one row.
type Wrong struct {
	// Line is the row's line in its file.
	Line int
	// Column is the column to mend; empty when it is the row as a whole.
	Column string
	// Value is what stands there.
	Value string
	// Rule is the rule that it breaks.
	Rule string
	// Remedy is what to do.
	Remedy string
}

// Wrong makes a Wrong about one column of the row.
func (r Row) Wrong(column, rule, remedy string) Wrong {
	value := ""
	if column != "" {
		value = r.Text(column)
	}
	return Wrong{Line: r.Line, Column: column, Value: value, Rule: rule, Remedy: remedy}
}

// Cells turns records into rows of cells, for List.
func Cells[T any](all []T, row func(T) []string) [][]string {
	out := make([][]string, len(all))
	for i, one := range all {
		out[i] = row(one)
	}
	return out
}
