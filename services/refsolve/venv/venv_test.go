package venv

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFolder(t *testing.T) {
	t.Parallel()
	_, err := folder(Absent)
	require.ErrorIs(t, err, ErrAbsent)

	at, err := folder("/some/where")
	require.NoError(t, err)
	require.Equal(t, "/some/where", at)

	at, err = folder("")
	require.NoError(t, err)
	require.Regexp(t, `^reference-[0-9a-f]{12}$`, filepath.Base(at))
}

func TestFindNamesTheRemedy(t *testing.T) {
	t.Parallel()
	at := t.TempDir()
	_, err := find(at)
	require.ErrorIs(t, err, os.ErrNotExist)
	require.ErrorContains(t, err, "go run ./cmd/verify reference")

	require.NoError(t, os.MkdirAll(filepath.Dir(Python(at)), 0o755))
	require.NoError(t, os.WriteFile(Python(at), nil, 0o755))
	python, err := find(at)
	require.NoError(t, err)
	require.Equal(t, Python(at), python)
}

func TestEveryRequirementIsPinned(t *testing.T) {
	t.Parallel()
	pinned := regexp.MustCompile(`^[a-z0-9-]+==[0-9.]+$`)
	count := 0
	for line := range strings.Lines(Requirements() + BenchRequirements()) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		count++
		require.Regexp(t, pinned, line)
	}
	require.GreaterOrEqual(t, count, 4)
}
