package plaintable_test

import (
	"strings"
	"testing"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/plaintable"
)

func TestNew(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	x := plaintable.New(&out, "dog", "what it learns")
	x.AppendRow(table.Row{"A-1", plaintable.Wrap("heel and come when called", 12)})
	x.Render()
	var lines []string
	for line := range strings.Lines(out.String()) {
		lines = append(lines, strings.TrimRight(line, " \n"))
	}
	require.Equal(t, []string{"dog  what it learns", "─────────────────────", "A-1  heel and", "     come when", "     called"}, lines)
}
