// Package sheet reads and writes records as CSV files and Excel workbooks, for
// an office which keeps its lists in spreadsheets.
//
// A Kind says which columns a record has and what each cell may hold. Read
// turns a file into rows that are known to be good and a list of every fault
// in it: each with its line, its column, what is wrong and what to write
// instead. It never guesses: 3/4/2027 is a fault unless the reader was told
// which number is the day. Write, WriteBook and Template produce files that
// Read accepts, and a cell that was written comes in again unchanged.
//
// Two rules about cells, the same in both formats:
//
//   - Spaces at the ends are dropped, a non-breaking space is a space, a line
//     break inside a cell is a line feed. Control characters are faults.
//   - A cell of a CSV file that a spreadsheet program would take for a formula
//     is written with a single quote before it, and Read takes exactly that
//     quote away (see guard).
//
// The package knows nothing of dogs, sites or databases: whether a code in a
// cell exists is for the caller to look up.
package sheet

import "fmt"

// Limits of what Read accepts. They keep a wrong or hostile file from filling
// the memory; no list of a school comes near them.
const (
	MaxRows     = 300_000   // records in one file or sheet
	MaxColumns  = 200       // cells in one row
	MaxCell     = 32_767    // characters in a cell, the limit of Excel as well
	MaxLine     = 1 << 20   // bytes of one record of a CSV file
	MaxFile     = 256 << 20 // bytes of a file
	MaxUnzipped = 320 << 20 // bytes of a workbook when unpacked
	MaxFaults   = 10_000    // faults that a table collects
)

// DateOrder says how to read a date like 3/4/2027, in which day and month
// can't be told apart.
type DateOrder int

const (
	// DatesISO, the zero value, takes 2027-03-14 and every other form that can
	// mean one day only; 3/4/2027 is a fault.
	DatesISO DateOrder = iota
	// DatesDMY takes the first number for the day: 3/4/2027 is 3 April.
	DatesDMY
	// DatesMDY takes the first number for the month: 3/4/2027 is March 4.
	DatesMDY
)

// String returns the word that ParseDateOrder reads.
func (o DateOrder) String() string {
	switch o {
	case DatesDMY:
		return "dmy"
	case DatesMDY:
		return "mdy"
	default:
		return "iso"
	}
}

// ParseDateOrder reads iso, dmy or mdy, in any case; the empty text is iso.
func ParseDateOrder(text string) (DateOrder, error) {
	switch fold(text) {
	case "", "iso":
		return DatesISO, nil
	case "dmy":
		return DatesDMY, nil
	case "mdy":
		return DatesMDY, nil
	}
	return DatesISO, fmt.Errorf("date order %q is not known: write iso, dmy (day first) or mdy (month first)", text)
}

// Options change how Read takes a file. The zero value finds out by itself.
type Options struct {
	// Dates is the order of day and month in dates like 3/4/2027.
	Dates DateOrder
	// Encoding of a CSV file, such as "utf-8" or "windows-1252"; "" finds out.
	Encoding string
	// Separator of a CSV file; 0 finds out from the header row.
	Separator rune
	// Sheet of a workbook to read; "" takes the sheet named like the kind, else
	// the first one that is not hidden.
	Sheet string
	// Mends are cells that a person has corrected.
	Mends []Mend
}

// Table is what Read found in one file, or in one sheet of a workbook.
type Table struct {
	Kind       Kind
	File       string     // as given to Read; with the sheet, for a book
	Sheet      string     // sheet of the workbook; "" for CSV
	Header     []string   // column names as the file has them
	HeaderLine int        // line of the header row, from 1
	Rows       []Row      // the rows without a fault, in file order
	Rejected   []Rejected // the other rows, in file order
	Faults     []Fault    // every fault, by line; at most MaxFaults and a last one that says so
	Notes      []string   // what the reader should know about how the file was read

	separator rune // of the CSV file; 0 for a workbook
}

// OK reports whether the file has no fault at all.
func (t Table) OK() bool { return len(t.Faults) == 0 }

// Rejected is a row with at least one fault, as it stands in the file.
type Rejected struct {
	Line   int
	Row    []string // raw cells, in file order
	Faults []Fault  // why; never empty
}

// Read reads the records of one kind from a CSV file or an Excel workbook. The
// content decides which it is, not the name; file is used in messages only.
//
// The error says why the file can't be read as a table at all; it is a Fault.
// Everything else that is wrong is in Table.Faults, and Table.Rows holds the
// rows without one. Read panics when the kind itself is wrong (see Kind.Check).
func Read(file string, data []byte, k Kind, o Options) (Table, error) {
	format, err := sniff(file, data)
	if err != nil {
		return Table{}, err
	}
	if format == formatXLSX {
		return readXLSX(file, data, k, o)
	}
	return readCSV(file, data, k, o)
}
