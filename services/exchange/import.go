package exchange

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// chunk is how many rows go to the database at once, unless they must be seen together; progress is reported before each.
const chunk = 5000

// errRollback ends the transaction of an import that must change nothing; it never leaves this package.
var errRollback = errors.New("roll the import back")

// take imports tables in one transaction. Everything is written even when there are faults already, so that all faults of all
// files are found; then it is rolled back, unless bad rows may be skipped.
func take(ctx context.Context, pool *postgres.Pool, ports []records.Port, in records.Intake, read reading, settings Settings, tell func(Progress)) (Report, error) {
	var report Report
	err := postgres.InTx(ctx, pool, func(tx postgres.Tx) error {
		if err := waitForTurn(ctx, tx); err != nil {
			return err
		}
		run := newIntake(tx, ports, in, read, tell)
		report = Report{}
		if err := run.all(ctx); err != nil {
			return err
		}
		var err error
		if report, err = run.report(read.faults, settings); err != nil {
			return err
		}
		if settings.DryRun || len(read.faults) > 0 || (len(report.Faults) > 0 && !settings.SkipBad) {
			return errRollback
		}
		report.Imported = len(report.Faults) == 0 || report.taken() > 0
		return nil
	})
	if err != nil && !errors.Is(err, errRollback) {
		return Report{}, refused(err)
	}
	if !report.Imported && !settings.DryRun {
		for i := range report.Files {
			report.Files[i].Taken = 0
		}
	}
	return report, nil
}

// intake is one import under way.
type intake struct {
	tx     postgres.Tx
	ports  []records.Port
	in     records.Intake
	tables []*openTable
	tell   func(Progress)
	// codes are what references can point to, by kind; filled when first asked for and dropped when the kind is written.
	codes map[string]map[string]uuid.UUID
	// spoiled are the keys of rows that were rejected, by kind: a reference to one is a consequence, not a fault of its own.
	spoiled map[string]map[string]bool
	// lost are files that could not be read, by the kind that they hold.
	lost map[string]string
	// folded are the codes of a kind by their small letters, for telling what was meant.
	folded map[string]map[string]string
}

// openTable is a table with what was found wrong beyond its forms.
type openTable struct {
	sheet.Table
	port  records.Port
	taken int
	// at says where the columns of the kind stand in the rows of the file; absent when it has no such column.
	at map[string]int
}

func newIntake(tx postgres.Tx, ports []records.Port, in records.Intake, read reading, tell func(Progress)) *intake {
	run := &intake{tx: tx, ports: ports, in: in, tell: tell, lost: maps.Clone(read.lost),
		codes: map[string]map[string]uuid.UUID{}, spoiled: map[string]map[string]bool{}, folded: map[string]map[string]string{}}
	for _, p := range ports {
		for _, t := range read.tables {
			if t.Kind.Name == p.Kind.Name {
				t.Faults, t.Rejected = slices.Clone(t.Faults), slices.Clone(t.Rejected)
				run.tables = append(run.tables, &openTable{Table: t, port: p, at: columnsAt(t)})
			}
		}
	}
	return run
}

// all takes the tables in the order of the ports, so that what is referred to is there before what refers to it.
func (run *intake) all(ctx context.Context) error {
	seen := map[string]place{}
	for _, t := range run.tables {
		if err := ctx.Err(); err != nil {
			return err
		}
		run.spoilRejected(t)
		if err := run.resolveRejected(ctx, t); err != nil {
			return err
		}
		run.refuseRepeats(t, seen)
		rows, err := run.resolve(ctx, t)
		if err != nil {
			return err
		}
		rows = run.check(t, rows)
		if err := run.put(ctx, t, rows); err != nil {
			return err
		}
		delete(run.codes, t.port.Kind.Name)
		delete(run.folded, t.port.Kind.Name)
	}
	return nil
}

// place is where the row of a record was seen first.
type place struct {
	table *openTable
	line  int
}

// refuseRepeats rejects rows whose record stands in an earlier table of the same call; within a table, reading saw to it.
func (run *intake) refuseRepeats(t *openTable, seen map[string]place) {
	if len(t.port.Kind.Key) == 0 {
		return
	}
	t.Rows = slices.DeleteFunc(slices.Clone(t.Rows), func(row sheet.Row) bool {
		key := t.port.Kind.Name + "\x00" + row.Key()
		if first, ok := seen[key]; ok && first.table != t {
			rule := fmt.Sprintf("stands in %s line %d already", first.table.File, first.line)
			run.reject(t, row, []records.Wrong{{Line: row.Line, Rule: rule, Remedy: "keep one of the two rows"}})
			return true
		}
		seen[key] = place{t, row.Line}
		return false
	})
}

