package main

import (
	"context"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/refsolve/venv"
)

func TestChoose(t *testing.T) {
	t.Parallel()
	all := []step{{name: "a"}, {name: "b", needs: []string{"a"}}, {name: "c"}, {name: "d", needs: []string{"b"}}}
	tests := []struct {
		name, names, skip, want string
	}{
		{"all", "", "", "a b c d"},
		{"one", "c", "", "c"},
		{"with what it needs, in order", "c,d", "", "a b c d"},
		{"without one", "", "c", "a b d"},
		{"without one that another needs", "", "a", "b c d"},
		{"one without what it needs", "b", "a", "b"},
		{"what only a skipped step needs", "d,c", "d", "c"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			chosen, err := choose(all, splitNames(tt.names), splitNames(tt.skip))
			require.NoError(t, err)
			var got []string
			for _, s := range chosen {
				got = append(got, s.name)
			}
			require.Equal(t, tt.want, strings.Join(got, " "))
		})
	}
	for _, unknown := range [][2][]string{{{"x"}, nil}, {nil, {"x"}}} {
		_, err := choose(all, unknown[0], unknown[1])
		require.ErrorContains(t, err, `there is no step "x"`)
	}
}

func TestStepsNeedEarlierStepsOnly(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, s := range steps() {
		require.False(t, seen[s.name], s.name)
		for _, need := range s.needs {
			require.True(t, seen[need], "%s needs %s", s.name, need)
		}
		seen[s.name] = true
	}
}

func TestAFailureStopsNothing(t *testing.T) {
	t.Parallel()
	out := &strings.Builder{}
	w := &work{root: t.TempDir(), logs: t.TempDir(), out: out}
	w.runAll(t.Context(), []step{
		{name: "bad", run: func(ctx context.Context, _ *work, r *record) outcome {
			return failOn(r.run(ctx, "go", "no-such-command"))
		}},
		{name: "away", run: func(context.Context, *work, *record) outcome { return outcome{leftOut, "no network"} }},
		{name: "good", run: func(context.Context, *work, *record) outcome { return pass("2 files") }},
	})
	w.tests = &testRun{passed: 7, failed: 1, skipped: 2, outside: []outsideCheck{{"p", "walls", "9 CFR 3.6", "4", "4"}, {"p", "floor", "9 CFR 3.6", "9", "9"}}}
	wrong := testName{"github.com/longlead/longlead/services/slots", "TestPlaces"}
	w.tests.failures = []testName{wrong}
	w.tests.output = map[testName]*strings.Builder{wrong: {}}
	w.tests.output[wrong].WriteString("places_test.go:12: 3 places, want 4\n")
	w.report()
	require.True(t, w.failed())
	text := out.String()
	require.Contains(t, text, "no-such-command: unknown command", "the end of a failed step's log is shown")
	require.Regexp(t, `(?m)^bad +failed`, text)
	require.Regexp(t, `(?m)^good +passed +0\.0s +2 files$`, text)
	require.Contains(t, text, "left out: away: no network\n")
	require.Regexp(t, `(?m)^floor +9 CFR 3\.6 +9 +9\nwalls +9 CFR 3\.6 +4 +4$`, text)
	require.Regexp(t, `(?s)walls.*--- failed: services/slots TestPlaces\n    places_test\.go:12: 3 places, want 4\n`, text, "behind all else")
	require.Contains(t, text, "1 of 3 steps did not pass.\n")
	lines := strings.Split(strings.TrimSpace(text), "\n")
	require.Regexp(t, regexp.MustCompile(`^tests: 7 passed, 1 failed, 2 skipped$`), lines[len(lines)-1])

	// A log is kept for each step.
	entries, err := os.ReadDir(w.logs)
	require.NoError(t, err)
	require.Len(t, entries, 4, "three logs and the outside checks")
}

func TestInterruptedIsNotPassed(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	w := &work{logs: t.TempDir(), out: &strings.Builder{}}
	w.runAll(ctx, []step{
		{name: "first", run: func(context.Context, *work, *record) outcome { cancel(); return pass("") }},
		{name: "second", run: func(context.Context, *work, *record) outcome { return pass("") }},
	})
	require.Equal(t, notRun, w.done[1].state)
	require.True(t, w.failed())
}

func TestInterruptEndsACommand(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	start := time.Now()
	require.Error(t, (&record{root: ".", file: &strings.Builder{}}).run(ctx, "sleep", "60"))
	require.Less(t, time.Since(start), 30*time.Second)
}

func TestNoReference(t *testing.T) {
	t.Parallel()
	home, ci := &work{}, &work{ci: true}
	require.Equal(t, leftOut, home.noReference(false, "no python3").state)
	require.Equal(t, leftOut, home.noReference(true, "no index").state)
	require.Equal(t, failed, ci.noReference(false, "no python3").state)
	require.Equal(t, leftOut, ci.noReference(true, "no index").state)
}

func TestRequirementNames(t *testing.T) {
	t.Parallel()
	names := requirementNames()
	require.NotEmpty(t, names)
	for _, name := range names {
		require.Contains(t, venv.Requirements(), name)
		require.Contains(t, name, "==")
	}
}

func TestUnreachable(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]bool{
		"WARNING: Retrying after connection broken by 'NewConnectionError(...): [Errno -2] Name or service not known'": true,
		"dial tcp 192.0.2.1:443: i/o timeout":                           true,
		"ERROR: No matching distribution found for highspy==99.0":       false,
		"ERROR: Failed building wheel for highspy":                      false,
		"ERROR: HTTP error 403 while getting https://example.org/x.whl": false,
	} {
		require.Equal(t, want, unreachable.MatchString(line), line)
	}
}

func TestFindRoot(t *testing.T) {
	t.Parallel()
	root, err := findRoot()
	require.NoError(t, err)
	require.FileExists(t, root+"/buf.yaml")
}

func TestListAndWrongFlags(t *testing.T) {
	t.Parallel()
	out := &strings.Builder{}
	require.NoError(t, run(t.Context(), []string{"-list"}, out))
	require.Equal(t, len(steps()), strings.Count(out.String(), "\n"))
	require.ErrorContains(t, run(t.Context(), []string{"nothing"}, out), `there is no step "nothing"`)
	require.Error(t, run(t.Context(), []string{"-wrong"}, out))
	require.ErrorContains(t, run(t.Context(), []string{"bench", "go", "a", "b"}, out), "one regular expression")
}
