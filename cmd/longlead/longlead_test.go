package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/postgrestest"
)

// envProgram makes the test binary behave as the program, for tests of signals and of several processes.
const envProgram = "LONGLEAD_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(envProgram) != "" {
		main()
	}
	os.Exit(m.Run())
}

// scenarioDir is the invented school.
const scenarioDir = "../../testdata/scenario"

// result is what a command line did.
type result struct {
	code     int
	out, err string
}

// call runs a command line in this process.
func call(t *testing.T, args ...string) result {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(t.Context(), args, streams{out: &out, err: &errs})
	return result{code, out.String(), errs.String()}
}

// must runs a command line and requires that it succeeds.
func must(t *testing.T, args ...string) string {
	t.Helper()
	r := call(t, args...)
	require.Equal(t, exitOK, r.code, "longlead %s\n%s\n%s", strings.Join(args, " "), r.out, r.err)
	return r.out
}

// database is a migrated database of the test's own, as a flag.
func database(t *testing.T) string {
	t.Helper()
	return "--database-url=" + postgrestest.URL(postgrestest.Database(t))
}

// copyScenario copies the school into a folder that the test may change.
func copyScenario(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	names, err := tablesIn(os.DirFS(scenarioDir))
	require.NoError(t, err)
	for _, name := range names {
		content, err := os.ReadFile(filepath.Join(scenarioDir, name))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), content, 0o600))
	}
	return dir
}

// replaceIn changes the first occurrence of a text in a file.
func replaceIn(t *testing.T, path, from, to string) {
	t.Helper()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(content), from)
	require.NoError(t, os.WriteFile(path, []byte(strings.Replace(string(content), from, to, 1)), 0o600))
}

func TestCommandLinesThatMakeNoSense(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"", exitUsage, "expected one of"},
		{"plna", exitUsage, "unexpected argument plna"},
		{"plan draft", exitUsage, "<month>"},
		{"import no-such-folder", exitUsage, "there is no file or folder no-such-folder"},
		{"solve", exitUsage, "--generate SIZE"},
		{"solve --generate HUGE", exitUsage, "HUGE"},
		{"solve --seconds=-1 longlead_test.go", exitUsage, "cannot be negative"},
		{"solve longlead_test.go", exitFaults, "longlead_test.go"},
		{"solve --format gap longlead_test.go", exitFaults, "longlead_test.go"},
		{"template unicorns", exitRefused, "no kind of record \"unicorns\""},
		{"plan list --server localhost:1", exitUsage, "--token-file"},
		{"plan list --server localhost:1 --token-file longlead_test.go --database-url x", exitUsage, "exclude each other"},
		{"serve --server localhost:1 --token-file longlead_test.go", exitUsage, "makes no sense"},
		{"plan list --server 127.0.0.1:1 --token-file longlead_test.go", exitUnavailable, "refused"},
		{"--help", exitOK, "Exit codes"},
		{"version", exitOK, "solver"},
	} {
		t.Run(c.args, func(t *testing.T) {
			t.Parallel()
			r := call(t, strings.Fields(c.args)...)
			require.Equal(t, c.code, r.code, r.out+r.err)
			require.Contains(t, r.out+r.err, c.says)
			require.NotContains(t, r.err, "goroutine", "no stack reaches a person")
		})
	}
}

func TestTemplatesAreReadAgain(t *testing.T) {
	t.Parallel()
	var kinds struct{ Kinds []struct{ Name string } }
	require.NoError(t, json.Unmarshal([]byte(must(t, "template", "--json")), &kinds))
	require.Len(t, kinds.Kinds, 34)
	dir := t.TempDir()
	db := database(t)
	for _, k := range kinds.Kinds {
		for _, format := range []string{"csv", "xlsx"} {
			path := filepath.Join(dir, k.Name+"."+format)
			must(t, "template", k.Name, "--format", format, "--to", path)
			r := call(t, "import", "--dry-run", "--json", db, path)
			var report struct {
				Files  []struct{ Kind string }
				Faults []struct{ Column, Rule string }
			}
			require.NoError(t, json.Unmarshal([]byte(r.out), &report), r.err)
			require.Len(t, report.Files, 1)
			require.Equal(t, k.Name, report.Files[0].Kind)
			for _, f := range report.Faults {
				require.Contains(t, f.Rule, "is not among the", "%s.%s: only what it refers to may be missing", k.Name, format)
			}
		}
	}
}

