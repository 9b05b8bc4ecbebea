package main

import (
	"context"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve/venv"
)

func TestParseBench(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "p.json")
	require.NoError(t, os.WriteFile(file, nil, 0o644))
	all := otherSolvers
	tests := []struct {
		name, args string
		want       benchOptions
	}{
		{"nothing is the short run", "", benchOptions{sizes: []string{"X", "T", "S"}, solvers: all, seconds: []float64{10}, seeds: []uint64{1}, threads: 2}},
		{"flags on both sides", "-seconds 1,2.5 X " + file + " -seeds 3,4 XL -solvers cbc,scip -json out -threads 1",
			benchOptions{sizes: []string{"X", "XL"}, files: []string{file}, solvers: []string{"cbc", "scip"}, seconds: []float64{1, 2.5},
				seeds: []uint64{3, 4}, threads: 1, json: "out", chosen: true}},
		{"ours alone", "M -solvers none", benchOptions{sizes: []string{"M"}, seconds: []float64{10}, seeds: []uint64{1}, threads: 2, chosen: true}},
		{"a folder alone", "-gap dir", benchOptions{gap: "dir", solvers: all, seconds: []float64{10}, seeds: []uint64{1}, threads: 2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := parseBench(strings.Fields(tt.args), &strings.Builder{})
			require.NoError(t, err)
			require.Equal(t, tt.want, got)
		})
	}
	for args, want := range map[string]string{
		"HUGE": `"HUGE" is neither a size`, "-seconds 0": "above 0", "-seconds x": `"x"`, "-seconds NaN": "above 0", "-seeds -1": `"-1"`,
		"-solvers none,other": `no solver "other"`, "-threads 0": "one thread", "-seeds ,": "one seed",
	} {
		_, err := parseBench(strings.Fields(args), &strings.Builder{})
		require.ErrorContains(t, err, want, args)
	}
	help := &strings.Builder{}
	_, err := parseBench([]string{"X", "-h"}, help)
	require.ErrorIs(t, err, flag.ErrHelp)
	require.Contains(t, help.String(), benchLonger)
}

func TestFill(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, format, solver, answer, counted string
		value, gap, failure                   string
	}{
		{"a plan", "allocation", "highs", `{"value":80,"bound":100,"threads":1}`, `{"value":80,"complete":true}`, "80", "25.00%", ""},
		{"proven", "allocation", ours, `{"value":80,"bound":80}`, `{"value":80,"complete":true}`, "80", "0.00%", ""},
		{"nothing placed", "allocation", "cbc", `{"value":0,"bound":9}`, `{"value":0,"complete":true}`, "0", "-", ""},
		{"costs of ours", "gap", ours, `{"value":50,"bound":45}`, `{"value":50,"complete":true}`, "50", "10.00%", ""},
		{"costs of others change sign", "gap", "scip", `{"value":-50,"bound":-45}`, `{"value":50,"complete":true}`, "50", "10.00%", ""},
		{"jobs left over", "gap", "cpsat", `{"value":0,"bound":-45}`, `{"value":900,"complete":false}`, "no plan", "-", ""},
		{"counted otherwise", "allocation", "highs", `{"value":81,"bound":100}`, `{"value":80,"complete":true}`, "", "", "counts 81 and our check 80"},
		{"a bound below", "allocation", "highs", `{"value":80,"bound":79}`, `{"value":80,"complete":true}`, "", "", "beaten"},
		{"a cost below its bound", "gap", ours, `{"value":50,"bound":51}`, `{"value":50,"complete":true}`, "", "", "beaten"},
		{"no JSON", "allocation", "highs", `oh`, `{}`, "", "", "read the answer"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := benchResult{Format: tt.format, Solver: tt.solver, Threads: 2}
			err := r.fill([]byte(tt.answer), []byte(tt.counted))
			if tt.failure != "" {
				require.ErrorContains(t, err, tt.failure)
				return
			}
			require.NoError(t, err)
			require.Equal(t, []string{tt.value, tt.gap}, []string{r.row()[4], r.row()[6]})
		})
	}
}

func TestBenchTable(t *testing.T) {
	t.Parallel()
	out, value, gap := &strings.Builder{}, int64(1525), 2.5
	b := &benchmark{out: out, missing: []string{"cbc: no package"}, results: []benchResult{
		{File: "X-1", Solver: "scip", Version: "SCIP 10", Threads: 1, Limit: 10, Value: &value, Bound: 1563, Gap: &gap, Seconds: 9.876, Peak: 141e6},
		{File: "X-1", Solver: "highs", Threads: 2, Limit: 0.5, Failure: "killed"},
	}}
	b.report()
	require.Regexp(t, `(?m)^X-1 +scip +1 +10s +1525 +1563 +2\.50% +9\.88 +141 MB$`, out)
	require.Regexp(t, `(?m)^X-1 +highs +2 +0\.5s +failed( +-){4}$`, out)
	for _, line := range []string{"scip is SCIP 10\n", "failed: X-1, highs, 0.5 s: killed\n", "left out: cbc: no package\n"} {
		require.Contains(t, out.String(), line)
	}
}

