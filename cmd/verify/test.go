package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/refsolve/venv"
)

// event is one line of go test -json.
type event struct {
	Action, Package, ImportPath, Test, Output string
}

// outsideCheck is a comparison with a value that somebody else published, as services/internal/outside logs it.
type outsideCheck struct{ pkg, name, source, want, got string }

// testName is a test, or a package when test is empty.
type testName struct{ pkg, test string }

func (n testName) String() string {
	short := strings.TrimPrefix(n.pkg, "github.com/longlead/longlead/")
	if n.test == "" {
		return "package " + short
	}
	return short + " " + n.test
}

// testRun is what a run of go test told us. Subtests count as tests; a package that fails without a failed test (it does not
// build, it times out, it exits) counts as one failure.
type testRun struct {
	passed, failed, skipped int
	failures, skips         []testName
	outside                 []outsideCheck

	output map[testName]*strings.Builder
	// broken tells packages in which a test has failed.
	broken map[string]bool
}

func newTestRun() *testRun {
	return &testRun{output: map[testName]*strings.Builder{}, broken: map[string]bool{}}
}

// outsideLine finds the columns in a line that t.Logf wrote, behind its file and line number.
var outsideLine = regexp.MustCompile(`(?m)OUTSIDE\t([^\t\n]+)\t([^\t\n]+)\t([^\t\n]*)\t([^\t\n]*)$`)

// read takes in the output of go test -json and writes it to log as go test -v would. A line that is no event (the go command
// has some) goes to the log as it is.
func (t *testRun) read(in io.Reader, log io.Writer) error {
	lines := bufio.NewReader(in)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			var e event
			if json.Unmarshal(line, &e) == nil && e.Action != "" {
				io.WriteString(log, e.Output)
				t.add(e)
			} else {
				log.Write(line)
			}
		}
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the output of go test: %w", err)
		}
	}
}

func (t *testRun) add(e event) {
	at := testName{e.Package, e.Test}
	switch e.Action {
	case "output":
		if t.output[at] == nil {
			t.output[at] = &strings.Builder{}
		}
		t.output[at].WriteString(e.Output)
	case "build-output":
		t.add(event{Action: "output", Package: builtFor(e.ImportPath), Output: e.Output})
	case "pass":
		if e.Test != "" {
			t.passed++
			t.collect(at)
		}
	case "skip":
		if e.Test != "" {
			t.skipped++
			t.skips = append(t.skips, at)
			t.collect(at)
		}
	case "fail":
		if e.Test == "" && t.broken[e.Package] {
			return
		}
		t.broken[e.Package] = true
		t.failed++
		t.failures = append(t.failures, at)
	}
}

// builtFor turns the import path of a build ("a/b [a/b.test]", "a/b_test [a/b.test]", "a/b.test") into that of the package
// that is tested.
func builtFor(path string) string {
	built, forTest, isForTest := strings.Cut(path, " [")
	if isForTest {
		built = strings.TrimSuffix(forTest, "]")
	}
	return strings.TrimSuffix(built, ".test")
}

// collect takes the outside checks from the output of a test that ended well. Its output is not needed after that.
func (t *testRun) collect(at testName) {
	out := t.output[at]
	if out == nil {
		return
	}
	for _, m := range outsideLine.FindAllStringSubmatch(out.String(), -1) {
		t.outside = append(t.outside, outsideCheck{at.pkg, m[1], m[2], m[3], m[4]})
	}
	if !slices.Contains(t.skips, at) {
		delete(t.output, at)
	}
}

// reason is the line of a skipped test that says why.
func (t *testRun) reason(at testName) string {
	if out := t.output[at]; out != nil {
		for line := range strings.Lines(out.String()) {
			line = strings.TrimSpace(line)
			if line != "" && !strings.HasPrefix(line, "===") && !strings.HasPrefix(line, "---") {
				return line
			}
		}
	}
	return "no reason given"
}