func TestSchoolThroughTheCommandLine(t *testing.T) {
	t.Parallel()
	db := database(t)
	dir := copyScenario(t)
	replaceIn(t, filepath.Join(dir, "requests.csv"), "M-001,", "M-001x,")
	bad := call(t, "import", db, dir)
	require.Equal(t, exitFaults, bad.code, bad.out+bad.err)
	require.Contains(t, bad.out, "request-sites.csv line")
	require.Contains(t, bad.out, "nothing was imported")
	require.Contains(t, must(t, "export", "sites", "--to", "-", db), "code,name")
	require.Len(t, strings.Split(strings.TrimSpace(must(t, "export", "sites", "--to", "-", db)), "\n"), 1, "nothing is there")

	must(t, "import", db, scenarioDir)
	require.Len(t, strings.Split(strings.TrimSpace(must(t, "export", "sites", "--to", "-", db)), "\n"), 5)

	first := must(t, "plan", "draft", "2027-03", "--iterations", "200", "--seconds", "60", db)
	for _, word := range []string{"of 260 requests placed", "proven bound", "gap", "run nights", "trainer hours", "handover places", "could not be placed by any plan", "DRUM", "TARN"} {
		require.Contains(t, first, word)
	}
	must(t, "plan", "draft", "2027-03", "--iterations", "50", "--seconds", "60", "--seed", "2", db)
	require.Contains(t, must(t, "plan", "list", db), "2027-03/2")
	require.Contains(t, must(t, "plan", "compare", "2027-03/1", "2027-03/2", db), "requests are treated differently")
	require.Contains(t, must(t, "plan", "explain", "2027-03/1", "M-014", db), "rabies counts from 2027-03-20 only")
	require.Contains(t, must(t, "plan", "show", "2027-03/1", "--uses", db), "price of one more")
	require.Contains(t, must(t, "plan", "publish", "2027-03/1", db), "0 given up")

	moves := must(t, "plan", "moves", "2027-03", "--moves", "1,3", "--iterations", "2000", "--seconds", "120", db)
	for _, words := range []string{"promises that could stay or move; done", "proven bound", "by the whole policy"} {
		require.Contains(t, moves, words)
	}
	require.Equal(t, moves, must(t, "plan", "moves", "2027-03", "--last", db))
	require.Equal(t, exitRefused, call(t, "plan", "moves", "2027-04", "--last", db).code)
	require.Equal(t, exitUsage, call(t, "plan", "moves", "2027-03", "--moves", "-1", db).code)

	again := call(t, "plan", "publish", "2027-03/1", db)
	require.Equal(t, exitRefused, again.code)
	require.Contains(t, again.err, "published already")
	stale := call(t, "plan", "publish", "2027-03/2", db)
	require.Equal(t, exitRefused, stale.code)
	require.Contains(t, stale.err, "have changed")
	require.Equal(t, exitRefused, call(t, "plan", "show", "2027-03/9", db).code)
	require.Equal(t, exitRefused, call(t, "plan", "explain", "2027-03", "M-999", db).code)
	wrong := call(t, "plan", "draft", "2027-99", db)
	require.Equal(t, exitUsage, wrong.code)
	require.NotContains(t, wrong.err, "rpc error", "the codes around what a server said are for programs")

	var shown struct{ Plan struct{ State string } }
	require.NoError(t, json.Unmarshal([]byte(must(t, "plan", "show", "2027-03/1", "--json", db)), &shown))
	require.Equal(t, "PLAN_STATE_PUBLISHED", shown.Plan.State)
}

