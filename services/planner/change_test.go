package planner_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/testdata/scenario"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// TestChangesAdmit makes every change that the wait list claims in the records themselves, lays the month out anew, and looks
// whether the request now fits into the plan as it stands. Before the change it must not, and with one minute less neither.
func TestChangesAdmit(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	id, err := ids.Parse[ids.PlanID](plan.GetId())
	require.NoError(t, err)
	stored, err := planner.ReadStored(t.Context(), s.pool, id)
	require.NoError(t, err)
	month, err := calendar.ParseMonth(scenario.Month)
	require.NoError(t, err)
	in, err := planner.ReadInputs(t.Context(), s.pool, month)
	require.NoError(t, err)
	kinds := map[string]int{}
	for _, w := range stored.Waits {
		if len(w.Refusals.Changes) > 0 && w.Refusals.Changes[0].Kind == planner.ChangeNone {
			continue // there is room as things are, and the reason says so
		}
		fits, err := stored.Fits(in, w.RequestID)
		require.NoError(t, err)
		require.False(t, fits, "%s fits as things are: %s", w.RequestID, w.Reason)
		for _, c := range w.Refusals.Changes {
			after, err := planner.WithChange(in, w.RequestID, c, 0)
			require.NoError(t, err)
			fits, err := stored.Fits(after, w.RequestID)
			require.NoError(t, err)
			require.True(t, fits, "%s: %s", w.RequestID, c.Text)
			require.Positive(t, c.Points)
			kinds[c.Kind]++
			for _, a := range c.Adds {
				kinds[a.Resource]++
			}
			if len(c.Adds) == 1 && (c.Adds[0].Resource == planner.UseTrainerMinutes || c.Adds[0].Resource == planner.UseSiteMinutes) {
				after, err := planner.WithChange(in, w.RequestID, c, 1)
				require.NoError(t, err)
				fits, err := stored.Fits(after, w.RequestID)
				require.NoError(t, err)
				require.False(t, fits, "one minute less would do for %s: %s", w.RequestID, c.Text)
			}
		}
	}
	for _, kind := range []string{planner.ChangeWindow, planner.ChangeSite, planner.ChangeCapacity, planner.UseRuns, planner.UseIntake, planner.UseTrainerMinutes, planner.UseSiteMinutes} {
		require.Positive(t, kinds[kind], "no change of kind %s was claimed: %v", kind, kinds)
	}
}

// TestSolvingAnew asks of a waiting request what the best plan with it would be, and of the plan what its resources are worth.
func TestSolvingAnew(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	plan := s.draft(t, quick())
	whole := s.read(t, plan.GetId())
	placed := map[string]bool{}
	for _, p := range whole.GetPlacements() {
		placed[p.GetRequestCode()] = true
	}
	var waits *plannerv1.Wait
	for _, w := range whole.GetWaits() {
		if !w.GetHard() && len(w.GetChanges()) > 0 && w.GetDisplaced().GetPoints() > 0 {
			waits = w
		}
	}
	require.NotNil(t, waits, "some request gave way and could be let in")
	for _, code := range waits.GetDisplaced().GetGivenUp() {
		require.True(t, placed[code], code)
	}
	why, err := s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: plan.GetId(), RequestCode: waits.GetRequestCode(), Seconds: 3})
	require.NoError(t, err)
	w := why.GetWeighing()
	require.Contains(t, []string{"found", "impossible", "not found"}, w.GetWithEverybody())
	require.False(t, w.GetNoPlace())
	require.LessOrEqual(t, w.GetLostLeast(), w.GetLostMost())
	require.LessOrEqual(t, w.GetBest().GetPoints(), waits.GetDisplaced().GetPoints(), "the search starts from the plan that the wait tells of")
	require.Equal(t, waits.GetChanges()[0].GetText(), w.GetChange().GetText())
	require.GreaterOrEqual(t, w.GetGainFound(), waits.GetChanges()[0].GetPoints(), "with the change the plan gains the request at least")
	require.LessOrEqual(t, w.GetGainLeast(), w.GetGainMost())

	worth, err := s.planner.ReadWorth(t.Context(), &plannerv1.ReadWorthRequest{PlanId: plan.GetId(), Lines: 12, Check: 2, Seconds: 1})
	require.NoError(t, err)
	requireWorth(t, whole, worth.GetLines())

	// When what the plan was made from has changed, nothing is solved.
	_, err = s.roster.RecordAbsence(t.Context(), &rosterv1.RecordAbsenceRequest{TrainerCode: "IMARA", FirstDay: "2027-03-10", LastDay: "2027-03-12", Kind: rosterv1.AbsenceKind_ABSENCE_KIND_SICKNESS})
	require.NoError(t, err)
	_, err = s.planner.ReadWorth(t.Context(), &plannerv1.ReadWorthRequest{PlanId: plan.GetId()})
	requireRefusal(t, err, codes.FailedPrecondition, "draft the month anew")
	_, err = s.planner.ExplainRequest(t.Context(), &plannerv1.ExplainRequestRequest{PlanId: plan.GetId(), RequestCode: waits.GetRequestCode(), Seconds: 3})
	requireRefusal(t, err, codes.FailedPrecondition, "draft the month anew")
}

// requireWorth recounts the prices of places and runs from the daily prices that the plan has.
func requireWorth(t *testing.T, whole *plannerv1.ReadPlanResponse, lines []*plannerv1.Worth) {
	t.Helper()
	require.Len(t, lines, 12)
	daily := map[string]float64{}
	for _, u := range whole.GetUses() {
		daily[u.GetSiteCode()+u.GetResource()+u.GetUnit()+u.GetDay()] = u.GetPrice()
	}
	units := map[string][2]string{"1 more intake place on each day that has some": {"intake places", ""}, "1 more handover place on each day that has some": {"handover places", ""}}
	for _, class := range []string{"S", "M", "L", "XL"} {
		units["1 more run of class "+class] = [2]string{"runs", class}
	}
	counted := 0
	for i, l := range lines {
		require.Equal(t, i < 2, l.GetChecked())
		if i > 0 {
			require.LessOrEqual(t, l.GetPrice(), lines[i-1].GetPrice(), "the dearest first")
		}
		require.LessOrEqual(t, l.GetGainLeast(), l.GetGainMost())
		require.GreaterOrEqual(t, l.GetGainFound(), int64(0))
		unit, known := units[l.GetText()]
		if !known {
			require.Contains(t, l.GetText(), "1 more dog in hand for trainer")
			continue
		}
		var sum float64
		for d := calendar.MustDate(l.GetFirstDay()); !d.After(calendar.MustDate(l.GetLastDay())); d = d.AddDays(1) {
			sum += daily[l.GetSiteCode()+unit[0]+unit[1]+d.String()]
		}
		require.InDelta(t, sum, l.GetPrice(), 1e-6)
		counted++
	}
	require.Positive(t, counted)
}

// TestReasonsOfAWaitList gives reasons to a whole wait list, and says how long that takes.
func TestReasonsOfAWaitList(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	month, err := calendar.ParseMonth(scenario.Month)
	require.NoError(t, err)
	in, err := planner.ReadInputs(t.Context(), s.pool, month)
	require.NoError(t, err)
	began := time.Now()
	n, err := planner.ReasonsOfAll(in)
	require.NoError(t, err)
	t.Logf("reasons for %d requests that wait: %.2f s", n, time.Since(began).Seconds())
	require.Greater(t, n, 150)
}
