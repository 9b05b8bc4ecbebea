package refsolve

import (
	_ "embed"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
)

//go:embed day.py
var dayScript []byte

// DayResult is what CP-SAT found for a day: nil where it says that there is no plan.
type DayResult struct{ Value, Bound *int }

// SolveDays gives days to CP-SAT, one after the other, and returns what it found, with the name and version of the library. Where the
// library is not installed the test fails and says what to run, or is skipped when the reference checks are left out on purpose.
func SolveDays(t testing.TB, days []*dayblocks.Day) (found []DayResult, version string) {
	t.Helper()
	var answer struct {
		Version string
		Days    []DayResult
	}
	ask(t, dayScript, days, &answer)
	require.Len(t, answer.Days, len(days))
	return answer.Days, answer.Version
}