func stepTest(ctx context.Context, w *work, r *record) outcome {
	race, err := w.findCompiler(ctx, r)
	if err != nil {
		return fail("%v", err)
	}
	if w.reference == "" {
		w.reference = venv.Absent
		w.without("the reference checks: their step was skipped")
	}
	if w.browser == "" {
		w.browser = venv.Absent
		w.without("the browser's tests: their step was skipped")
	}
	args, env := []string{"test", "-json", "-count=1", "-timeout=50m"}, append(os.Environ(), venv.Variable+"="+w.reference, venv.BrowserVariable+"="+w.browser)
	if race {
		args, env = append(args, "-race"), append(env, "CGO_ENABLED=1")
	}
	run, out := runTests(ctx, w, r, env, append(args, "./..."))
	w.tests = run
	return out
}

// shortened are the packages in which some tests do less under the race detector, which makes them many times slower.
var shortened = []string{"./services/allocation", "./services/dayblocks", "./services/exchange", "./cmd/verify"}

// stepWhole runs those packages again without the race detector, so that nothing is left out.
func stepWhole(ctx context.Context, w *work, r *record) outcome {
	run, out := runTests(ctx, w, r, os.Environ(), append([]string{"test", "-json", "-count=1", "-timeout=50m"}, shortened...))
	if run == nil {
		return out
	}
	if w.tests == nil {
		w.tests = newTestRun()
	}
	w.tests.join(run)
	return out
}

// runTests runs go test and reads what it says; the run is nil when it could not be started.
func runTests(ctx context.Context, w *work, r *record, env, args []string) (*testRun, outcome) {
	cmd := r.command(ctx, "go", args...)
	cmd.Env, cmd.Stdout = env, nil
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, fail("%v", err)
	}
	if err := cmd.Start(); err != nil {
		return nil, fail("start go test: %v", err)
	}
	run := newTestRun()
	readErr := run.read(out, r.file)
	err = cmd.Wait()
	if readErr != nil {
		return run, fail("%v", readErr)
	}
	run.showFailures(r)
	for _, s := range run.skips {
		w.without("test %v: %s", s, run.reason(s))
	}
	return run, run.judge(err)
}

// join adds another run of some of the same tests. An outside check that both made counts once.
func (t *testRun) join(other *testRun) {
	t.passed, t.failed, t.skipped = t.passed+other.passed, t.failed+other.failed, t.skipped+other.skipped
	t.failures, t.skips = append(t.failures, other.failures...), append(t.skips, other.skips...)
	for _, f := range other.failures {
		t.output[f] = other.output[f]
	}
	for _, c := range other.outside {
		if !slices.Contains(t.outside, c) {
			t.outside = append(t.outside, c)
		}
	}
}

// judge says how the run went; err is that of the go command.
func (t *testRun) judge(err error) outcome {
	switch {
	case t.failed > 0:
		return fail("%d of %d failed, first: %v", t.failed, t.passed+t.failed, t.failures[0])
	case err != nil:
		return fail("no test failed, but go test did: %v", err)
	case t.passed == 0:
		return fail("no test ran")
	}
	return pass("%d tests, %d outside checks", t.passed, len(t.outside))
}

// failureLines is how much of each failed test is repeated.
const failureLines = 30

// eachFailure calls tell with every failed test and the end of what it printed.
func (t *testRun) eachFailure(tell func(testName, []string)) {
	for _, f := range t.failures {
		var lines []string
		if out := t.output[f]; out != nil {
			lines = strings.Split(strings.TrimRight(out.String(), "\n"), "\n")
			lines = lines[max(0, len(lines)-failureLines):]
		}
		tell(f, lines)
	}
}

// showFailures repeats the failed tests at the end of the log, where a reader looks first.
func (t *testRun) showFailures(r *record) {
	t.eachFailure(func(name testName, lines []string) {
		r.printf("\n--- failed: %v\n%s\n", name, strings.Join(lines, "\n"))
	})
}
