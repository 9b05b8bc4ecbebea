// Package refsolve solves allocation problems with general solvers that others wrote (HiGHS and OR-Tools CP-SAT), so that
// tests can compare our engine's plans and bounds with theirs, and so days and handover slots; works out heat indices with MetPy; and fits learning curves with
// SciPy. It is test support: no program links it. All of it runs in the virtual environment that package venv describes.
package refsolve

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/refsolve/venv"
)

// Solver names a general solver.
type Solver string

// The solvers that can be asked.
const (
	HiGHS Solver = "highs"
	CPSAT Solver = "cpsat"
)

// threads is how many threads a solver may use.
const threads = 2

// grace is how long a solver may take beyond its limit to start, build the programme and stop.
const grace = 2 * time.Minute

//go:embed solve.py
var script []byte

// Result is what a solver found. Value is the worth of Placements, recounted by allocation.Check; Bound is the solver's own
// upper bound, rounded down to a whole number; Optimal says that the solver claims to have proven its plan.
type Result struct {
	Value, Bound int64
	Optimal      bool
	Placements   []allocation.Placement
	// Version names the solver and its version, for the source of an outside check.
	Version string
}

// Solve gives the problem to a solver for at most limit (rounded to milliseconds) and returns the best plan found. Where the
// solvers are not installed the test fails and says what to run, or is skipped when they are left out on purpose. A plan that
// allocation.Check refuses, or counts differently, fails the test: then the two readings of the rules differ.
func Solve(t testing.TB, p *allocation.Problem, solver Solver, limit time.Duration) Result {
	t.Helper()
	python := findPython(t)
	folder := t.TempDir()
	problem, program, answer := filepath.Join(folder, "problem.json"), filepath.Join(folder, "solve.py"), filepath.Join(folder, "answer.json")
	require.NoError(t, os.WriteFile(program, script, 0o644))
	var text bytes.Buffer
	require.NoError(t, allocation.WriteProblem(&text, p))
	require.NoError(t, os.WriteFile(problem, text.Bytes(), 0o644))

	ctx, cancel := context.WithTimeout(t.Context(), limit+grace)
	defer cancel()
	cmd := exec.CommandContext(ctx, python, "-I", program, string(solver), strconv.FormatFloat(limit.Seconds(), 'f', 3, 64),
		strconv.Itoa(threads), problem, answer)
	said, err := cmd.CombinedOutput()
	require.NoError(t, err, "run the reference solver %s: %s", solver, said)
	out, err := os.ReadFile(answer)
	require.NoError(t, err)
	return readResult(t, p, solver, out)
}

// SolveFile is Solve for a problem file, plain or compressed.
func SolveFile(t testing.TB, path string, solver Solver, limit time.Duration) Result {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	p, err := allocation.ReadProblem(f)
	require.NoError(t, err, path)
	return Solve(t, p, solver, limit)
}

func findPython(t testing.TB) string {
	t.Helper()
	python, err := venv.Find()
	if errors.Is(err, venv.ErrAbsent) {
		t.Skip(err)
	}
	require.NoError(t, err)
	return python
}

func readResult(t testing.TB, p *allocation.Problem, solver Solver, out []byte) Result {
	t.Helper()
	var r Result
	require.NoError(t, json.Unmarshal(out, &r), "read the answer of %s: %s", solver, out)
	value, err := allocation.Check(p, r.Placements)
	require.NoError(t, err, "%s made a plan that our check refuses", r.Version)
	require.Equal(t, r.Value, value, "%s and our check count its plan differently", r.Version)
	require.GreaterOrEqual(t, r.Bound, r.Value, "%s gives a bound below its own plan", r.Version)
	return r
}
