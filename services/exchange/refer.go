package exchange

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// resolve looks every reference up and rejects rows that point to nothing, with what else is wrong with them.
func (run *intake) resolve(ctx context.Context, t *openTable) ([]records.Row, error) {
	rows := make([]records.Row, 0, len(t.Rows))
	for _, row := range t.Rows {
		refs := map[string]uuid.UUID{}
		var wrong []records.Wrong
		for _, c := range t.port.Kind.Columns {
			if c.Refers == "" || row.Text(c.Name) == "" {
				continue
			}
			code := row.Text(c.Name)
			if outer, ok := t.port.Within[c.Name]; ok {
				code = row.Text(outer) + "/" + code
			}
			known, err := run.known(ctx, c.Refers)
			if err != nil {
				return nil, err
			}
			id, ok := known[code]
			if !ok {
				wrong = append(wrong, run.missing(c, row.Line, row.Text(c.Name), code))
				continue
			}
			refs[c.Name] = id
		}
		whole := records.NewRow(row, refs)
		if len(wrong) == 0 {
			rows = append(rows, whole)
			continue
		}
		if t.port.Check != nil {
			wrong = append(wrong, t.port.Check(whole)...)
		}
		run.reject(t, row, wrong)
	}
	return rows, nil
}

// resolveRejected looks up the references of rows that reading rejected, so that people need not correct a row twice.
func (run *intake) resolveRejected(ctx context.Context, t *openTable) error {
	for i := range t.Rejected {
		rejected := &t.Rejected[i]
		for _, c := range t.port.Kind.Columns {
			code := t.raw(*rejected, c.Name)
			if c.Refers == "" || code == "" || slices.ContainsFunc(rejected.Faults, func(f sheet.Fault) bool { return f.Column == "" || f.Column == c.Name }) {
				continue
			}
			value := code
			if outer, ok := t.port.Within[c.Name]; ok {
				code = t.raw(*rejected, outer) + "/" + code
			}
			known, err := run.known(ctx, c.Refers)
			if err != nil {
				return err
			}
			if _, ok := known[code]; ok {
				continue
			}
			w := run.missing(c, rejected.Line, value, code)
			fault := sheet.Fault{File: t.File, Line: w.Line, Column: w.Column, Value: w.Value, Rule: w.Rule, Remedy: w.Remedy}
			rejected.Faults = append(slices.Clone(rejected.Faults), fault)
			t.Faults = append(t.Faults, fault)
		}
	}
	return nil
}

// known are the codes that a reference to a kind can hold at this point of the import.
func (run *intake) known(ctx context.Context, kind string) (map[string]uuid.UUID, error) {
	if codes, ok := run.codes[kind]; ok {
		return codes, nil
	}
	p := port(run.ports, kind)
	if p == nil || p.Codes == nil {
		panic("exchange: a column refers to " + kind + ", which no port offers codes of")
	}
	codes, err := p.Codes(ctx, run.tx)
	if err != nil {
		return nil, fmt.Errorf("look up the codes of %s: %w", kind, err)
	}
	run.codes[kind] = codes
	return codes, nil
}

// missing says what is wrong with a reference to nothing. code is the value with what it stands within.
func (run *intake) missing(c sheet.Column, line int, value, code string) records.Wrong {
	w := records.Wrong{Line: line, Column: c.Name, Value: value}
	meant := run.meant(c.Refers, code)
	file, lost := run.lost[c.Refers]
	switch {
	case run.spoiled[c.Refers][code]:
		w.Rule = "points to a row of " + c.Refers + " that was itself rejected"
		w.Remedy = "correct that row, and this one goes in with it"
	case meant != "":
		w.Rule = "is not among the " + c.Refers
		w.Remedy = "write " + meant + ": codes are told apart by capital letters too"
	case lost:
		w.Rule = "is not among the " + c.Refers + ", as far as they could be read"
		w.Remedy = "correct " + file + ", and look at this again"
	default:
		w.Rule = "is not among the " + c.Refers
		w.Remedy = "correct the code, or add it to " + c.Refers + " first"
	}
	return w
}

// meant is the code that differs from this one in capital letters only, without what it stands within; empty when there is none.
func (run *intake) meant(kind, code string) string {
	if run.folded[kind] == nil {
		run.folded[kind] = make(map[string]string, len(run.codes[kind]))
		for known := range run.codes[kind] {
			run.folded[kind][strings.ToLower(known)] = known
		}
	}
	known := run.folded[kind][strings.ToLower(code)]
	return known[strings.LastIndex(known, "/")+1:]
}

// spoilRejected notes the keys of rows that reading rejected. Where the header lacks a column of the key, all rows are lost.
func (run *intake) spoilRejected(t *openTable) {
	kind := t.port.Kind
	for _, key := range kind.Key {
		if _, ok := t.at[key]; !ok {
			run.lost[kind.Name] = t.File
			return
		}
	}
	for _, rejected := range t.Rejected {
		parts := make([]string, len(kind.Key))
		for i, key := range kind.Key {
			parts[i] = t.raw(rejected, key)
		}
		run.spoil(kind.Name, strings.Join(parts, "/"))
	}
}

func (run *intake) spoil(kind, code string) {
	if run.spoiled[kind] == nil {
		run.spoiled[kind] = map[string]bool{}
	}
	run.spoiled[kind][code] = true
}

// columnsAt finds the columns of the kind in the header as reading does.
func columnsAt(t sheet.Table) map[string]int {
	at := map[string]int{}
	for i, h := range t.Header {
		for _, c := range t.Kind.Columns {
			if _, twice := at[c.Name]; !twice && foldName(h) == foldName(c.Name) {
				at[c.Name] = i
			}
		}
	}
	return at
}

func foldName(name string) string {
	return strings.NewReplacer(" ", "", "_", "", "-", "").Replace(strings.ToLower(strings.TrimSpace(name)))
}

// raw is a cell of a rejected row as it stands in the file, without the quote that keeps spreadsheet programs from taking it for
// a formula or a number; empty when the file has no such column.
func (t *openTable) raw(rejected sheet.Rejected, column string) string {
	i, ok := t.at[column]
	if !ok || i >= len(rejected.Row) {
		return ""
	}
	cell := strings.TrimSpace(rejected.Row[i])
	if rest, quoted := strings.CutPrefix(cell, "'"); quoted && rest != "" && strings.IndexByte("=+-@0123456789", rest[0]) >= 0 {
		return rest
	}
	return cell
}
