package planner_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"

	"github.com/longlead/longlead/services/exchange"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func (s *school) setPolicy(t *testing.T, terms map[string]int32) {
	t.Helper()
	req := &plannerv1.SetPolicyRequest{}
	for term, points := range terms {
		req.Terms = append(req.Terms, &plannerv1.PolicyTerm{Term: term, Points: points})
	}
	_, err := s.planner.SetPolicy(t.Context(), req)
	require.NoError(t, err)
}

// beyond counts, from the use of every resource alone, the trainers' days that are used beyond a share of their minutes.
func beyond(whole *plannerv1.ReadPlanResponse, percent int32) (days int) {
	for _, u := range whole.GetUses() {
		if u.GetResource() == "trainer minutes" && 100*u.GetUsed() > percent*u.GetCapacity() {
			days++
		}
	}
	return days
}

// TestLongDaysBecomeFewer drafts the scenario without and with points for long days.
func TestLongDaysBecomeFewer(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	s.startWorker(t)
	s.setPolicy(t, map[string]int32{"long day": 0})
	without := s.read(t, s.draft(t, quick()).GetId())
	require.Empty(t, without.GetLongDays())
	recount(t, s, without)

	s.setPolicy(t, map[string]int32{"long day": 3, "easy day": 85})
	with := s.read(t, s.draft(t, quick()).GetId())
	recount(t, s, with)
	require.NotEmpty(t, with.GetLongDays())
	for _, d := range with.GetLongDays() {
		require.EqualValues(t, -3*d.GetQuarters(), d.GetPoints())
		require.Contains(t, d.GetText(), "beyond 85 percent")
	}
	before, after := beyond(without, 85), beyond(with, 85)
	t.Logf("days beyond 85 percent: %d without, %d with points for long days; placed %d and %d", before, after, without.GetPlan().GetPlaced(), with.GetPlan().GetPlaced())
	require.Less(t, after, before)

	both, err := s.planner.ComparePlans(t.Context(), &plannerv1.ComparePlansRequest{PlanId: without.GetPlan().GetId(), OtherPlanId: with.GetPlan().GetId()})
	require.NoError(t, err)
	var sum int64
	for _, site := range both.GetSecondSites() {
		sum += site.GetValue()
	}
	require.Equal(t, both.GetSecond().GetValue(), sum)
}

func TestPolicyOfLongDaysHasLimits(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	for term, points := range map[string]int32{"long day": -1, "easy day": 101} {
		_, err := s.planner.SetPolicy(t.Context(), &plannerv1.SetPolicyRequest{Terms: []*plannerv1.PolicyTerm{{Term: term, Points: points}}})
		requireRefusal(t, err, codes.InvalidArgument, "out of range")
	}
	file := exchange.File{Name: "policy.csv", Content: []byte("term,points\nlong day,-1\neasy day,101\ntravel,-4\n")}
	report, err := s.files.Take(t.Context(), []exchange.File{file}, exchange.Settings{}, func(exchange.Progress) {})
	require.NoError(t, err)
	require.Len(t, report.Faults, 2)
	require.Contains(t, report.Faults[0].Rule, "out of range")
	require.Equal(t, "give 0 to 10000", report.Faults[0].Remedy)
}
