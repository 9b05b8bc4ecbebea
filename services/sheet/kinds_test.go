package sheet_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/longlead/longlead/services/sheet"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// requests uses every form; its records are invented.
func requests() sheet.Kind {
	return sheet.Kind{
		Name: "requests", About: "what owners asked for",
		Key: []string{"code"},
		Columns: []sheet.Column{
			{Name: "code", About: "your own name for the request", Form: sheet.FormCode, Example: "R-1042"},
			{Name: "dog", About: "the dog that comes", Form: sheet.FormCode, Required: true, Refers: "dogs", Example: "D-7"},
			{Name: "wished", About: "arrival day that the owner wishes", Form: sheet.FormDay, Required: true, Example: "2027-03-14"},
			{Name: "nights", About: "length of the stay", Form: sheet.FormWhole, Required: true, Min: 7, Max: 42, Example: "21"},
			{Name: "weight", About: "of the dog, in kg", Form: sheet.FormTenths, Min: 5, Max: 1200, Example: "24.5"},
			{Name: "call_at", About: "when to ring the owner", Form: sheet.FormClock, Example: "09:30"},
			{Name: "deposit", About: "paid", Form: sheet.FormYesNo, Example: "yes"},
			{Name: "priority", About: "how the request ranks", Form: sheet.FormChoice, OneOf: []string{"normal", "high", "returning guest"}, Example: "normal"},
			{Name: "sites", About: "where the dog may stay", Form: sheet.FormCode, Many: true, Refers: "sites", Example: "oak; elm"},
			{Name: "note", About: "anything else", Form: sheet.FormText, Max: 200},
		},
	}
}

// small is a kind for tests of one thing.
func small(columns ...sheet.Column) sheet.Kind {
	return sheet.Kind{Name: "things", Columns: columns}
}

// one reads a cell of a form from a CSV file, quoted.
func one(t *testing.T, c sheet.Column, cell string, o sheet.Options) sheet.Table {
	t.Helper()
	c.Name = "cell"
	k := small(c, sheet.Column{Name: "other"})
	table, err := sheet.Read("f.csv", []byte("cell,other\n\""+strings.ReplaceAll(cell, `"`, `""`)+"\",x\n"), k, o)
	require.NoError(t, err)
	require.Len(t, append(table.Rejected, make([]sheet.Rejected, len(table.Rows))...), 1)
	return table
}

func read(t *testing.T, file, text string, k sheet.Kind, o sheet.Options) sheet.Table {
	t.Helper()
	table, err := sheet.Read(file, []byte(text), k, o)
	require.NoError(t, err)
	requireConsistent(t, table)
	return table
}

// requireConsistent holds for every table: each fault says what and what to do,
// lines rise, and a row is either good or rejected for a reason.
func requireConsistent(t require.TestingT, table sheet.Table) {
	last := 0
	for _, f := range table.Faults {
		require.NotEmpty(t, f.Rule)
		require.NotEmpty(t, f.Remedy)
		if f.Line > 0 {
			require.GreaterOrEqual(t, f.Line, last)
			last = f.Line
		}
	}
	require.Equal(t, table.OK(), len(table.Faults) == 0)
	lines := map[int]bool{}
	for _, r := range table.Rows {
		require.False(t, lines[r.Line])
		lines[r.Line] = true
	}
	for _, r := range table.Rejected {
		require.NotEmpty(t, r.Faults)
		require.False(t, lines[r.Line])
		lines[r.Line] = true
	}
	if len(table.Faults) == 0 {
		require.Empty(t, table.Rejected)
	}
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

func write(t *testing.T, format string, k sheet.Kind, records [][]string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, sheet.Write(&b, format, k, records))
	return b.Bytes()
}

func texts(k sheet.Kind, rows []sheet.Row) [][]string {
	var all [][]string
	for _, r := range rows {
		var cells []string
		for _, c := range k.Columns {
			cells = append(cells, r.Text(c.Name))
		}
		all = append(all, cells)
	}
	return all
}
