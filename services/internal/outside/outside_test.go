package outside

import (
	"math"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// recorder stands in for a test so that we can watch a comparison fail.
type recorder struct {
	testing.TB
	failed bool
	lines  []string
}

func (r *recorder) Helper()               {}
func (r *recorder) Name() string          { return "recorder" }
func (r *recorder) Errorf(string, ...any) { r.failed = true }
func (r *recorder) FailNow()              { r.failed = true; runtime.Goexit() }
func (r *recorder) Logf(format string, args ...any) {
	r.lines = append(r.lines, format)
	for _, a := range args {
		r.lines = append(r.lines, a.(string))
	}
}

func run(compare func(t testing.TB)) *recorder {
	r := &recorder{}
	done := make(chan struct{})
	go func() {
		defer close(done)
		compare(r)
	}()
	<-done
	return r
}

func TestComparisons(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		compare func(t testing.TB)
		fails   bool
		want    []string
	}{
		{"equal", func(t testing.TB) { Check(t, "a\tb", "doc 1", 3, 3) }, false, []string{"a b", "doc 1", "3", "3"}},
		{"not equal", func(t testing.TB) { Check(t, "a", "doc 1", 3, 4) }, true, nil},
		{"other type", func(t testing.TB) { Check(t, "a", "doc 1", 3, int64(3)) }, true, nil},
		{"no source", func(t testing.TB) { Check(t, "a", "", 3, 3) }, true, nil},
		{"no name", func(t testing.TB) { Check(t, "", "doc 1", 3, 3) }, true, nil},
		{"near", func(t testing.TB) { Near(t, "n", "doc 2", 1, 1.004, .01) }, false, []string{"n", "doc 2", "1 (±0.01)", "1.004"}},
		{"far", func(t testing.TB) { Near(t, "n", "doc 2", 1, 1.02, .01) }, true, nil},
		{"not a number", func(t testing.TB) { Near(t, "n", "doc 2", 1, math.NaN(), .01) }, true, nil},
		{"negative tolerance", func(t testing.TB) { Near(t, "n", "doc 2", 1, 1, -1) }, true, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := run(tt.compare)
			require.Equal(t, tt.fails, r.failed)
			if tt.fails {
				require.Empty(t, r.lines, "a comparison that failed must not be logged as confirmed")
				return
			}
			require.Equal(t, append([]string{"OUTSIDE\t%s\t%s\t%s\t%s"}, tt.want...), r.lines)
		})
	}
}
