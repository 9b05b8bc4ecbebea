package planner_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var update = flag.Bool("update", false, "rewrite the golden month plan")

// goldenPlan is the plan of the scenario as it stood when it was last looked at.
const goldenPlan = "testdata/scenario_2027-03.golden"

// TestGoldenMonth drafts the scenario with a limit in iterations and compares every placement and every reason with the plan
// that was kept. A change of the solver, of a rule or of the scenario shows here as a difference to be read; -update keeps it.
func TestGoldenMonth(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: 300, Iterations: 40})
	got := planText(s.read(t, plan.GetId()))
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(goldenPlan, []byte(got), 0o644))
	}
	want, err := os.ReadFile(goldenPlan)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "read the difference, then keep it with -update")
}

// planText writes a plan as lines that can be compared by eye.
func planText(whole *plannerv1.ReadPlanResponse) string {
	var b strings.Builder
	p := whole.GetPlan()
	fmt.Fprintf(&b, "placed %d of %d, value %d\n", p.GetPlaced(), p.GetRequests(), p.GetValue())
	for _, one := range whole.GetPlacements() {
		fmt.Fprintf(&b, "%s %s %s %s run %s %s with %s, %d points, %d minutes, %s\n", one.GetSiteCode(), one.GetArrival(), one.GetGraduation(), one.GetRequestCode(),
			one.GetRunCode(), one.GetRunClass(), one.GetTrainerCode(), one.GetValue(), one.GetMinutesADay(), one.GetStanding())
	}
	for _, d := range whole.GetLongDays() {
		fmt.Fprintf(&b, "%s %s has a long day on %s: %s, %d points\n", d.GetSiteCode(), d.GetTrainerCode(), d.GetDay(), d.GetText(), d.GetPoints())
	}
	for _, w := range whole.GetWaits() {
		kind := "gave way"
		if w.GetHard() {
			kind = "hard"
		}
		fmt.Fprintf(&b, "%s waits (%s): %s; %s\n", w.GetRequestCode(), kind, w.GetReason(), w.GetRemedy())
	}
	return b.String()
}
