// Package exchange takes records in from spreadsheets and gives them out again.
//
// It knows no kind of record itself: each service declares its own (records.Port), and the wiring hands them over in import
// order. What this package adds is what concerns several kinds at once: which file holds which kind, references from one kind
// to another, and one transaction around everything, so that a bad file changes nothing.
package exchange

import (
	"path"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// File is one file as it was sent.
type File struct {
	Name string
	// Kind is the name of the kind; empty to go by the file's name or, in a workbook, by its sheets.
	Kind    string
	Content []byte
	// Mends stand in place of cells of the file.
	Mends []sheet.Mend
}

// Settings say how to take files in.
type Settings struct {
	// SkipBad imports the good rows and gives the bad ones back, where otherwise nothing is imported.
	SkipBad bool
	// DryRun checks everything and changes nothing.
	DryRun bool
	Dates  sheet.DateOrder
	// ShowRows is how many rows with a fault are shown as they stand, with the rows around them.
	ShowRows int
}

// Report says what came of an import.
type Report struct {
	// Imported is true when rows were written for good.
	Imported bool
	Files    []FileReport
	// Faults are all faults, by file and line.
	Faults []sheet.Fault
}

// FileReport is about one file, or one sheet of a workbook.
type FileReport struct {
	Name     string
	Kind     string
	Rows     int
	Taken    int
	Rejected int
	Notes    []string
	// RejectedName and RejectedContent are a file of the rejected rows with their reasons; only with SkipBad.
	RejectedName    string
	RejectedContent []byte
	// Sheet of a workbook; empty for CSV.
	Sheet string
	// Header and Shown are the file as it stands, where something is wrong with it; only with ShowRows.
	Header []string
	Shown  []ShownRow
}

// ShownRow is a row as it stands in its file.
type ShownRow struct {
	Line  int
	Cells []string
	// Faults are empty in a row that stands beside a faulty one.
	Faults []sheet.Fault
	// At is, for each fault, the number of its cell; -1 when it is about none.
	At []int
}

// taken counts the rows that were written.
func (r Report) taken() int {
	n := 0
	for _, f := range r.Files {
		n += f.Taken
	}
	return n
}

// Progress is how far an import has come.
type Progress struct {
	Kind  string
	Phase string
	Done  int
	Of    int
}

// port returns the port of a kind, or nil.
func port(ports []records.Port, name string) *records.Port {
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == name })
	if i < 0 {
		return nil
	}
	return &ports[i]
}

// kindOf finds the kind that a file name speaks of: its name without folder and ending is the kind's name, or begins with
// it, as in requests-march.csv. Of several the longest wins; nil when there is none.
func kindOf(ports []records.Port, file string) *records.Port {
	stem := strings.ToLower(strings.TrimSuffix(path.Base(strings.ReplaceAll(file, `\`, "/")), path.Ext(file)))
	stem = strings.NewReplacer(" ", "-", "_", "-").Replace(stem)
	var best *records.Port
	for i := range ports {
		name := ports[i].Kind.Name
		if stem == name || strings.HasPrefix(stem, name+"-") || strings.HasPrefix(stem, name+".") {
			if best == nil || len(name) > len(best.Kind.Name) {
				best = &ports[i]
			}
		}
	}
	return best
}

// kindNames lists the names of all kinds for a message.
func kindNames(ports []records.Port) string {
	names := make([]string, len(ports))
	for i, p := range ports {
		names[i] = p.Kind.Name
	}
	return strings.Join(names, ", ")
}
