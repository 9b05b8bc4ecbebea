package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// benchGrace is how long a solver may take beyond its limit to read the problem, build its programme and stop.
const benchGrace = 10 * time.Minute

// benchmark is one run of the side-by-side benchmark.
type benchmark struct {
	benchOptions
	root, folder            string
	out                     io.Writer
	engine, counter, python string
	results                 []benchResult
	missing                 []string
}

// benchResult is one solver's answer to one problem. Value is recounted; Bound is what the solver claims to have proven. Both are
// costs for the gap format. Seconds leaves out reading the problem file, Wall is the time of the whole process.
type benchResult struct {
	File    string   `json:"file"`
	Format  string   `json:"format"`
	Solver  string   `json:"solver"`
	Version string   `json:"version"`
	Threads int      `json:"threads"`
	Limit   float64  `json:"limit_seconds"`
	Value   *int64   `json:"value"` // nil without a plan
	Bound   int64    `json:"bound"`
	Gap     *float64 `json:"gap_percent"` // nil where there is none to tell
	Seconds float64  `json:"seconds"`
	Wall    float64  `json:"wall_seconds"`
	Peak    int64    `json:"peak_bytes"` // 0 where it cannot be told
	Failure string   `json:"failure,omitempty"`
}

// benchAnswer is what the programs write: ours the solution file, the others what solve.py writes.
type benchAnswer struct {
	Value, Bound int64
	Seconds      float64
	Version      string
	Threads      int
}

// prepare builds our programs and sees to the other solvers.
func (b *benchmark) prepare(ctx context.Context) error {
	fmt.Fprintln(b.out, "building longlead …")
	b.engine, b.counter = filepath.Join(b.folder, "longlead"), filepath.Join(b.folder, "recount")
	for _, program := range [][2]string{{b.engine, "./cmd/longlead"}, {b.counter, "./cmd/verify/recount"}} {
		cmd := exec.CommandContext(ctx, "go", "build", "-o", program[0], program[1])
		cmd.Dir = b.root
		if said, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("build %s: %w: %s", program[1], err, said)
		}
	}
	if len(b.solvers) > 0 {
		b.prepareSolvers(ctx)
	}
	return ctx.Err()
}

// prepareSolvers finds or makes the virtual environment, adds what is missing in it, and drops solvers that cannot be had.
func (b *benchmark) prepareSolvers(ctx context.Context) {
	r := &record{root: b.root, file: io.Discard}
	w := &work{root: b.root, logs: b.folder, out: b.out}
	fmt.Fprintln(b.out, "looking for the other solvers, installing what is missing …")
	if o := stepReference(ctx, w, r); o.state != passed {
		for _, s := range b.solvers {
			b.missing = append(b.missing, s+": "+o.note)
		}
		b.solvers = nil
		return
	}
	b.python = venv.Python(w.reference)
	b.solvers = slices.DeleteFunc(slices.Clone(b.solvers), func(s string) bool {
		err := b.install(ctx, r, s)
		if err != nil {
			b.missing = append(b.missing, fmt.Sprintf("%s: %v", s, err))
		}
		return err != nil
	})
}

// install sees that the pinned package of a solver is in the environment. HiGHS and CP-SAT are there by stepReference.
func (b *benchmark) install(ctx context.Context, r *record, solver string) error {
	name := map[string]string{"scip": "pyscipopt", "cbc": "pulp"}[solver]
	if name == "" {
		return nil
	}
	for line := range strings.Lines(venv.BenchRequirements()) {
		pinned := strings.TrimSpace(line)
		version, ok := strings.CutPrefix(pinned, name+"==")
		if !ok {
			continue
		}
		probe := fmt.Sprintf("import %s; from importlib.metadata import version; print(version(%q))", name, name)
		if have, err := r.output(ctx, b.python, "-I", "-c", probe); err == nil && strings.TrimSpace(have) == version {
			return nil
		}
		fmt.Fprintf(b.out, "installing %s\n", pinned)
		if said, err := r.both(ctx, b.python, "-m", "pip", "install", "--no-input", "--disable-pip-version-check", pinned); err != nil {
			return fmt.Errorf("pip could not install %s: %s", pinned, cut(said, 200))
		}
		if said, err := r.both(ctx, b.python, "-I", "-c", probe); err != nil {
			return fmt.Errorf("%s does not load: %s", pinned, cut(said, 200))
		}
		return nil
	}
	return fmt.Errorf("no version of %s is pinned", name)
}

