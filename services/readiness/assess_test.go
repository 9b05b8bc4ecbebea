package readiness_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// logDays logs a session a day from 1 March on, each with the successes of 10 given.
func (s *school) logDays(t testing.TB, dog, skill string, hold, distance, distraction int32, successes ...int32) {
	t.Helper()
	for i, n := range successes {
		e := entry(dog, skill, fmt.Sprintf("2027-03-%02d", i+1), n, 10)
		e.HoldSeconds, e.DistanceCm, e.Distraction = hold, distance, distraction
		s.log(t, e)
	}
}

// TestFlags: a good dog is on course, a slow one at risk, and one that was never tried as hard as asked is not on course.
func TestFlags(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	for _, dog := range []string{"GOOD", "SLOW", "EASY"} {
		s.stay(t, dog, "MANNERS", "2027-03-01", "2027-03-15")
		distance, distraction := int32(200), int32(1)
		if dog == "EASY" {
			distance = 100
		}
		good := []int32{6, 7, 8, 9, 10, 10, 10}
		if dog == "SLOW" {
			good = []int32{1, 1, 0, 1, 2, 1, 1}
		}
		s.logDays(t, dog, "HEEL", 0, 0, 0, good...)
		s.logDays(t, dog, "SIT-STAY", 60, distance, distraction, good...)
	}
	list := s.list(t, "HILL", "2027-03-08")
	flags := map[string]readinessv1.Flag{}
	for _, r := range list.GetDogs() {
		flags[r.GetDogCode()] = r.GetFlag()
	}
	require.Equal(t, map[string]readinessv1.Flag{"GOOD": readinessv1.Flag_FLAG_ON_COURSE, "SLOW": readinessv1.Flag_FLAG_AT_RISK, "EASY": readinessv1.Flag_FLAG_TOO_FEW_DATA}, flags)
	require.Equal(t, []int32{1, 1, 0, 1}, []int32{list.GetAtRisk(), list.GetTooFewData(), list.GetNoTargets(), list.GetOnCourse()})
	require.Equal(t, "SLOW", list.GetDogs()[0].GetDogCode())

	good, easy := s.get(t, "GOOD", "2027-03-08"), s.get(t, "EASY", "2027-03-08")
	require.Empty(t, good.GetWarnings())
	require.Empty(t, good.GetProposals())
	require.Greater(t, good.GetAll().GetMean(), .7)
	require.Equal(t, good.GetAll().GetMean(), easy.GetAll().GetMean(), "the chance counts every trial alike")
	require.Contains(t, strings.Join(easy.GetReasons(), "\n"), "SIT-STAY: 0 of 70 trials were at 1.8 m or farther and in a place as mild as asked; the chance counts easier trials too")
	require.Equal(t, []int32{70, 60}, []int32{skill(t, good, "SIT-STAY").GetAtLevel().GetTrials(), skill(t, good, "SIT-STAY").GetAtLevel().GetSuccesses()})
	require.Equal(t, []int32{60, 100, 200, 1}, []int32{skill(t, good, "SIT-STAY").GetLongestHoldSeconds(), skill(t, good, "SIT-STAY").GetHoldPercent(),
		skill(t, good, "SIT-STAY").GetDistanceCm(), skill(t, good, "SIT-STAY").GetDistraction()})
}

// TestProposalsComeTrue does what is proposed, and finds the chance that was promised.
func TestProposalsComeTrue(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.logDays(t, "BO", "HEEL", 0, 0, 0, 2, 2, 3, 3, 4)
	s.logDays(t, "BO", "SIT-STAY", 20, 200, 1, 2, 3, 3, 4, 4)
	r := s.get(t, "BO", "2027-03-08")
	require.Equal(t, readinessv1.Flag_FLAG_AT_RISK, r.GetFlag())
	require.Len(t, r.GetProposals(), 3)
	for _, p := range r.GetProposals() {
		require.Greater(t, p.GetChance(), r.GetAll().GetMean())
		var undo string
		switch p.GetKind() {
		case readinessv1.Proposal_KIND_MORE_SESSIONS:
			s.sql(t, `update enrollment.program set sessions_a_day = $1 where code = 'MANNERS'`, p.GetSessionsADay())
			undo = `update enrollment.program set sessions_a_day = 2 where code = 'MANNERS'`
		case readinessv1.Proposal_KIND_LONGER_STAY:
			s.sql(t, `update planner.stay set nights = daterange(lower(nights), $1::date)`, p.GetGraduation())
			undo = `update planner.stay set nights = daterange(lower(nights), '2027-03-15')`
		default:
			require.NotEmpty(t, p.GetGoals())
			for _, g := range p.GetGoals() {
				s.sql(t, `update training.target set trials_percent = $2, hold_seconds = $3
					where skill_id = (select id from training.skill where code = $1) and program_id = (select id from enrollment.program where code = 'MANNERS')`,
					g.GetSkillCode(), g.GetTrialsPercent(), g.GetHoldSeconds())
			}
			undo = `update training.target set trials_percent = 80, hold_seconds = case when distance_cm > 0 then 60 else 0 end
				where program_id = (select id from enrollment.program where code = 'MANNERS')`
		}
		after := s.get(t, "BO", "2027-03-08")
		require.InDelta(t, p.GetChance(), after.GetAll().GetMean(), 1e-9, p.GetText())
		require.Equal(t, p.GetEnough(), after.GetFlag() != readinessv1.Flag_FLAG_AT_RISK || len(after.GetProposals()) == 0)
		s.sql(t, undo)
		requireSame(t, r, s.get(t, "BO", "2027-03-08"))
	}
}

