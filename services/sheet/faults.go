package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Fault is one thing that is wrong in a file. It is an error as well: Read
// returns one when the file is no table.
type Fault struct {
	File   string
	Line   int    // from 1; 0 when the fault is not of one line
	Column string // name in the Kind; "" when the fault is not of one column
	Value  string // the cell as it stands in the file; "" when it is empty
	Rule   string // what is wrong, such as "is not a date"
	Remedy string // what to do, such as "write it as 2027-02-28"
}

// String prints the fault on one line:
//
//	requests.csv line 41, column wished: "31.02.2027" is not a date: write it as 2027-02-28
func (f Fault) String() string {
	place := f.File
	if f.Line > 0 {
		place += " line " + strconv.Itoa(f.Line)
	}
	if f.Column != "" {
		place += ", column " + f.Column
	}
	return place + ": " + f.reason()
}

// Error makes a Fault an error; it is the same as String.
func (f Fault) Error() string { return f.String() }

// reason is the fault without its place.
func (f Fault) reason() string {
	text := f.Rule
	if f.Value != "" {
		text = strconv.Quote(shorten(f.Value)) + " " + text
	}
	if f.Remedy != "" {
		text += ": " + f.Remedy
	}
	return text
}

// FaultText prints faults, one to a line, and after the first limit of them
// only how many more there are. A limit of 0 or less prints all.
func FaultText(faults []Fault, limit int) string {
	var b strings.Builder
	for i, f := range faults {
		if limit > 0 && i == limit {
			fmt.Fprintf(&b, "and %d more\n", len(faults)-limit)
			break
		}
		b.WriteString(f.String())
		b.WriteByte('\n')
	}
	return b.String()
}

// shorten cuts a long cell for a message, between characters.
func shorten(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return s[:cut] + "…"
}

// problem is a fault that does not know its place yet.
type problem struct{ rule, remedy string }

func wrong(rule, remedy string) *problem { return &problem{rule, remedy} }

// unreadable is the error of a file that is no table.
func unreadable(file, rule, remedy string) error {
	return Fault{File: file, Rule: rule, Remedy: remedy}
}

// collector gathers the faults of one file up to MaxFaults.
type collector struct {
	file   string
	faults []Fault
	more   int // faults beyond the limit
}

// add keeps a fault of one row. Beyond the limit the file keeps none, but a row
// keeps its first, so that every rejected row has a reason.
func (c *collector) add(row []Fault, line int, column, value string, p *problem) []Fault {
	if len(c.faults) >= MaxFaults {
		c.more++
		if len(row) > 0 {
			return row
		}
	}
	f := Fault{File: c.file, Line: line, Column: column, Value: value, Rule: p.rule, Remedy: p.remedy}
	if len(c.faults) < MaxFaults {
		c.faults = append(c.faults, f)
	}
	return append(row, f)
}

// all returns the faults by line, with a last one when there were too many.
func (c *collector) all() []Fault {
	slices.SortStableFunc(c.faults, func(a, b Fault) int { return a.Line - b.Line })
	if c.more > 0 {
		c.faults = append(c.faults, Fault{
			File:   c.file,
			Rule:   fmt.Sprintf("has %d more faults, which are not listed", c.more),
			Remedy: "correct these first, then read the file again",
		})
	}
	return c.faults
}
