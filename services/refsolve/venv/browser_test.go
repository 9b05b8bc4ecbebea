package venv

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestBrowser(t *testing.T) {
	t.Parallel()
	_, err := browser(Absent)
	require.ErrorIs(t, err, ErrNoBrowser)
	_, err = browser("/no/such/program")
	require.ErrorContains(t, err, BrowserVariable)
	mine := filepath.Join(t.TempDir(), "mine")
	require.NoError(t, os.WriteFile(mine, []byte("#!/bin/sh\n"), 0o755))
	found, err := browser(mine)
	require.NoError(t, err)
	require.Equal(t, mine, found)
}

// TestNoBrowserNamesTheRemedy and the next are not parallel, as they change the environment.
func TestNoBrowserNamesTheRemedy(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := browser("")
	require.ErrorContains(t, err, "apt-get install chromium")
}

func TestNoRulesNameTheRemedy(t *testing.T) {
	cache := t.TempDir()
	t.Setenv("XDG_CACHE_HOME", cache)
	t.Setenv("HOME", cache)
	_, err := Axe()
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorContains(t, err, "go run ./cmd/verify browser")
	folder, err := AxeFolder()
	require.NoError(t, err)
	file := filepath.Join(folder, "node_modules", "axe-core", "axe.min.js")
	require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	found, err := Axe()
	require.NoError(t, err)
	require.Equal(t, file, found)

	t.Setenv(BrowserVariable, "")
	_, err = CalendarLibrary()
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorContains(t, err, "go run ./cmd/verify browser")
	t.Setenv(BrowserVariable, Absent)
	_, err = CalendarLibrary()
	require.ErrorIs(t, err, ErrNoBrowser)
}