// check runs the kind's own rules on single rows.
func (run *intake) check(t *openTable, rows []records.Row) []records.Row {
	if t.port.Check == nil {
		return rows
	}
	return slices.DeleteFunc(rows, func(row records.Row) bool {
		wrong := t.port.Check(row)
		if len(wrong) > 0 {
			run.reject(t, row.Row, wrong)
		}
		return len(wrong) > 0
	})
}

// put writes rows, in chunks unless they must be seen together, and rejects those that the kind finds wrong while writing.
func (run *intake) put(ctx context.Context, t *openTable, rows []records.Row) error {
	size := chunk
	if t.port.Together {
		size = max(len(rows), 1)
	}
	for from := 0; from < len(rows); from += size {
		part := rows[from:min(from+size, len(rows))]
		run.tell(Progress{Kind: t.port.Kind.Name, Phase: "writing", Done: from, Of: len(rows)})
		wrong, err := t.port.Put(ctx, run.tx, run.in, part)
		if err != nil {
			return fmt.Errorf("write %s of %s: %w", t.port.Kind.Name, t.File, err)
		}
		byLine := map[int][]records.Wrong{}
		for _, w := range wrong {
			byLine[w.Line] = append(byLine[w.Line], w)
		}
		for _, row := range part {
			if found := byLine[row.Line]; len(found) > 0 {
				run.reject(t, row.Row, found)
			}
		}
		t.taken += len(part) - len(byLine)
	}
	run.tell(Progress{Kind: t.port.Kind.Name, Phase: "writing", Done: len(rows), Of: len(rows)})
	return nil
}

// reject moves a row to the rejected ones, with its faults.
func (run *intake) reject(t *openTable, row sheet.Row, wrong []records.Wrong) {
	faults := make([]sheet.Fault, len(wrong))
	for i, w := range wrong {
		faults[i] = sheet.Fault{File: t.File, Line: w.Line, Column: w.Column, Value: w.Value, Rule: w.Rule, Remedy: w.Remedy}
	}
	t.Rejected = append(t.Rejected, sheet.Rejected{Line: row.Line, Row: row.Raw(), Faults: faults})
	t.Faults = append(t.Faults, faults...)
	run.spoil(t.port.Kind.Name, strings.ReplaceAll(row.Key(), "|", "/"))
}

// report sums up, and writes the rejected rows into files of their own where bad rows may be skipped.
func (run *intake) report(fileFaults []sheet.Fault, settings Settings) (Report, error) {
	report := Report{Faults: slices.Clone(fileFaults)}
	left := settings.ShowRows
	for _, t := range run.tables {
		slices.SortStableFunc(t.Rejected, func(a, b sheet.Rejected) int { return cmp.Compare(a.Line, b.Line) })
		slices.SortStableFunc(t.Faults, func(a, b sheet.Fault) int { return cmp.Compare(a.Line, b.Line) })
		report.Faults = append(report.Faults, fewer(t.File, t.Faults)...)
		file := FileReport{Name: t.File, Kind: t.port.Kind.Name, Rows: t.taken + len(t.Rejected), Taken: t.taken, Rejected: len(t.Rejected), Notes: t.Notes, Sheet: t.Sheet}
		if left > 0 {
			file.Header, file.Shown = t.Header, t.shown(left)
			left -= min(left, len(t.Rejected))
		}
		if settings.SkipBad && len(t.Rejected) > 0 {
			var buffer bytes.Buffer
			name, format := rejectedName(t.Table)
			if err := sheet.WriteRejected(&buffer, format, t.Table); err != nil {
				return Report{}, fmt.Errorf("write the rejected rows of %s: %w", t.File, err)
			}
			file.RejectedName, file.RejectedContent = name, buffer.Bytes()
		}
		report.Files = append(report.Files, file)
	}
	return report, nil
}

// fewer cuts the faults of one table where nobody reads on, and says how many there were.
func fewer(file string, faults []sheet.Fault) []sheet.Fault {
	if len(faults) <= sheet.MaxFaults+1 {
		return faults
	}
	rule := fmt.Sprintf("has %d more faults, which are not listed", len(faults)-sheet.MaxFaults)
	return append(slices.Clone(faults[:sheet.MaxFaults]), sheet.Fault{File: file, Rule: rule, Remedy: "correct these first, then import again"})
}
