package exchange_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/sheet"
	"github.com/longlead/longlead/services/training"
)

// school is a database of its own with an exchange server on it.
type school struct {
	pool *postgres.Pool
	*exchange.Server
}

// newSchool is empty; full adds the scenario.
func newSchool(t testing.TB) school {
	t.Helper()
	pool := postgrestest.Database(t)
	return school{pool: pool, Server: exchange.NewServer(exchange.Deps{Pool: pool, Mint: ids.NewMint(), Now: time.Now,
		Caller: func(context.Context) string { return "test" }, Ports: allPorts()})}
}

func (s school) full(t testing.TB) school {
	t.Helper()
	report := s.take(t, exchange.Settings{}, scenariotest.Files(t)...)
	require.Empty(t, report.Faults)
	require.True(t, report.Imported)
	return s
}

func (s school) take(t testing.TB, settings exchange.Settings, files ...exchange.File) exchange.Report {
	t.Helper()
	report, err := s.Take(t.Context(), files, settings, func(exchange.Progress) {})
	require.NoError(t, err)
	return report
}

func (s school) give(t testing.TB, format string, kinds ...string) []exchange.File {
	t.Helper()
	files, err := s.Give(t.Context(), kinds, format)
	require.NoError(t, err)
	return files
}

// text is the export of one kind, without the mark that spreadsheet programs know UTF-8 by.
func (s school) text(t testing.TB, kind string) string {
	t.Helper()
	return strings.TrimPrefix(string(s.give(t, "csv", kind)[0].Content), "\ufeff")
}

// contents is every row of every table of ours, IDs and all.
func (s school) contents(t testing.TB) map[string][]string {
	t.Helper()
	tables, err := postgres.List[struct{ Name string }](t.Context(), s.pool, "list tables", `
		select schemaname || '.' || tablename as name from pg_tables
		where schemaname in ('facility', 'roster', 'enrollment', 'planner', 'training') order by 1`)
	require.NoError(t, err)
	require.Greater(t, len(tables), 20)
	all := map[string][]string{}
	for _, table := range tables {
		rows, err := postgres.List[struct{ Text string }](t.Context(), s.pool, "read "+table.Name,
			fmt.Sprintf(`select r::text as text from %s r order by 1`, table.Name))
		require.NoError(t, err)
		for _, row := range rows {
			all[table.Name] = append(all[table.Name], row.Text)
		}
	}
	return all
}

func file(name string, lines ...string) exchange.File {
	return exchange.File{Name: name, Content: []byte(strings.Join(lines, "\n") + "\n")}
}

// told is a fault without its remedy, which every fault has.
func told(t testing.TB, faults []sheet.Fault) []string {
	t.Helper()
	var out []string
	for _, f := range faults {
		require.NotEmpty(t, f.Remedy, f.String())
		require.NotContains(t, f.String(), "SQLSTATE")
		f.Remedy = ""
		out = append(out, f.String())
	}
	return out
}

func allPorts() []records.Port {
	ports := append(facility.Ports(), roster.Ports(scenariotest.RosterSites)...)
	ports = append(ports, enrollment.Ports(scenariotest.EnrollmentSites)...)
	ports = append(ports, planner.Ports()...)
	return append(ports, training.Ports(planner.TrainingKnown())...)
}
