// Package services_test keeps the house rules that no compiler knows: which package may import which, where SQL and generated
// code may stand, how long a function may be. Each finding says what to do. The rules themselves are tried on small made-up
// trees in arch_fake_test.go.
package services_test

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/reflect/protoregistry"
)

func TestArchitecture(t *testing.T) {
	t.Parallel()
	whole, err := loadTree(os.DirFS(".."))
	require.NoError(t, err)
	// A rule that sees nothing finds nothing: make sure that we read the real tree.
	require.Greater(t, len(whole.sources), 50)
	names, _ := whole.tables()
	require.Greater(t, len(names), 10)

	rules := []struct {
		name  string
		check func(tree) []string
	}{
		{"imports run one way", checkLayers},
		{"pure packages stay pure", checkPure},
		{"pgx in stores only", checkPgx},
		{"generated code at the edge only", checkGenerated},
		{"a table is named in one package", checkTables},
		{"every package has a comment", checkPackageComments},
		{"folders have telling names", checkNames},
		{"no init functions", checkInit},
	}
	for _, rule := range rules {
		t.Run(rule.name, func(t *testing.T) {
			t.Parallel()
			report(t, rule.check(whole))
		})
	}
	t.Run("functions and files are short", func(t *testing.T) {
		t.Parallel()
		long, tooLong := checkSizes(whole)
		for _, l := range long {
			t.Log("long: ", l)
		}
		report(t, tooLong)
	})
	t.Run("every method has a permission", func(t *testing.T) {
		t.Parallel()
		methods, found := checkPermissions(whole.protos, protoregistry.GlobalFiles.FindFileByPath)
		require.Greater(t, methods, 5)
		report(t, found)
	})
}

func TestTopFolder(t *testing.T) {
	t.Parallel()
	out, err := exec.Command("git", "-C", "..", "ls-files").Output()
	if err != nil {
		// A source archive has no git; then every entry that is there counts.
		entries, err := os.ReadDir("..")
		require.NoError(t, err)
		var names []string
		for _, e := range entries {
			names = append(names, e.Name())
		}
		report(t, checkTop(names))
		return
	}
	names := strings.Fields(string(out))
	require.NotEmpty(t, names)
	report(t, checkTop(names))
}

func report(t *testing.T, found []string) {
	t.Helper()
	for _, f := range found {
		t.Error(f)
	}
}
