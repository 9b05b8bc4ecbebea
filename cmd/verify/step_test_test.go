package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// TestTestStep runs the step on a module of two tests on a machine without a C compiler. It changes the environment and so
// does not run beside others.
func TestTestStep(t *testing.T) {
	t.Setenv("CC", "no-such-compiler")
	t.Setenv("GOFLAGS", "")
	w, r := repository(t)
	write(t, w.root, "go.mod", "module tiny\n\ngo 1.26\n")
	write(t, w.root, "tiny_test.go", `package tiny

import (
	"os"
	"testing"
)

func TestEnvironment(t *testing.T) {
	t.Logf("OUTSIDE\tvariable\tdoc\tabsent\t%s", os.Getenv("`+venv.Variable+`"))
	t.Logf("OUTSIDE\tbrowser\tdoc\tabsent\t%s", os.Getenv("`+venv.BrowserVariable+`"))
}

func TestAway(t *testing.T) { t.Skip("nothing here") }
`)
	require.Equal(t, pass("1 tests, 2 outside checks"), stepTest(t.Context(), w, r))
	require.Equal(t, []outsideCheck{{"tiny", "variable", "doc", "absent", "absent"}, {"tiny", "browser", "doc", "absent", "absent"}}, w.tests.outside)
	said := strings.Join(w.missing, "\n")
	require.Contains(t, said, "the race detector: no C compiler")
	require.Contains(t, said, "the reference checks: their step was skipped")
	require.Contains(t, said, "the browser's tests: their step was skipped")
	require.Contains(t, said, "test tiny TestAway: tiny_test.go:13: nothing here")

	write(t, w.root, "more_test.go", "package tiny\n\nimport \"testing\"\n\nfunc TestBad(t *testing.T) { t.Fatal(\"no\") }\n")
	require.Equal(t, fail("1 of 2 failed, first: tiny TestBad"), stepTest(t.Context(), w, r))

	write(t, w.root, "more_test.go", "package tiny\n\nfunc broken(\n")
	require.Equal(t, fail("1 of 1 failed, first: package tiny"), stepTest(t.Context(), w, r))
}