// runAll gives each problem to each solver, one after the other, until ctx ends.
func (b *benchmark) runAll(ctx context.Context, problems []benchProblem) error {
	if load, err := os.ReadFile("/proc/loadavg"); err == nil {
		fmt.Fprintf(b.out, "load of the machine before the first run (1, 5, 15 minutes): %s\n", strings.Join(strings.Fields(string(load))[:3], " "))
	}
	broken := false
	for _, p := range problems {
		for _, limit := range b.seconds {
			for _, solver := range append([]string{ours}, b.solvers...) {
				if p.oursOnly && solver != ours {
					continue
				}
				fmt.Fprintf(b.out, "%s, %s, %g s … ", p.name, solver, limit)
				result := b.runOne(ctx, p, solver, limit)
				if ctx.Err() != nil {
					fmt.Fprintln(b.out, "interrupted")
					return errors.New("interrupted; the table has what was finished")
				}
				broken = broken || result.Failure != ""
				fmt.Fprintln(b.out, result.summary())
				b.results = append(b.results, result)
			}
		}
	}
	if broken {
		return errors.New("a solver failed; the table says which")
	}
	return nil
}

// runOne solves one problem with one solver and recounts the plan.
func (b *benchmark) runOne(ctx context.Context, p benchProblem, solver string, limit float64) benchResult {
	result := benchResult{File: p.name, Format: p.format, Solver: solver, Threads: b.threads, Limit: limit}
	answer := filepath.Join(b.folder, "answer.json")
	os.Remove(answer) // an old answer must never pass for a new one
	number := strconv.FormatFloat(limit, 'f', -1, 64)
	name, args := b.engine, []string{"solve", p.path, "--seconds", number, "--threads", fmt.Sprint(b.threads),
		"--seed", fmt.Sprint(p.seed), "--format", p.format, "--out", answer}
	if solver != ours {
		script := filepath.Join(b.root, "services", "refsolve", "solve.py")
		name, args = b.python, []string{"-I", script, solver, number, fmt.Sprint(b.threads), p.path, answer, p.format}
	}
	timed, cancel := context.WithTimeout(ctx, time.Duration(limit*float64(time.Second))+benchGrace)
	defer cancel()
	var said bytes.Buffer
	cmd := exec.CommandContext(timed, name, args...)
	ownGroup(cmd)
	cmd.Stdout, cmd.Stderr, cmd.WaitDelay = &said, &said, 10*time.Second
	start := time.Now()
	err := cmd.Run()
	result.Wall = time.Since(start).Seconds()
	if err == nil {
		result.Peak = peakMemory(cmd.ProcessState)
		err = b.readAnswer(ctx, p, answer, &result)
	} else if said.Len() > 0 {
		err = fmt.Errorf("%w: %s", err, said.String())
	}
	if err != nil {
		result.Failure = cut(err.Error(), 300)
	}
	return result
}

// readAnswer reads what a solver wrote and what our own check counts.
func (b *benchmark) readAnswer(ctx context.Context, p benchProblem, path string, result *benchResult) error {
	text, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("read the answer: %w", err)
	}
	cmd := exec.CommandContext(ctx, b.counter, p.format, p.path, path)
	var said bytes.Buffer
	cmd.Stderr = &said
	counted, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("recount: %w: %s", err, said.String())
	}
	return result.fill(text, counted)
}

// fill takes in a solver's answer and the recount. A value that differs from the recount, and a bound that the plan beats, are
// failures: one of the two readings of the rules is wrong.
func (r *benchResult) fill(answer, counted []byte) error {
	var a benchAnswer
	var c struct {
		Value    int64
		Complete bool
	}
	if err := errors.Join(json.Unmarshal(answer, &a), json.Unmarshal(counted, &c)); err != nil {
		return fmt.Errorf("read the answer: %w", err)
	}
	if r.Format == "gap" && r.Solver != ours {
		a.Value, a.Bound = -a.Value, -a.Bound // solve.py maximises
	}
	if a.Threads > 0 {
		r.Threads = a.Threads
	}
	r.Version, r.Bound, r.Seconds = a.Version, a.Bound, a.Seconds
	if !c.Complete {
		return nil
	}
	if a.Value != c.Value {
		return fmt.Errorf("the solver counts %d and our check %d", a.Value, c.Value)
	}
	over := a.Bound - c.Value
	if r.Format == "gap" {
		over = -over
	}
	r.Value = &c.Value
	if over < 0 {
		return fmt.Errorf("the bound %d is beaten by the plan, which is worth %d", a.Bound, c.Value)
	}
	if over == 0 || c.Value > 0 {
		gap := 0.0
		if over > 0 {
			gap = 100 * float64(over) / float64(c.Value)
		}
		r.Gap = &gap
	}
	return nil
}
