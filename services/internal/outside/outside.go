// Package outside helps tests compare our results with values that somebody else published. Each comparison that holds is
// logged as one tab-separated line, OUTSIDE name source want got, so that a program can collect them from "go test -v".
// The line is written only after the assertion passed: a failing comparison never appears as a confirmed one.
package outside

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Check requires got to equal want and then logs the comparison. name says what is compared; source says who published
// want (a document and section) or "from memory". Both must be filled in. Values are compared as testify compares them:
// 1 and int64(1) differ.
func Check(t testing.TB, name, source string, want, got any) {
	t.Helper()
	requireLabels(t, name, source)
	require.Equal(t, want, got, "%s (%s)", name, source)
	log(t, name, source, want, got)
}

// Near requires |want - got| <= tolerance and then logs the comparison with the tolerance beside the published value.
// A not-a-number or a negative tolerance fails.
func Near(t testing.TB, name, source string, want, got, tolerance float64) {
	t.Helper()
	requireLabels(t, name, source)
	off := math.Abs(want - got)
	// Written as "not within" so that NaN, which compares false with everything, fails.
	if !(off <= tolerance) {
		require.Failf(t, "not near the published value", "%s (%s): want %v within %v, got %v", name, source, want, tolerance, got)
	}
	log(t, name, source, fmt.Sprintf("%v (±%v)", want, tolerance), got)
}

func requireLabels(t testing.TB, name, source string) {
	t.Helper()
	require.NotEmpty(t, name, "an outside check needs a name")
	require.NotEmpty(t, source, "outside check %q needs the source of its value", name)
}

func log(t testing.TB, name, source string, want, got any) {
	t.Helper()
	t.Logf("OUTSIDE\t%s\t%s\t%s\t%s", field(name), field(source), field(want), field(got))
}

// field prints v on one line without tabs, so that the columns stay columns.
func field(v any) string {
	return strings.Join(strings.Fields(fmt.Sprint(v)), " ")
}
