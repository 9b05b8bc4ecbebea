package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// module is the first line of the go.mod that we look for.
const module = "module github.com/longlead/longlead"

// state is how a step ended.
type state string

const (
	passed  state = "passed"
	failed  state = "failed"
	leftOut state = "left out"
	notRun  state = "not run"
)

// outcome is how a step ended and what is worth saying about it on one line.
type outcome struct {
	state state
	note  string
}

func pass(format string, args ...any) outcome { return outcome{passed, fmt.Sprintf(format, args...)} }

func fail(format string, args ...any) outcome { return outcome{failed, fmt.Sprintf(format, args...)} }

// failOn turns an error into a failure and its absence into a pass.
func failOn(err error) outcome {
	if err != nil {
		return fail("%v", err)
	}
	return pass("")
}

// step is one check. needs names steps that must have run before it; they are added when only some steps are asked for.
type step struct {
	name, about string
	needs       []string
	run         func(context.Context, *work, *record) outcome
}

// done is a step that has ended.
type done struct {
	name string
	outcome
	took time.Duration
}

// work is one run of verify.
type work struct {
	root, logs, against string
	out                 io.Writer
	ci                  bool

	// reference is the value of LONGLEAD_REFERENCE for the tests, once the step has worked it out.
	reference string
	// browser is the value of LONGLEAD_BROWSER for the tests, likewise.
	browser string
	done    []done
	// missing lists what was left out inside steps that ran, each with the reason.
	missing []string
	tests   *testRun
}

// record is the log of one step. Commands run through it, so that the log holds them and all that they print.
type record struct {
	root string
	file io.Writer
	path string
}

// runAll runs the steps in order, whatever becomes of each, until ctx ends.
func (w *work) runAll(ctx context.Context, chosen []step) {
	for i, s := range chosen {
		if ctx.Err() != nil {
			w.done = append(w.done, done{s.name, outcome{notRun, "interrupted"}, 0})
			continue
		}
		w.runOne(ctx, i, s)
	}
}

func (w *work) runOne(ctx context.Context, i int, s step) {
	path := filepath.Join(w.logs, fmt.Sprintf("%02d-%s.log", i+1, s.name))
	fmt.Fprintf(w.out, "%-12s … ", s.name)
	start := time.Now()
	result, err := func() (outcome, error) {
		file, err := os.Create(path)
		if err != nil {
			return outcome{}, err
		}
		defer file.Close()
		return s.run(ctx, w, &record{root: w.root, file: file, path: path}), nil
	}()
	if err != nil {
		result = fail("open its log: %v", err)
	}
	d := done{s.name, result, time.Since(start)}
	w.done = append(w.done, d)
	fmt.Fprintf(w.out, "%s  %s  %s\n", d.state, seconds(d.took), d.note)
	if d.state == failed {
		w.showEnd(path)
	}
}

// shownLines is how much of a failed step's log is shown.
const shownLines = 40

// showEnd prints the end of a log, indented, and where the rest is.
func (w *work) showEnd(path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		fmt.Fprintf(w.out, "    (its log cannot be read: %v)\n", err)
		return
	}
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")
	if cut := len(lines) - shownLines; cut > 0 {
		lines = lines[cut:]
	}
	for _, l := range lines {
		fmt.Fprintf(w.out, "    %s\n", l)
	}
	fmt.Fprintf(w.out, "    whole log: %s\n", path)
}

// without notes something that was left out inside a step that ran.
func (w *work) without(format string, args ...any) {
	w.missing = append(w.missing, fmt.Sprintf(format, args...))
}

func (w *work) failed() bool {
	return slices.ContainsFunc(w.done, func(d done) bool { return d.state == failed || d.state == notRun })
}

// printf writes to the log.
func (r *record) printf(format string, args ...any) { fmt.Fprintf(r.file, format, args...) }

// command prepares a command in the project's root whose output goes to the log. Interrupting verify interrupts it.
func (r *record) command(ctx context.Context, name string, args ...string) *exec.Cmd {
	r.printf("$ %s %s\n", name, strings.Join(args, " "))
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = r.root, r.file, r.file
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 30 * time.Second
	return cmd
}

// run runs a command; its output goes to the log.
func (r *record) run(ctx context.Context, name string, args ...string) error {
	return explain(r.command(ctx, name, args...).Run(), name, args)
}

// output runs a command and returns what it writes to standard output; that goes to the log too.
func (r *record) output(ctx context.Context, name string, args ...string) (string, error) {
	var out bytes.Buffer
	cmd := r.command(ctx, name, args...)
	cmd.Stdout = io.MultiWriter(&out, r.file)
	err := cmd.Run()
	return out.String(), explain(err, name, args)
}

// both runs a command and returns all that it prints; that goes to the log too.
func (r *record) both(ctx context.Context, name string, args ...string) (string, error) {
	var out bytes.Buffer
	cmd := r.command(ctx, name, args...)
	cmd.Stdout = io.MultiWriter(&out, r.file)
	cmd.Stderr = cmd.Stdout
	err := cmd.Run()
	return out.String(), explain(err, name, args)
}

func explain(err error, name string, args []string) error {
	var exit *exec.ExitError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &exit):
		return fmt.Errorf("%s: %w", strings.Join(append([]string{name}, args[:min(2, len(args))]...), " "), err)
	}
	return fmt.Errorf("start %s: %w", name, err)
}

// findRoot finds the project's top folder above the working folder.
func findRoot() (string, error) {
	from, err := os.Getwd()
	if err != nil {
		return "", err
	}
	for at := from; ; at = filepath.Dir(at) {
		text, err := os.ReadFile(filepath.Join(at, "go.mod"))
		if first, _, _ := strings.Cut(string(text), "\n"); err == nil && strings.TrimSpace(first) == module {
			return at, nil
		}
		if at == filepath.Dir(at) {
			return "", fmt.Errorf("no go.mod with %q in %s or above; run this from inside the project", module, from)
		}
	}
}

// choose picks the named steps (all when none is named) and what they need, less those to skip, in the order of all.
func choose(all []step, names, skip []string) ([]step, error) {
	known := map[string]step{}
	for _, s := range all {
		known[s.name] = s
	}
	for _, name := range slices.Concat(names, skip) {
		if _, ok := known[name]; !ok {
			return nil, fmt.Errorf("there is no step %q; -list prints the steps", name)
		}
	}
	wanted := map[string]bool{}
	var want func(name string)
	want = func(name string) {
		wanted[name] = true
		for _, need := range known[name].needs {
			want(need)
		}
	}
	if len(names) == 0 {
		for _, s := range all {
			names = append(names, s.name)
		}
	}
	for _, name := range names {
		if !slices.Contains(skip, name) {
			want(name)
		}
	}
	return slices.DeleteFunc(slices.Clone(all), func(s step) bool { return !wanted[s.name] || slices.Contains(skip, s.name) }), nil
}
