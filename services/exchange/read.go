package exchange

import (
	"errors"
	"fmt"
	"strings"

	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// readTables reads every file into the tables of its kinds. Faults that concern a file as a whole come back beside them.
func readTables(ports []records.Port, files []File, settings Settings) ([]sheet.Table, []sheet.Fault) {
	var (
		tables []sheet.Table
		faults []sheet.Fault
	)
	for _, file := range files {
		read, err := readFile(ports, file, settings)
		if err != nil {
			faults = append(faults, asFault(file.Name, err))
			continue
		}
		tables = append(tables, read...)
	}
	return tables, faults
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
	return book.Tables, nil
}

// asFault keeps a fault as it is and makes one of any other error.
func asFault(file string, err error) sheet.Fault {
	var fault sheet.Fault
	if errors.As(err, &fault) {
		return fault
	}
	return sheet.Fault{File: file, Rule: fmt.Sprintf("cannot be read: %v", err), Remedy: "save it again as CSV or XLSX"}
}
