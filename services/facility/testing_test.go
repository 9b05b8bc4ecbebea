package facility

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// days makes a span of days written as its first and last one.
func days(first, last string) calendar.Span {
	return calendar.Span{From: calendar.MustDate(first), To: calendar.MustDate(last).AddDays(1)}
}

// newSite puts a site with a code of its own into the database.
func newSite(t *testing.T, tx postgres.Tx, code string) Site {
	t.Helper()
	site := Site{ID: ids.SiteID(uuid.New()), Code: code + "-" + uuid.NewString()[:8], Name: code, Zone: "America/Denver",
		RabiesWaitingDays: 28, RequiredVaccines: []string{"rabies"}, FloorPercent: 100}
	require.NoError(t, putSites(t.Context(), tx, []Site{site}))
	return site
}

// newRun puts a run of 2.4 by 1.2 metres into the database.
func newRun(t *testing.T, tx postgres.Tx, site Site, code string) Run {
	t.Helper()
	run := Run{ID: ids.RunID(uuid.New()), SiteID: site.ID, Code: code, Row: "A", LengthMM: 2400, WidthMM: 1200, HeightMM: 1800}
	require.NoError(t, putRuns(t.Context(), tx, []Run{run}))
	return run
}

// closuresOf lists the closures of one run as texts.
func closuresOf(t *testing.T, db postgres.DB, run Run) []string {
	t.Helper()
	runs, err := ListRuns(t.Context(), db)
	require.NoError(t, err)
	i := slices.IndexFunc(runs, func(r Run) bool { return r.ID == run.ID })
	require.GreaterOrEqual(t, i, 0)
	out := []string{}
	for _, c := range runs[i].Closures {
		out = append(out, c.Days.String()+" "+c.Reason)
	}
	return out
}

// commit runs fn in a transaction that stays.
func commit(t *testing.T, pool *postgres.Pool, fn func(tx postgres.Tx)) {
	t.Helper()
	require.NoError(t, postgres.InTx(t.Context(), pool, func(tx postgres.Tx) error { fn(tx); return nil }))
}

func portOf(t *testing.T, kind string) records.Port {
	t.Helper()
	ports := Ports()
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == kind })
	require.GreaterOrEqual(t, i, 0, kind)
	return ports[i]
}

// readRows reads lines of a CSV file and looks its references up, as an import does.
func readRows(ctx context.Context, t *testing.T, db postgres.DB, port records.Port, lines ...string) []records.Row {
	t.Helper()
	table, err := sheet.Read(port.Kind.Name+".csv", []byte(strings.Join(lines, "\n")+"\n"), port.Kind, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, table.Faults)
	rows := make([]records.Row, len(table.Rows))
	for i, row := range table.Rows {
		refs := map[string]uuid.UUID{}
		for _, c := range port.Kind.Columns {
			if c.Refers == "" || !row.Has(c.Name) {
				continue
			}
			code := row.Text(c.Name)
			if outer, ok := port.Within[c.Name]; ok {
				code = row.Text(outer) + "/" + code
			}
			known, err := portOf(t, c.Refers).Codes(ctx, db)
			require.NoError(t, err)
			require.Contains(t, known, code, "line %d, %s", row.Line, c.Name)
			refs[c.Name] = known[code]
		}
		rows[i] = records.NewRow(row, refs)
	}
	return rows
}

// importCSV checks rows and puts those that pass, as an import does, and returns what was wrong.
func importCSV(t *testing.T, tx postgres.Tx, kind string, lines ...string) []records.Wrong {
	t.Helper()
	port := portOf(t, kind)
	var wrong []records.Wrong
	good := slices.DeleteFunc(readRows(t.Context(), t, tx, port, lines...), func(row records.Row) bool {
		if port.Check == nil {
			return false
		}
		found := port.Check(row)
		wrong = append(wrong, found...)
		return len(found) > 0
	})
	more, err := port.Put(t.Context(), tx, records.Intake{Mint: uuid.New, Now: time.Now(), By: "test"}, good)
	require.NoError(t, err)
	return append(wrong, more...)
}

// exportCSV lists a kind as lines, its header first, with cells joined by commas; no cell of these tests holds a comma.
func exportCSV(t *testing.T, db postgres.DB, kind string) []string {
	t.Helper()
	port := portOf(t, kind)
	rows, err := port.List(t.Context(), db)
	require.NoError(t, err)
	header := make([]string, len(port.Kind.Columns))
	for i, c := range port.Kind.Columns {
		header[i] = c.Name
	}
	lines := []string{strings.Join(header, ",")}
	for _, row := range rows {
		require.Len(t, row, len(header))
		lines = append(lines, strings.Join(row, ","))
	}
	return lines
}
