package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestRecount(t *testing.T) {
	t.Parallel()
	const one = `{"dog":0,"site":0,"arrival":0,"run":0,"trainer":0}`
	tests := []struct {
		name, format, answer, want, failure string
	}{
		{"every job assigned", "gap", `{"placements":[` + one + `,{"dog":1,"site":0,"arrival":0,"run":0,"trainer":1}]}`, `{"value":3,"placed":2,"complete":true}`, ""},
		{"a job left over", "gap", `{"placements":[` + one + `]}`, `"complete":false`, ""},
		{"too much for one agent", "gap", `{"placements":[` + one + `,{"dog":1,"site":0,"arrival":0,"run":0,"trainer":0}]}`, "", "breaks a rule"},
		{"another format", "other", `{}`, "", "no format"},
		{"not an allocation", "allocation", `{}`, "", ""},
		{"no JSON", "gap", `oh`, "", "read "},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			dir, out := t.TempDir(), &strings.Builder{}
			problem, answer := filepath.Join(dir, "p"), filepath.Join(dir, "a")
			require.NoError(t, os.WriteFile(problem, []byte("2 2\n1 9\n5 2\n1 1\n1 1\n1 1\n"), 0o644))
			require.NoError(t, os.WriteFile(answer, []byte(tt.answer), 0o644))
			err := recount(tt.format, problem, answer, out)
			if tt.want == "" {
				require.ErrorContains(t, err, tt.failure)
				return
			}
			require.NoError(t, err)
			require.Contains(t, out.String(), tt.want)
		})
	}
}
