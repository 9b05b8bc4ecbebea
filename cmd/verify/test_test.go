package main

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// stream is what go test -json prints for: a package with a passing, a failing and a skipped test, subtests, and outside
// checks; a package that does not build; one that exits without a failed test; one without tests; and a line that is no event.
const stream = `go: downloading example.com/x v1.0.0
{"Action":"start","Package":"github.com/longlead/longlead/services/a"}
{"Action":"run","Package":"github.com/longlead/longlead/services/a","Test":"TestGood"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestGood","Output":"=== RUN   TestGood\n"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestGood","Output":"    outside.go:63: OUTSIDE\tfloor of a 30 in dog\t9 CFR 3.6(c)(1)(i)\t9\t9\n"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestGood","Output":"    outside.go:63: OUTSIDE\tsplit\tdoc"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestGood","Output":" 2\t1 (±0.1)\t1.05\n"}
{"Action":"pass","Package":"github.com/longlead/longlead/services/a","Test":"TestGood","Elapsed":0}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestBad/one","Output":"    outside.go:63: OUTSIDE\tnot to be believed\tdoc\t1\t1\n"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestBad/one","Output":"    a_test.go:9: expected 3\n"}
{"Action":"fail","Package":"github.com/longlead/longlead/services/a","Test":"TestBad/one","Elapsed":0}
{"Action":"fail","Package":"github.com/longlead/longlead/services/a","Test":"TestBad","Elapsed":0}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestAway","Output":"=== RUN   TestAway\n"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestAway","Output":"    a_test.go:20: no browser here\n"}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Test":"TestAway","Output":"--- SKIP: TestAway (0.00s)\n"}
{"Action":"skip","Package":"github.com/longlead/longlead/services/a","Test":"TestAway","Elapsed":0}
{"Action":"output","Package":"github.com/longlead/longlead/services/a","Output":"FAIL\n"}
{"Action":"fail","Package":"github.com/longlead/longlead/services/a","Elapsed":0.1}
{"ImportPath":"github.com/longlead/longlead/services/b [github.com/longlead/longlead/services/b.test]","Action":"build-output","Output":"services/b/b.go:3:1: syntax error\n"}
{"ImportPath":"github.com/longlead/longlead/services/b [github.com/longlead/longlead/services/b.test]","Action":"build-fail"}
{"Action":"start","Package":"github.com/longlead/longlead/services/b"}
{"Action":"output","Package":"github.com/longlead/longlead/services/b","Output":"FAIL\tgithub.com/longlead/longlead/services/b [build failed]\n"}
{"Action":"fail","Package":"github.com/longlead/longlead/services/b","Elapsed":0,"FailedBuild":"x"}
{"Action":"pass","Package":"github.com/longlead/longlead/services/c","Test":"TestFine","Elapsed":0}
{"Action":"output","Package":"github.com/longlead/longlead/services/c","Output":"exit status 3\n"}
{"Action":"fail","Package":"github.com/longlead/longlead/services/c","Elapsed":0}
{"Action":"skip","Package":"github.com/longlead/longlead/services/d","Elapsed":0}
`

func TestReadTestRun(t *testing.T) {
	t.Parallel()
	run, log := newTestRun(), &strings.Builder{}
	require.NoError(t, run.read(strings.NewReader(stream), log))

	require.Equal(t, 2, run.passed)
	require.Equal(t, 4, run.failed, "two tests, the package that does not build and the one that exits")
	require.Equal(t, 1, run.skipped, "a package without tests is no skipped test")
	const a = "github.com/longlead/longlead/services/a"
	require.Equal(t, []outsideCheck{
		{a, "floor of a 30 in dog", "9 CFR 3.6(c)(1)(i)", "9", "9"},
		{a, "split", "doc 2", "1 (±0.1)", "1.05"},
	}, run.outside, "a failed test confirms nothing")

	var names []string
	for _, f := range run.failures {
		names = append(names, f.String())
	}
	require.Equal(t, []string{"services/a TestBad/one", "services/a TestBad", "package services/b", "package services/c"}, names)
	require.Equal(t, "a_test.go:20: no browser here", run.reason(run.skips[0]))
	require.Contains(t, log.String(), "go: downloading example.com/x v1.0.0\n")
	require.Contains(t, log.String(), "=== RUN   TestGood\n")

	end := &strings.Builder{}
	run.showFailures(&record{file: end})
	require.Contains(t, end.String(), "a_test.go:9: expected 3")
	require.Contains(t, end.String(), "services/b/b.go:3:1: syntax error")
}

func TestBuiltFor(t *testing.T) {
	t.Parallel()
	for path, want := range map[string]string{"m/a": "m/a", "m/a [m/a.test]": "m/a", "m/a_test [m/a.test]": "m/a", "m/a.test": "m/a", "m/b [m/a.test]": "m/a"} {
		require.Equal(t, want, builtFor(path), path)
	}
}

func TestJudge(t *testing.T) {
	t.Parallel()
	broke := errors.New("exit status 1")
	tests := []struct {
		name string
		run  testRun
		err  error
		want state
	}{
		{"all pass", testRun{passed: 3}, nil, passed},
		{"one fails", testRun{passed: 3, failed: 1, failures: []testName{{"p", "T"}}}, broke, failed},
		{"one fails and go does not mind", testRun{passed: 3, failed: 1, failures: []testName{{"p", "T"}}}, nil, failed},
		{"go fails alone", testRun{passed: 3}, broke, failed},
		{"nothing ran", testRun{}, nil, failed},
		{"all skipped", testRun{skipped: 4}, nil, failed},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, tt.want, tt.run.judge(tt.err).state)
		})
	}
}

func TestRunsJoin(t *testing.T) {
	t.Parallel()
	both, one := outsideCheck{"p", "in both", "s", "1", "1"}, outsideCheck{"p", "in one", "s", "2", "2"}
	run, other := newTestRun(), newTestRun()
	run.passed, run.skipped, run.outside = 3, 1, []outsideCheck{both}
	other.passed, other.outside = 2, []outsideCheck{both, one}
	other.add(event{Action: "output", Package: "p", Test: "TestX", Output: "x_test.go:7: no\n"})
	other.add(event{Action: "fail", Package: "p", Test: "TestX"})
	run.join(other)
	require.Equal(t, 5, run.passed)
	require.Equal(t, 1, run.failed)
	require.Equal(t, []testName{{"p", "TestX"}}, run.failures)
	require.Equal(t, []outsideCheck{both, one}, run.outside, "a check that both made counts once")
	run.eachFailure(func(name testName, lines []string) {
		require.Equal(t, []string{"x_test.go:7: no"}, lines, "what it printed comes along")
	})
}
