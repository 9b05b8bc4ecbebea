package exchange

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// reading is what was found in the files of one import.
type reading struct {
	tables []sheet.Table
	// faults concern a file as a whole.
	faults []sheet.Fault
	// lost are files that could not be read, by the kind that they hold where that is known.
	lost map[string]string
}

// readFiles reads every file into the tables of its kinds.
func readFiles(ctx context.Context, ports []records.Port, files []File, settings Settings, tell func(Progress)) (reading, error) {
	found := reading{lost: map[string]string{}}
	names := map[string]bool{}
	for i, file := range files {
		if err := ctx.Err(); err != nil {
			return reading{}, fmt.Errorf("read the files: %w", err)
		}
		tell(Progress{Phase: "reading", Done: i, Of: len(files)})
		var err error
		var tables []sheet.Table
		if names[file.Name] {
			err = sheet.Fault{File: file.Name, Rule: "is the name of two files", Remedy: "rename one, so that faults can be told apart: requests-2.csv holds requests as well"}
		} else {
			tables, err = readFile(ports, file, settings)
		}
		names[file.Name] = true
		if err == nil {
			found.tables = append(found.tables, tables...)
			continue
		}
		found.faults = append(found.faults, asFaults(file.Name, err)...)
		if p := kindOf(ports, file.Name); file.Kind != "" {
			found.lost[file.Kind] = file.Name
		} else if p != nil {
			found.lost[p.Kind.Name] = file.Name
		}
	}
	return found, nil
}

func readFile(ports []records.Port, file File, settings Settings) ([]sheet.Table, error) {
	options := sheet.Options{Dates: settings.Dates, Mends: file.Mends}
	p, workbook := kindOf(ports, file.Name), strings.HasSuffix(strings.ToLower(file.Name), ".xlsx")
	switch {
	case file.Kind != "":
		if p = port(ports, file.Kind); p == nil {
			return nil, sheet.Fault{File: file.Name, Value: file.Kind, Rule: "is no kind of record", Remedy: "use one of " + kindNames(ports)}
		}
	case workbook:
		return readBook(ports, file, p, options)
	case p == nil:
		return nil, sheet.Fault{File: file.Name, Rule: "does not say which records it holds",
			Remedy: "name it after its kind, such as requests.csv, or say --kind; the kinds are " + kindNames(ports)}
	}
	table, err := sheet.Read(file.Name, file.Content, p.Kind, options)
	return []sheet.Table{table}, err
}

// readBook reads the sheets that are named after kinds. named is the kind that the file's name speaks of, or nil: when no sheet
// has that name, the workbook is taken for one with a single list.
func readBook(ports []records.Port, file File, named *records.Port, options sheet.Options) ([]sheet.Table, error) {
	kinds := make([]sheet.Kind, len(ports))
	for i, p := range ports {
		kinds[i] = p.Kind
	}
	book, err := sheet.ReadBook(file.Name, file.Content, kinds, options)
	if named != nil {
		if _, ok := book.Table(named.Kind.Name); !ok {
			table, single := sheet.Read(file.Name, file.Content, named.Kind, options)
			if err != nil && single == nil && foldName(table.Sheet) == foldName(named.Kind.Name) {
				return nil, err // it has the sheet; another one is at fault
			}
			return []sheet.Table{table}, single
		}
	}
	if err != nil {
		return nil, err
	}
	book.Tables[0].Notes = append(book.Tables[0].Notes, book.Notes...)
	return book.Tables, nil
}

// asFaults keeps faults as they are, also several in one error, and makes one of any other error.
func asFaults(file string, err error) []sheet.Fault {
	if several, ok := err.(interface{ Unwrap() []error }); ok {
		var all []sheet.Fault
		for _, one := range several.Unwrap() {
			all = append(all, asFaults(file, one)...)
		}
		return all
	}
	var fault sheet.Fault
	if errors.As(err, &fault) {
		return []sheet.Fault{fault}
	}
	return []sheet.Fault{{File: file, Rule: fmt.Sprintf("cannot be read: %v", err), Remedy: "save it again as CSV or XLSX"}}
}
