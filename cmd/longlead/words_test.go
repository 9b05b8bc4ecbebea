package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

// TestWhatPeopleRead: tables fit a terminal of 120 columns, what is next is said, and --json is one document.
func TestWhatPeopleRead(t *testing.T) {
	t.Parallel()
	db := database(t)
	require.Contains(t, must(t, "plan", "list", db), "longlead plan draft MONTH")
	require.Contains(t, must(t, "import", "--dry-run", db, scenarioDir), "without --dry-run")
	require.Contains(t, must(t, "import", db, scenarioDir), "longlead plan draft MONTH")
	draft := must(t, "plan", "draft", "2027-03", "--iterations", "50", "--seconds", "60", db)
	require.Contains(t, draft, "longlead plan publish 2027-03/1")
	for _, args := range [][]string{{"template"}, {"plan", "list", db}, {"plan", "explain", "2027-03", "M-014", db}, {"plan", "show", "2027-03", db},
		{"plan", "moves", "2027-03", "--moves", "2", "--iterations", "50", db}, {"log", "list", "D-003", "--history", db}, {"log", "skills", "FIELD21", db}} {
		draft += must(t, args...)
	}
	for _, line := range strings.Split(draft, "\n") {
		if strings.HasPrefix(line, " - ") || strings.HasPrefix(line, "Waiting by") || strings.HasSuffix(line, "included.") {
			continue // sentences, which the terminal wraps
		}
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimRight(line, " ")), 120, line)
	}
	for _, args := range [][]string{
		{"version"}, {"template"}, {"migrate", db}, {"plan", "list", db}, {"plan", "show", "2027-03", db}, {"plan", "explain", "2027-03", "M-014", db},
		{"plan", "compare", "2027-03", "2027-03/1", db}, {"import", "--dry-run", db, scenarioDir}, {"plan", "publish", "2027-03", db},
		{"plan", "moves", "2027-03", "--moves", "2", "--iterations", "50", db}, {"log", "list", "D-003", db}, {"log", "skills", db},
	} {
		require.True(t, json.Valid([]byte(must(t, append(args, "--json")...))), args)
	}
}

// TestWorkbookComesBackThroughTheCommandLine writes a whole school as one workbook and takes it into an empty database; then one
// of its rows is wrong.
func TestWorkbookComesBackThroughTheCommandLine(t *testing.T) {
	t.Parallel()
	first, second, dir := database(t), database(t), t.TempDir()
	must(t, "import", first, scenarioDir)
	must(t, "export", "--format", "xlsx", "--to", dir, first)
	must(t, "import", second, filepath.Join(dir, "longlead.xlsx"))
	require.Equal(t, must(t, "export", "requests", "--to", "-", first), must(t, "export", "requests", "--to", "-", second))
	twice := call(t, "export", "--to", "-", second)
	require.Equal(t, exitUsage, twice.code)
	require.Contains(t, twice.err, "name one kind")

	// The same records stand in a second file: its rows are given back, beside it.
	copied := filepath.Join(dir, "folder")
	require.NoError(t, os.Mkdir(copied, 0o700))
	require.NoError(t, os.Rename(filepath.Join(dir, "longlead.xlsx"), filepath.Join(copied, "longlead.xlsx")))
	r := call(t, "import", "--skip-bad", database(t), filepath.Join(scenarioDir, "sites.csv"), filepath.Join(copied, "longlead.xlsx"))
	require.Equal(t, exitOK, r.code, r.out+r.err)
	require.Contains(t, r.out, "longlead.sites.rejected.xlsx")
	_, err := os.Stat(filepath.Join(copied, "longlead.sites.rejected.xlsx"))
	require.NoError(t, err)
}

func TestServersThatDoNotAnswer(t *testing.T) {
	t.Parallel()
	r := call(t, "plan", "list", "--database-url", "postgres://nobody@127.0.0.1:1/x")
	require.Equal(t, exitUnavailable, r.code, r.err)
	require.Contains(t, r.err, "correct --database-url")
	require.NotContains(t, strings.TrimSpace(r.err), "\n")
	r = call(t, "migrate", "--database-url", "postgres://nobody@127.0.0.1:1/x")
	require.Equal(t, exitUnavailable, r.code, r.err)
	r = call(t, "plan", "list", "--server", "127.0.0.1:1", "--token-file", "no-such-file")
	require.Equal(t, exitUsage, r.code, r.err)
	r = call(t, "plan", "list", "--database-url", "nonsense://")
	require.Equal(t, exitFailed, r.code)
	r = call(t, "plan", "list", "--data", "words_test.go")
	require.Equal(t, exitFailed, r.code)
}

func TestAnInterruptedImportLeavesNothing(t *testing.T) {
	t.Parallel()
	url := postgrestest.URL(postgrestest.Database(t))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	var out, errs strings.Builder
	require.Equal(t, exitInterrupted, run(ctx, []string{"import", "--database-url", url, scenarioDir}, streams{out: &out, err: &errs}), errs.String())
	require.Contains(t, errs.String(), "interrupted")
	require.NotContains(t, must(t, "export", "sites", "--to", "-", "--database-url", url), "DRUM")
}
