package allocation_test

import (
	"bytes"
	"encoding/csv"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/internal/outside"
)

const gapFolder = "../../testdata/gap"

type gapCase struct {
	path string
	best int64
}

// gapCases reads the published values. Source: testdata/gap/README.md.
func gapCases(t testing.TB) []gapCase {
	t.Helper()
	f, err := os.Open(filepath.Join(gapFolder, "values.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, "Path", rows[0][0])
	require.Equal(t, "Best known solution value", rows[0][7])
	var out []gapCase
	for _, r := range rows[1:] {
		best, err := strconv.ParseInt(r[7], 10, 64)
		require.NoError(t, err)
		out = append(out, gapCase{r[0], best})
	}
	return out
}

func readGAP(t testing.TB, name string) *allocation.GAP {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(gapFolder, name))
	require.NoError(t, err)
	g, err := allocation.ReadGAP(bytes.NewReader(data))
	require.NoError(t, err)
	return g
}

const gapSource = "testdata/gap/values.csv: OR-Library; Cattrysse, Salomon and Van Wassenhove 1994; Chu and Beasley 1997"

// TestOutsidePublishedOptima solves gap1 to gap12 and types A to C with up to 200 jobs to the published optimum and proves it.
func TestOutsidePublishedOptima(t *testing.T) {
	t.Parallel()
	for _, c := range gapCases(t) {
		if strings.HasPrefix(c.path, "chu1997/d") { // the others of their size are proven within seconds
			continue
		}
		if raceDetector && !strings.HasSuffix(c.path, "-2") { // some of them; verify runs all without the detector
			continue
		}
		t.Run(c.path, func(t *testing.T) {
			g := readGAP(t, c.path)
			s, err := allocation.Solve(g.Problem, allocation.Options{Threads: 2, Seed: 1, Limit: 60 * time.Second})
			require.NoError(t, err)
			require.True(t, g.Complete(s.Placements))
			outside.Check(t, "least cost of "+path.Base(c.path), gapSource, c.best, g.Cost(s.Value))
			require.Equal(t, allocation.Optimal, s.Status)
			require.Equal(t, c.best, assignmentCost(t, c.path, s.Placements))
		})
	}
}

// TestPublishedBounds gives every published problem a short time: what is found must be no better than the best known value, and
// the bound no worse a promise than it.
func TestPublishedBounds(t *testing.T) {
	t.Parallel()
	for i, c := range gapCases(t) {
		if raceDetector && i%6 != 0 {
			continue
		}
		g := readGAP(t, c.path)
		s, err := allocation.Solve(g.Problem, allocation.Options{Seed: 1, Iterations: 2000})
		require.NoError(t, err, c.path)
		require.LessOrEqual(t, g.Cost(s.Bound), c.best, c.path)
		if g.Complete(s.Placements) {
			require.GreaterOrEqual(t, g.Cost(s.Value), c.best, c.path)
		}
	}
}

// TestPublishedHard solves one of the problems that are hard for their size twice, with the same effort: it comes within a tenth of a per cent of the
// best known value, and without a time limit the seed and the threads decide on the plan.
func TestPublishedHard(t *testing.T) {
	t.Parallel()
	for _, c := range gapCases(t) {
		if c.path != "chu1997/d05100" {
			continue
		}
		g := readGAP(t, c.path)
		var plans [][]allocation.Placement
		for range 2 {
			s, err := allocation.Solve(g.Problem, allocation.Options{Seed: 4, Threads: 2, Iterations: 120_000})
			require.NoError(t, err)
			require.True(t, g.Complete(s.Placements))
			require.InEpsilon(t, c.best, g.Cost(s.Value), 0.001)
			require.Equal(t, g.Cost(s.Value), assignmentCost(t, c.path, s.Placements))
			require.LessOrEqual(t, g.Cost(s.Bound), c.best)
			plans = append(plans, s.Placements)
		}
		require.Equal(t, plans[0], plans[1])
		return
	}
	require.Fail(t, "the problem is not among those published")
}

// assignmentCost counts a plan's cost from the file itself.
func assignmentCost(t testing.TB, path string, plan []allocation.Placement) int64 {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(gapFolder, path))
	require.NoError(t, err)
	words := strings.Fields(string(data))
	number := func(i int) int {
		n, err := strconv.Atoi(words[i])
		require.NoError(t, err)
		return n
	}
	agents, jobs := number(0), number(1)
	load := make([]int, agents)
	total := 0
	for _, pl := range plan {
		total += number(2 + pl.Trainer*jobs + pl.Dog)
		load[pl.Trainer] += number(2 + agents*jobs + pl.Trainer*jobs + pl.Dog)
	}
	for a := range agents {
		require.LessOrEqual(t, load[a], number(2+2*agents*jobs+a))
	}
	return int64(total)
}

func TestReadGAPRefuses(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ text, want string }{
		"empty":        {"", "cut off"},
		"cut off":      {"2 2 1 2 3", "the file ends before the cost of job 1 for agent 1"},
		"negative":     {"1 1 -3 2 4", "the cost of job 0 for agent 0"},
		"no agents":    {"0 5", "number of agents"},
		"huge":         {"99999999999999999999 1", "number of agents"},
		"not a number": {"1 1 x 2 3", "whole number"},
		"trailing":     {"1 1 1 1 1 7", "more after the capacities"},
	} {
		_, err := allocation.ReadGAP(strings.NewReader(c.text))
		require.ErrorIs(t, err, allocation.ErrInvalid, name)
		require.ErrorContains(t, err, c.want, name)
	}
}

func FuzzReadGAP(f *testing.F) {
	f.Add("2 2 1 2 3 4 1 1 1 1 2 2")
	f.Add("1 1 0 0 0")
	f.Fuzz(func(t *testing.T, text string) {
		g, err := allocation.ReadGAP(strings.NewReader(text))
		if err != nil {
			return
		}
		require.NoError(t, g.Problem.Validate())
		require.Len(t, g.Problem.Dogs, g.Jobs)
	})
}