// TestLongerStayByRoster: the day that is named is one on which the trainer is there, after the training days that are proposed.
func TestLongerStayByRoster(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, "1,2,4") // Monday, Tuesday, Thursday
	s.stay(t, "BO", "TRIAL", "2027-03-01", "2027-03-15")
	s.logDays(t, "BO", "HEEL", 10, 0, 0, 1, 2, 2, 2, 2)
	for _, p := range s.get(t, "BO", "2027-03-08").GetProposals() {
		if p.GetKind() != readinessv1.Proposal_KIND_LONGER_STAY {
			continue
		}
		// The 15th is a Monday. Three training days a week; the day after the last of them on which ANA is there.
		days := []string{"2027-03-15", "2027-03-16", "2027-03-18", "2027-03-22", "2027-03-23", "2027-03-25", "2027-03-29", "2027-03-30", "2027-04-01", "2027-04-05",
			"2027-04-06", "2027-04-08", "2027-04-12", "2027-04-13", "2027-04-15"}
		require.Equal(t, days[p.GetExtraDays()], p.GetGraduation())
		return
	}
	require.Fail(t, "no longer stay was proposed")
}

// TestMissingLogs: where less was logged than planned it is said so.
func TestMissingLogs(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.logDays(t, "BO", "HEEL", 0, 0, 0, 5, 5, 5, 5, 5)
	require.Contains(t, strings.Join(s.get(t, "BO", "2027-03-08").GetWarnings(), "\n"), "5 sessions are logged where program and roster planned 13")
	s.logDays(t, "BO", "SIT-STAY", 30, 200, 1, 5, 5, 5, 5, 5, 5)
	require.NotContains(t, strings.Join(s.get(t, "BO", "2027-03-08").GetWarnings(), "\n"), "sessions are logged", "11 of 13 are more than 80 %")
}

// TestHandlingMinutes: a quick dog's pace suggests fewer minutes. They change when a person says so, and not before.
func TestHandlingMinutes(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	for _, dog := range []string{"QUICK", "SLOW", "NEW"} {
		s.stay(t, dog, "MANNERS", "2027-03-01", "2027-03-15")
	}
	s.logDays(t, "QUICK", "HEEL", 0, 0, 0, 1, 5, 8, 10, 10)
	s.logDays(t, "QUICK", "SIT-STAY", 60, 200, 1, 1, 6, 9, 10, 10)
	s.logDays(t, "SLOW", "HEEL", 0, 0, 0, 2, 1, 2, 2, 1)
	s.logDays(t, "SLOW", "SIT-STAY", 10, 200, 1, 2, 2, 1, 2, 1)
	s.logDays(t, "NEW", "HEEL", 0, 0, 0, 1, 5, 8, 10, 10)
	require.Nil(t, s.get(t, "NEW", "2027-03-08").GetMinutes(), "five sessions say too little")
	quick, slow := s.get(t, "QUICK", "2027-03-08").GetMinutes(), s.get(t, "SLOW", "2027-03-08").GetMinutes()
	require.EqualValues(t, 2*(15+5)+15, quick.GetNow(), "two sessions with their turnover, and the care")
	require.Less(t, quick.GetSuggested(), quick.GetNow())
	require.Less(t, quick.GetFactor(), 1.0)
	require.Greater(t, slow.GetSuggested(), slow.GetNow())
	require.Greater(t, slow.GetFactor(), 1.0)
	require.InDelta(t, 40*quick.GetFactor(), float64(quick.GetSuggested()-15), .5, "the factor is that of the training minutes, never of the care")
	require.Contains(t, quick.GetText(), "nothing is changed until a person gives a workload override")

	word := func(minutes int32, care string) {
		s.sql(t, `insert into enrollment.workload_override (id, dog_id, decided_at, decided_by, minutes, care_class, reason)
			select gen_random_uuid(), id, now() + $2 * interval '1 second', 'Ana', $1, $3, 'as its pace suggests' from enrollment.dog where code = 'QUICK'`, minutes, s.runs, care)
		s.runs++
	}
	word(0, "guarded")
	require.Contains(t, s.get(t, "QUICK", "2027-03-08").GetMinutes().GetText(), "should repeat the care class guarded")
	require.Equal(t, "guarded", s.get(t, "QUICK", "2027-03-08").GetMinutes().GetCareClass())
	word(quick.GetSuggested(), "guarded")
	require.Nil(t, s.get(t, "QUICK", "2027-03-08").GetMinutes(), "a person has spoken")
}
