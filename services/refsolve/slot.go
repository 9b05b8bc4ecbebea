package refsolve

import (
	_ "embed"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

//go:embed slot.py
var slotScript []byte

// SlotResult is what CP-SAT found for a problem of handover slots, nil where it found no plan in time, and how long that took it in seconds.
type SlotResult struct {
	Value, Bound *int
	Seconds      float64
}

// SolveSlots gives problems of handover slots to CP-SAT, one after the other, each for at most so many seconds, and returns what it found, with
// the name and version of the library. Where the library is not installed the test fails and says what to run, or is skipped when the
// reference checks are left out on purpose.
func SolveSlots(t testing.TB, problems []*slots.Problem, seconds int) (found []SlotResult, version string) {
	t.Helper()
	var answer struct {
		Version  string
		Problems []SlotResult
	}
	ask(t, slotScript, map[string]any{"Seconds": seconds, "Problems": problems}, &answer)
	require.Len(t, answer.Problems, len(problems))
	return answer.Problems, answer.Version
}

//go:embed assign.py
var assignScript []byte

// SolveAssignments gives matrices of costs to SciPy's linear_sum_assignment and returns the least cost of each, with the library's name and
// version.
func SolveAssignments(t testing.TB, matrices [][][]int) (costs []int, version string) {
	t.Helper()
	var answer struct {
		Version string
		Costs   []int
	}
	ask(t, assignScript, matrices, &answer)
	require.Len(t, answer.Costs, len(matrices))
	return answer.Costs, answer.Version
}
