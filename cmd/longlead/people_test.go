package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

// TestPeopleOnTheCommandLine has somebody let people in, change them and shut them out.
func TestPeopleOnTheCommandLine(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db := "--database-url=" + postgrestest.URL(postgrestest.Database(t))
	empty := must(t, "people", "list", db)
	require.Contains(t, empty, "Nobody may sign in yet")

	added := must(t, "people", "add", "Jo.Marsh", "--name", "Jo Marsh", "--role", "manager", db)
	require.Regexp(t, `shown only now: [a-z2-9-]{19}\n`, added)
	require.Contains(t, added, "sign in as jo.marsh")
	require.Contains(t, added, "choose one of their own")
	file := filepath.Join(dir, "password")
	require.NoError(t, os.WriteFile(file, []byte("ponds under seven lanterns\nsecond line\n"), 0o600))
	given := must(t, "people", "add", "wren", "--name", "Wren Castleyard", "--role", "office", "--password-file", file, "--keep", db)
	require.NotContains(t, given, "shown only now")
	require.NotContains(t, given, "ponds")
	require.NotContains(t, given, "choose one")

	list := must(t, "people", "list", db)
	requireNarrow(t, list)
	require.Contains(t, list, "jo.marsh")
	require.NotContains(t, must(t, "people", "list", "--json", db), "argon2id")
	changed := must(t, "people", "change", "wren", "--role", "manager", db)
	require.Contains(t, changed, "Wren Castleyard", "what is not given stays")
	require.Contains(t, changed, "manager")
	require.Contains(t, must(t, "people", "disable", "wren", db), "is shut out")
	r := call(t, "people", "disable", "jo.marsh", db)
	require.Equal(t, exitRefused, r.code)
	require.Contains(t, r.err, "last manager")
	require.Contains(t, must(t, "people", "list", db), "shut out")
	must(t, "people", "enable", "wren", db)
	require.Contains(t, must(t, "people", "password", "wren", db), "shown only now")

	for _, wrong := range []struct {
		args []string
		code int
		says string
	}{
		{[]string{"people", "change", "nobody", "--role", "office"}, exitRefused, "nobody with the login"},
		{[]string{"people", "add", "x", "--name", "X", "--role", "boss"}, exitUsage, "must be a role"},
		{[]string{"people", "add", "x", "--name", "X", "--role", "office", "--site", "MOON"}, exitUsage, "MOON"},
		{[]string{"people", "password", "wren", "--password-file", filepath.Join(dir, "none")}, exitUsage, "cannot be read"},
	} {
		r := call(t, append(wrong.args, db)...)
		require.Equal(t, wrong.code, r.code, "%v: %s", wrong.args, r.err)
		require.Contains(t, r.err, wrong.says)
	}
}

func TestDemoPeople(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var out strings.Builder
	std := streams{out: &out, err: &out}
	o := &Options{Data: dir, DatabaseURL: postgrestest.URL(postgrestest.Database(t))}
	a, err := openApp(t.Context(), o, std, 0)
	require.NoError(t, err)
	t.Cleanup(a.Close)
	require.NoError(t, loadScenario(t.Context(), a, o, std))
	require.NoError(t, letPeopleIn(t.Context(), a, o, std))
	path := filepath.Join(dir, "people.txt")
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	first, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, out.String(), path)
	lines := strings.Split(strings.TrimSpace(string(first)), "\n")
	require.Len(t, lines, 5)
	for _, line := range lines {
		fields := strings.Fields(line)
		require.Len(t, fields, 3)
		require.NotContains(t, out.String(), fields[2], "no password on the screen")
	}
	require.NoError(t, letPeopleIn(t.Context(), a, o, std))
	again, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, first, again, "who is there keeps their password")
}