func TestSkipBadGivesTheRestBack(t *testing.T) {
	t.Parallel()
	db := database(t)
	dir := copyScenario(t)
	owners := filepath.Join(dir, "owners.csv")
	content, err := os.ReadFile(owners)
	require.NoError(t, err)
	lines := strings.SplitAfter(string(content), "\n")
	require.NoError(t, os.WriteFile(owners, []byte(lines[0]+",No Code,nobody@example.com,555-0100\n"+strings.Join(lines[1:], "")), 0o600))
	r := call(t, "import", "--skip-bad", db, dir)
	require.Equal(t, exitOK, r.code, r.out+r.err)
	require.Contains(t, r.out, "owners.rejected.csv")
	rejected, err := os.ReadFile(filepath.Join(dir, "owners.rejected.csv"))
	require.NoError(t, err)
	require.Contains(t, string(rejected), "reasons")
	require.Contains(t, string(rejected), "No Code")
	must(t, "import", db, dir+"/requests.csv")
}

// process is the program running on its own.
type process struct {
	*exec.Cmd
	mu  sync.Mutex
	out bytes.Buffer
}

func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.out.Write(b)
}

func (p *process) text() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.out.String()
}

func start(t *testing.T, args ...string) *process {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	p := &process{Cmd: exec.CommandContext(context.Background(), self, args...)}
	p.Env = append(os.Environ(), envProgram+"=1")
	p.Stdout, p.Stderr = p, p
	require.NoError(t, p.Start())
	t.Cleanup(func() { _ = p.Process.Kill(); _ = p.Wait() })
	return p
}

func (p *process) waitFor(t *testing.T, text string) {
	t.Helper()
	require.Eventually(t, func() bool { return strings.Contains(p.text(), text) }, 5*time.Minute, 20*time.Millisecond, "waiting for %q", text)
}

// stop sends a signal and returns the exit code.
func (p *process) stop(t *testing.T, signal os.Signal) int {
	t.Helper()
	require.NoError(t, p.Process.Signal(signal))
	done := make(chan struct{})
	go func() { _ = p.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(30 * time.Second):
		t.Fatalf("it does not stop:\n%s", p.text())
	}
	return p.ProcessState.ExitCode()
}

func TestInterruptedDraftIsCancelled(t *testing.T) {
	t.Parallel()
	db := database(t)
	must(t, "import", db, scenarioDir)
	p := start(t, "plan", "draft", "2027-03", "--seconds", "300", db)
	require.Eventually(t, func() bool { return strings.Contains(must(t, "plan", "list", db), "drafting") }, time.Minute, 100*time.Millisecond)
	require.Equal(t, exitInterrupted, p.stop(t, syscall.SIGINT), p.text())
	require.Contains(t, p.text(), "is cancelled")
	require.Contains(t, must(t, "plan", "list", db), "cancelled")
}

