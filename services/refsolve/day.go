package refsolve

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

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
	python := findPython(t)
	program := filepath.Join(t.TempDir(), "day.py")
	require.NoError(t, os.WriteFile(program, dayScript, 0o644))
	in, err := json.Marshal(days)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, python, "-I", program)
	var said bytes.Buffer
	cmd.Stdin, cmd.Stderr = bytes.NewReader(in), &said
	out, err := cmd.Output()
	require.NoError(t, err, "run the reference solver of days: %s", &said)
	var answer struct {
		Version string
		Days    []DayResult
	}
	require.NoError(t, json.Unmarshal(out, &answer), "read the reference solver's answer: %s", out)
	require.Len(t, answer.Days, len(days))
	return answer.Days, answer.Version
}