// tinyProblem has two dogs, worth 10 and 20, and one intake place, so that 20 is best. tinyGAP has two agents with room for one
// job each; the cheapest way costs 1 + 2.
const (
	tinyProblem = `{"format":"allocation-problem","version":1,"name":"two","days":4,
"sites":[{"name":"only","runs":[{"class":"M","capacity":[2,2,2]}],"intake":[1,1,1],"handover":[2,2,2,2]}],
"trainers":[{"site":0,"works":[1,1,1],"minutes":[200,200,200],"dogs":[2,2,2]}],
"dogs":[{"nights":2,"placements":[{"site":0,"arrival":0,"value":10,"runs":[[0,0]],"trainers":[[0,0,60]]}]},
{"nights":2,"placements":[{"site":0,"arrival":0,"value":20,"runs":[[0,0]],"trainers":[[0,0,60]]}]}]}`
	tinyGAP = "2 2\n1 9\n5 2\n1 1\n1 1\n1 1\n"
)

// realBenchmark is a benchmark with built programs and those solvers that are installed already; it installs nothing.
func realBenchmark(t *testing.T) *benchmark {
	t.Helper()
	root, err := findRoot()
	require.NoError(t, err)
	dir := t.TempDir()
	o, err := parseBench([]string{"-seconds", "2", "-solvers", "none", "-gap", filepath.Join(dir, "gap")}, &strings.Builder{})
	require.NoError(t, err)
	write(t, dir, "gap/tiny", tinyGAP)
	write(t, dir, "gap/values.csv", "Path")
	write(t, dir, "tiny.json", tinyProblem)
	o.files = []string{filepath.Join(dir, "tiny.json")}
	b := &benchmark{benchOptions: o, root: root, folder: t.TempDir(), out: &strings.Builder{}}
	require.NoError(t, b.prepare(t.Context()))
	if b.python, err = venv.Find(); err != nil {
		t.Logf("ours alone: %v", err)
		return b
	}
	for solver, module := range map[string]string{"highs": "highspy", "cbc": "pulp", "scip": "pyscipopt", "cpsat": "ortools"} {
		if _, err := (&record{root: root, file: &strings.Builder{}}).output(t.Context(), b.python, "-I", "-c", "import "+module); err == nil {
			b.solvers = append(b.solvers, solver)
		}
	}
	slices.Sort(b.solvers)
	return b
}

func TestBenchForReal(t *testing.T) {
	t.Parallel()
	b := realBenchmark(t)
	problems, err := b.problems(t.Context())
	require.NoError(t, err)
	require.Len(t, problems, 2, "the table of values is no problem")
	require.NoError(t, b.runAll(t.Context(), problems), "%v", b.out)
	require.Len(t, b.results, 2*(1+len(b.solvers)))
	for _, r := range b.results {
		want := map[string]int64{"tiny.json": 20, "tiny": 3}[r.File]
		require.Empty(t, r.Failure)
		require.NotNil(t, r.Value, "%s %s", r.Solver, r.File)
		require.Equal(t, []int64{want, want}, []int64{*r.Value, r.Bound}, "%s %s", r.Solver, r.File)
		require.Positive(t, r.Peak)
	}
	text, err := json.Marshal(b.results)
	require.NoError(t, err)
	require.Contains(t, string(text), `"value":20,"bound":20,"gap_percent":0`)
}

func TestBenchInterrupted(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	b := &benchmark{benchOptions: benchOptions{seconds: []float64{1}, threads: 1}, folder: t.TempDir(), out: &strings.Builder{}, engine: "sleep"}
	require.ErrorContains(t, b.runAll(ctx, []benchProblem{{name: "x", path: "x"}}), "interrupted")
	require.Empty(t, b.results, "half an answer is none")
}

func TestASolverThatFailsIsTold(t *testing.T) {
	t.Parallel()
	b := &benchmark{benchOptions: benchOptions{seconds: []float64{1}, threads: 1}, folder: t.TempDir(), out: &strings.Builder{}, engine: "false"}
	require.ErrorContains(t, b.runAll(t.Context(), []benchProblem{{name: "x", path: "x"}}), "a solver failed")
	require.Equal(t, "failed", b.results[0].row()[4])
}
