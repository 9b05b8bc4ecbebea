package exchange

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// readTables reads every file into the tables of its kinds. Faults that concern a file as a whole come back beside them.
func readTables(ctx context.Context, ports []records.Port, files []File, settings Settings, tell func(Progress)) ([]sheet.Table, []sheet.Fault, error) {
	var (
		tables []sheet.Table
		faults []sheet.Fault
		names  = map[string]bool{}
	)
	for i, file := range files {
		if err := ctx.Err(); err != nil {
			return nil, nil, fmt.Errorf("read the files: %w", err)
		}
		tell(Progress{Phase: "reading", Done: i, Of: len(files)})
		if names[file.Name] {
			faults = append(faults, sheet.Fault{File: file.Name, Rule: "is the name of two files", Remedy: "rename one, so that faults can be told apart: requests-2.csv holds requests as well"})
			continue
		}
		names[file.Name] = true
		read, err := readFile(ports, file, settings)
		if err != nil {
			faults = append(faults, asFaults(file.Name, err)...)
			continue
		}
		tables = append(tables, read...)
	}
	return tables, faults, nil
}

func readFile(ports []records.Port, file File, settings Settings) ([]sheet.Table, error) {
	options := sheet.Options{Dates: settings.Dates}
	if file.Kind != "" {
		p := port(ports, file.Kind)
		if p == nil {
			return nil, sheet.Fault{File: file.Name, Value: file.Kind, Rule: "is no kind of record", Remedy: "use one of " + kindNames(ports)}
		}
		table, err := sheet.Read(file.Name, file.Content, p.Kind, options)
		return []sheet.Table{table}, err
	}
	if p := kindOf(ports, file.Name); p != nil {
		table, err := sheet.Read(file.Name, file.Content, p.Kind, options)
		return []sheet.Table{table}, err
	}
	if !strings.HasSuffix(strings.ToLower(file.Name), ".xlsx") {
		return nil, sheet.Fault{File: file.Name, Rule: "does not say which records it holds",
			Remedy: "name it after its kind, such as requests.csv, or say --kind; the kinds are " + kindNames(ports)}
	}
	kinds := make([]sheet.Kind, len(ports))
	for i, p := range ports {
		kinds[i] = p.Kind
	}
	book, err := sheet.ReadBook(file.Name, file.Content, kinds, options)
	if err != nil {
		return nil, err
	}
	if len(book.Tables) == 0 {
		return nil, sheet.Fault{File: file.Name, Rule: "has no sheet named after a kind of record", Remedy: "name the sheets " + kindNames(ports)}
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
