// Package scenariotest helps tests that need the invented school of testdata/scenario: its files, what the kinds of record must know of its
// sites, and stays in March. It is test support: no program links it.
package scenariotest

import (
	"context"
	_ "embed"
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/testdata/scenario"
)

// Files returns the school's files, in the form in which they are imported.
func Files(t testing.TB) (files []exchange.File) {
	t.Helper()
	names, err := fs.Glob(scenario.FS, "*.csv")
	require.NoError(t, err)
	for _, name := range names {
		content, err := fs.ReadFile(scenario.FS, name)
		require.NoError(t, err)
		files = append(files, exchange.File{Name: name, Content: content})
	}
	return files
}

// RosterSites lists the sites for roster.Ports.
func RosterSites(ctx context.Context, db postgres.DB) (refs []roster.SiteRef, err error) {
	sites, err := facility.ListSites(ctx, db)
	for _, s := range sites {
		refs = append(refs, roster.SiteRef{ID: s.ID, Code: s.Code, Zone: s.Zone})
	}
	return refs, err
}

// EnrollmentSites lists the sites for enrollment.Ports.
func EnrollmentSites(ctx context.Context, db postgres.DB) (rules []enrollment.SiteRules, err error) {
	sites, err := facility.ListSites(ctx, db)
	for _, s := range sites {
		rules = append(rules, enrollment.SiteRules{ID: s.ID, Code: s.Code, RabiesWaitingDays: s.RabiesWaitingDays, RequiredVaccines: s.RequiredVaccines})
	}
	return rules, err
}

//go:embed march.sql
var march string

// FillMarch makes further stays until a day of March 2027 has twice the dogs or so: open requests move in beside those who are there, each with
// a trainer of the site. It stands for a published month, whose own rules are tested in package planner.
func FillMarch(t testing.TB, db postgres.DB) {
	t.Helper()
	_, err := db.Exec(t.Context(), march)
	require.NoError(t, err)
}
