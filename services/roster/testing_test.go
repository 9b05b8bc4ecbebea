package roster

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/postgrestest"
	"github.com/longlead/longlead/services/records"
	"github.com/longlead/longlead/services/sheet"
)

// realSites is the list of sites as the program wires it.
func realSites(ctx context.Context, db postgres.DB) ([]SiteRef, error) {
	sites, err := facility.ListSites(ctx, db)
	refs := make([]SiteRef, len(sites))
	for i, s := range sites {
		refs[i] = SiteRef{ID: s.ID, Code: s.Code, Zone: s.Zone}
	}
	return refs, err
}

// newTx is a transaction in a database of its own, with the sites HILL in Denver and LAKE in London.
func newTx(t *testing.T) postgres.Tx {
	t.Helper()
	return begin(t, postgrestest.Database(t))
}

// begin is newTx in a database that other tests use as well, one after the other: keys of open transactions would clash.
func begin(t *testing.T, pool *postgres.Pool) postgres.Tx {
	t.Helper()
	tx, err := pool.Begin(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, tx.Rollback(context.Background())) })
	putSites(t, tx)
	return tx
}

func putSites(t *testing.T, tx postgres.Tx) {
	t.Helper()
	require.Empty(t, importCSV(t, tx, kindSites, "code,name,zone,rabies_waiting_days,required_vaccines,floor_percent,clean_down_days,rules_note",
		"HILL,Hillside,America/Denver,28,rabies,100,1,", "LAKE,Lake,Europe/London,14,,100,0,"))
}

// siteID is the ID of HILL or LAKE.
func siteID(t *testing.T, db postgres.DB, code string) ids.SiteID {
	t.Helper()
	site, err := facility.FindSite(t.Context(), db, code)
	require.NoError(t, err)
	return site.ID
}

// newTrainer puts a trainer of HILL with some skills into the database.
func newTrainer(t *testing.T, tx postgres.Tx, code string) Trainer {
	t.Helper()
	tr := Trainer{ID: ids.TrainerID(uuid.New()), Code: code, Name: "Name of " + code, Email: strings.ToLower(code) + "@example.org",
		HomeSiteID: siteID(t, tx, "HILL"), MinutesADay: 360, MostDogs: 6, CareClasses: []string{"open", "guarded"}, Skills: map[string]int{"heel": 2, "recall": 3}}
	require.NoError(t, putTrainers(t.Context(), tx, []Trainer{tr}))
	return tr
}

// portOf finds a port of this package, or the one for sites.
func portOf(t *testing.T, kind string) records.Port {
	t.Helper()
	ports := append(facility.Ports(), Ports(realSites)...)
	i := slices.IndexFunc(ports, func(p records.Port) bool { return p.Kind.Name == kind })
	require.GreaterOrEqual(t, i, 0, kind)
	return ports[i]
}

// readRows reads lines of a CSV file and looks its references up, as an import does.
func readRows(t *testing.T, db postgres.DB, port records.Port, lines ...string) []records.Row {
	t.Helper()
	table, err := sheet.Read(port.Kind.Name+".csv", []byte(strings.Join(lines, "\n")+"\n"), port.Kind, sheet.Options{})
	require.NoError(t, err)
	require.Empty(t, table.Faults)
	require.Empty(t, port.Within)
	rows := make([]records.Row, len(table.Rows))
	for i, row := range table.Rows {
		refs := map[string]uuid.UUID{}
		for _, c := range port.Kind.Columns {
			if c.Refers == "" || !row.Has(c.Name) {
				continue
			}
			known, err := portOf(t, c.Refers).Codes(t.Context(), db)
			require.NoError(t, err)
			require.Contains(t, known, row.Text(c.Name), "line %d, %s", row.Line, c.Name)
			refs[c.Name] = known[row.Text(c.Name)]
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
	good := slices.DeleteFunc(readRows(t, tx, port, lines...), func(row records.Row) bool {
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
