package sheet

import (
	"errors"
	"fmt"
)

// BookTables is what ReadBook found in a workbook.
type BookTables struct {
	Tables []Table // one for each kind that has a sheet, in the order of the kinds
	Notes  []string
}

// Table returns the table of a kind; false when the workbook has no such sheet.
func (b BookTables) Table(kind string) (Table, bool) {
	for _, t := range b.Tables {
		if t.Kind.Name == kind {
			return t, true
		}
	}
	return Table{}, false
}

// Faults returns the faults of all tables, in the order of the tables.
func (b BookTables) Faults() []Fault {
	var all []Fault
	for _, t := range b.Tables {
		all = append(all, t.Faults...)
	}
	return all
}

// ReadBook reads every sheet of a workbook whose name is that of a kind, hidden
// or not. A kind without a sheet is left out, a sheet without a kind is noted.
// Options.Sheet is not used. The error says why the workbook, or one of these
// sheets, can't be read at all, or that no sheet has the name of a kind.
func ReadBook(file string, data []byte, kinds []Kind, o Options) (result BookTables, err error) {
	format, err := sniff(file, data)
	if err != nil {
		return BookTables{}, err
	}
	if format != formatXLSX {
		return BookTables{}, unreadable(file, "is not a workbook", "hand in an .xlsx file with a sheet per list, or read this list by itself")
	}
	defer guardDamage(file, &err)
	w, err := openBook(file, data)
	if err != nil {
		return BookTables{}, err
	}
	defer w.close()
	return w.readAll(kinds, o)
}

func (w *book) readAll(kinds []Kind, o Options) (BookTables, error) {
	sheets := map[string]string{}
	for _, name := range w.sheets() {
		if _, twice := sheets[fold(name)]; !twice {
			sheets[fold(name)] = name
		}
	}
	var result BookTables
	var faults []error
	taken := map[string]bool{}
	for _, k := range kinds {
		name, ok := sheets[fold(k.Name)]
		if !ok {
			continue
		}
		taken[name] = true
		t, err := w.read(w.file+" sheet "+name, name, nil, k, o)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		result.Tables = append(result.Tables, t)
	}
	for _, name := range w.sheets() {
		if !taken[name] && fold(name) != fold(aboutSheet) && fold(name) != fold(choicesSheet) {
			result.Notes = append(result.Notes, fmt.Sprintf("sheet '%s' is not named like a list and was not read", name))
		}
	}
	if len(faults) > 0 {
		return BookTables{}, errors.Join(faults...)
	}
	if len(taken) == 0 {
		var want []string
		for _, k := range kinds {
			want = append(want, k.Name)
		}
		return BookTables{}, unreadable(w.file, "has no sheet with the name of a list", "name the sheets "+quoteList(want))
	}
	return result, nil
}