// TestServeAndItsClients runs the demo on a private database: it serves, a second process shares its database, another talks
// to it over the network, it stops cleanly in the middle of a draft, and the next process finishes that draft.
func TestServeAndItsClients(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	p := start(t, "demo", "--data", data, "--seconds", "2", "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	p.waitFor(t, "Stop with Ctrl-C")
	require.Contains(t, p.text(), "of 260 requests placed")
	_, after, found := strings.Cut(p.text(), "and gRPC on ")
	require.True(t, found, p.text())
	address, _, _ := strings.Cut(after, ". ")
	require.Contains(t, must(t, "plan", "list", "--server", address, "--token-file", filepath.Join(data, "token")), "published")
	require.Contains(t, must(t, "plan", "list", "--data", data), "published", "a second process shares the database")
	wrongToken := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(wrongToken, []byte("guess"), 0o600))
	refused := call(t, "plan", "list", "--server", address, "--token-file", wrongToken)
	require.Equal(t, exitRefused, refused.code)
	require.Contains(t, refused.err, "not known")

	d := start(t, "plan", "draft", "2027-03", "--seconds", "15", "--server", address, "--token-file", filepath.Join(data, "token"))
	require.Eventually(t, func() bool { return strings.Contains(must(t, "plan", "list", "--data", data), "drafting") }, time.Minute, 50*time.Millisecond)
	require.Equal(t, exitOK, p.stop(t, syscall.SIGTERM), p.text())
	require.Contains(t, p.text(), "Stopped.")
	_ = d.Wait()

	second := start(t, "serve", "--data", data, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0")
	second.waitFor(t, "Stop with Ctrl-C")
	require.Eventually(t, func() bool { return !strings.Contains(must(t, "plan", "list", "--data", data), "drafting") }, 3*time.Minute, 200*time.Millisecond,
		"the draft that was left is finished")
	require.Contains(t, must(t, "plan", "list", "--data", data), "2027-03/2  draft")
	require.Equal(t, exitOK, second.stop(t, syscall.SIGINT), second.text())

	again := must(t, "demo", "--once", "--data", data)
	require.Contains(t, again, "kept as it is")
	require.Contains(t, again, "published already")
}

func TestSolveFiles(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	problem, solution := filepath.Join(dir, "x.json.gz"), filepath.Join(dir, "x.solution.json")
	must(t, "solve", "--generate", "X", "--seed", "5", "--out", problem)
	var line struct {
		Status       string
		Value, Bound int64
		Gap          float64
		Placed       int
		Placements   []json.RawMessage
		PeakBytes    uint64 `json:"peak_bytes"`
		Seconds      float64
	}
	require.NoError(t, json.Unmarshal([]byte(must(t, "solve", problem, "--seconds", "2", "--out", solution)), &line))
	require.Positive(t, line.Value)
	require.GreaterOrEqual(t, line.Bound, line.Value)
	require.Positive(t, line.PeakBytes)
	require.Empty(t, line.Placements, "the line is without placements")
	placed := line.Placed
	content, err := os.ReadFile(solution)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(content, &line))
	require.Len(t, line.Placements, placed)

	gap := must(t, "solve", "../../testdata/gap/cattrysse1994/gap1-0", "--format", "gap", "--seconds", "10")
	require.NoError(t, json.Unmarshal([]byte(gap), &line))
	require.EqualValues(t, 261, line.Value, "published optimum of gap1-0 (OR-Library; Cattrysse, Salomon and Van Wassenhove 1994)")
}

func TestMigrateTwice(t *testing.T) {
	t.Parallel()
	url := "--database-url=" + postgrestest.URL(postgrestest.Empty(t))
	early := call(t, "plan", "list", url)
	require.Equal(t, exitRefused, early.code, early.err)
	require.Contains(t, early.err, "longlead migrate")
	require.Contains(t, must(t, "migrate", url), "0001_schemas")
	must(t, "migrate", url)
	require.NotContains(t, must(t, "plan", "list", url), "drafting")
}

func TestDemoLeavesOtherSchoolsAlone(t *testing.T) {
	t.Parallel()
	db := database(t)
	site := filepath.Join(t.TempDir(), "sites.csv")
	must(t, "template", "sites", "--to", site)
	must(t, "import", db, site)
	r := call(t, "demo", "--once", db)
	require.Equal(t, exitRefused, r.code, r.out+r.err)
	require.Contains(t, r.err, "another school")
	require.Contains(t, must(t, "plan", "list", db), "no plan yet")
}

// TestHintsWorkOnTheSameSchool runs what the program says to do next, as it says it.
func TestHintsWorkOnTheSameSchool(t *testing.T) {
	t.Parallel()
	data := t.TempDir()
	out := must(t, "demo", "--once", "--seconds", "1", "--data", data)
	_, hint, found := strings.Cut(out, "The whole plan: longlead ")
	require.True(t, found, out)
	hint, _, _ = strings.Cut(hint, "\n")
	require.Contains(t, must(t, strings.Fields(hint)...), "Plan 2027-03/1, published")
}
