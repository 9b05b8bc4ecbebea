// Package scenario holds the invented school that the demo and the tests run on; README.md says what is awkward in it.
package scenario

import "embed"

// Month is the month that the scenario is about.
const Month = "2027-03"

// FS holds one CSV file for each kind of record, in the form that import takes.
//
//go:embed *.csv
var FS embed.FS
