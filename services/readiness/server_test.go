package readiness_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// noon is the clock of most tests: 8 March 2027, a Monday, in the middle of a stay from 1 to 15 March.
var noon = time.Date(2027, 3, 8, 19, 0, 0, 0, time.UTC)

const everyDay = "1,2,3,4,5,6,7"

// TestSentTwiceAndCorrected: a session that arrives twice changes nothing, a corrected one counts as corrected, and one that is taken
// back does not count.
func TestSentTwiceAndCorrected(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	for _, e := range []*trainingv1.Entry{entry("BO", "HEEL", "2027-03-02", 2, 10), entry("BO", "HEEL", "2027-03-03", 3, 10), entry("BO", "HEEL", "2027-03-04", 5, 10)} {
		s.log(t, e)
	}
	before := s.get(t, "BO", "2027-03-08")
	last := entry("BO", "HEEL", "2027-03-05", 1, 10)
	last.HoldSeconds, last.Distraction = 30, 2
	wrong := s.log(t, last)
	once := s.get(t, "BO", "2027-03-08")
	require.EqualValues(t, 4, once.GetSessions())
	require.Less(t, skill(t, once, "HEEL").GetShare().GetMean(), skill(t, before, "HEEL").GetShare().GetMean())
	for range 2 {
		require.Equal(t, wrong, s.log(t, last))
	}
	requireSame(t, once, s.get(t, "BO", "2027-03-08"))

	right := entry("BO", "HEEL", "2027-03-05", 7, 10)
	correct := func(id string, e *trainingv1.Entry) string {
		got, err := s.logs.CorrectSession(t.Context(), &trainingv1.CorrectSessionRequest{SessionId: id, Entry: e})
		require.NoError(t, err)
		return got.GetSession().GetId()
	}
	corrected := correct(wrong, right)
	require.Equal(t, corrected, correct(wrong, right), "sent twice")
	heel := skill(t, s.get(t, "BO", "2027-03-08"), "HEEL")
	require.Equal(t, []int32{4, 40, 17}, []int32{heel.GetSessions(), heel.GetAll().GetTrials(), heel.GetAll().GetSuccesses()})
	require.EqualValues(t, 0, heel.GetDistraction(), "the level of what was corrected away is not reached")
	require.Zero(t, heel.GetLongestHoldSeconds())

	back := entry("BO", "HEEL", "2027-03-05", 0, 0)
	back.HoldSeconds = 120 // whatever else it says
	correct(corrected, back)
	requireSame(t, before, s.get(t, "BO", "2027-03-08"))
}

// TestOutsideShare: the interval that people see is Wilson's.
func TestOutsideShare(t *testing.T) {
	t.Parallel()
	const source = "Wilson 1927 score interval, 95 %, computed from the published formula (from memory), rounded outward"
	s := newHill(t, noon, everyDay)
	for i, tt := range []struct {
		dog               string
		successes, trials int32
		low, high         int32
	}{{"A", 8, 10, 49, 95}, {"B", 9, 10, 59, 99}, {"C", 10, 10, 72, 100}, {"D", 18, 20, 69, 98}, {"E", 27, 30, 74, 97}, {"F", 0, 10, 0, 28}} {
		s.stay(t, tt.dog, "MANNERS", "2027-03-01", "2027-03-15")
		// In two sessions, so that adding up is part of it.
		s.log(t, entry(tt.dog, "HEEL", "2027-03-02", tt.successes/2, tt.trials/2))
		s.log(t, entry(tt.dog, "HEEL", "2027-03-03", tt.successes-tt.successes/2, tt.trials-tt.trials/2))
		got := skill(t, s.get(t, tt.dog, "2027-03-08"), "HEEL").GetAll()
		outside.Check(t, "share shown of "+[]string{"8/10", "9/10", "10/10", "18/20", "27/30", "0/10"}[i], source, []int32{tt.low, tt.high}, []int32{got.GetLowPercent(), got.GetHighPercent()})
	}
}

// TestNothingLogged: the chance is that of a typical dog, and it is said so.
func TestNothingLogged(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-08", "2027-03-22")
	r := s.get(t, "BO", "2027-03-08")
	require.Equal(t, readinessv1.Flag_FLAG_TOO_FEW_DATA, r.GetFlag())
	require.Len(t, r.GetWarnings(), 2)
	require.Contains(t, r.GetWarnings()[0], "HEEL: nothing is logged yet; the chance is that of a typical dog of the program, not of this one")
	require.EqualValues(t, 1+13*2, r.GetSessionsLeft(), "one on the arrival day, two on each of 13 days, none on the graduation day")
	require.EqualValues(t, 13, r.GetDaysLeft())
	heel := skill(t, r, "HEEL")
	require.EqualValues(t, 13, heel.GetFurther(), "27 sessions among two skills")
	want, err := workload.LookAhead(workload.Course{DaysLeft: 13, OtherSessions: 1, SessionsPerDay: 2, Skills: []workload.SkillRecord{
		{Name: "HEEL", Target: workload.Target{Percent: 80}}, {Name: "SIT-STAY", Target: workload.Target{Percent: 80, HoldSeconds: 60}}}})
	require.NoError(t, err)
	require.InDelta(t, want.All.Mean, r.GetAll().GetMean(), 0)
	require.Nil(t, heel.Distraction, "nothing is reached")
	require.Nil(t, heel.GetAtLevel())
	require.NotNil(t, skill(t, r, "SIT-STAY").GetAtLevel())
	require.Nil(t, r.GetMinutes())
}

// TestNothingAsked: without targets there is nothing to reckon, and what was logged is shown.
func TestNothingAsked(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "PLAY", "2027-03-01", "2027-03-15")
	s.log(t, entry("BO", "COME", "2027-03-02", 4, 8))
	r := s.get(t, "BO", "2027-03-08")
	require.Equal(t, readinessv1.Flag_FLAG_NO_TARGETS, r.GetFlag())
	require.Nil(t, r.GetAll())
	require.Empty(t, r.GetProposals())
	require.Contains(t, r.GetReasons()[0], "PLAY asks for no skill")
	require.EqualValues(t, 4, skill(t, r, "COME").GetAll().GetSuccesses())
	require.EqualValues(t, 1, s.list(t, "HILL", "2027-03-08").GetNoTargets())
}

// TestNotAskedFor: a skill outside of the program is shown and changes no chance.
func TestNotAskedFor(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	for _, day := range []string{"2027-03-02", "2027-03-03", "2027-03-04"} {
		s.log(t, entry("BO", "HEEL", day, 5, 10))
	}
	before := s.get(t, "BO", "2027-03-08")
	s.log(t, entry("BO", "COME", "2027-03-05", 0, 20))
	r := s.get(t, "BO", "2027-03-08")
	require.Equal(t, before.GetAll().GetMean(), r.GetAll().GetMean())
	come := skill(t, r, "COME")
	require.Nil(t, come.GetTarget())
	require.Nil(t, come.GetBoth())
	require.Equal(t, come, r.GetSkills()[len(r.GetSkills())-1])
	require.EqualValues(t, 20, come.GetAll().GetTrials())
	require.EqualValues(t, before.GetSessions()+1, r.GetSessions())
}

// TestWhichSessionsCount: those of this stay up to the day, neither those of an earlier stay nor any before the arrival.
func TestWhichSessionsCount(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-01-04", "2027-01-18")
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.log(t, entry("BO", "HEEL", "2027-01-05", 1, 10))
	s.log(t, entry("BO", "HEEL", "2027-01-06", 2, 10))
	s.log(t, entry("BO", "HEEL", "2027-02-28", 9, 10))
	s.log(t, entry("BO", "HEEL", "2027-03-01", 3, 10))
	s.log(t, entry("BO", "HEEL", "2027-03-05", 6, 10))
	for day, want := range map[string][]int32{"2027-01-05": {1, 1}, "2027-01-18": {2, 3}, "2027-03-01": {1, 3}, "2027-03-04": {1, 3}, "2027-03-08": {2, 9}} {
		r := s.get(t, "BO", day)
		heel := skill(t, r, "HEEL")
		require.Equal(t, want, []int32{heel.GetSessions(), heel.GetAll().GetSuccesses()}, day)
		require.Equal(t, want[0], r.GetSessions())
	}
	require.Len(t, s.list(t, "", "2027-03-08").GetDogs(), 1)

	// A dog whose next stay begins on its graduation day is reckoned for the one that begins.
	s.stay(t, "BO", "TRIAL", "2027-03-15", "2027-03-29")
	require.Equal(t, "MANNERS", s.get(t, "BO", "2027-03-14").GetProgramCode())
	require.Equal(t, "TRIAL", s.get(t, "BO", "2027-03-15").GetProgramCode())
}

// TestGraduationDay: no session is to come any more. After it the dog is not there.
func TestGraduationDay(t *testing.T) {
	t.Parallel()
	s := newHill(t, time.Date(2027, 3, 15, 19, 0, 0, 0, time.UTC), everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	for _, day := range []string{"2027-03-02", "2027-03-03", "2027-03-04", "2027-03-14"} {
		s.log(t, entry("BO", "HEEL", day, 3, 10))
	}
	r := s.get(t, "BO", "2027-03-15")
	require.Equal(t, []int32{0, 0}, []int32{r.GetDaysLeft(), r.GetSessionsLeft()})
	require.Equal(t, readinessv1.Flag_FLAG_AT_RISK, r.GetFlag())
	for _, p := range r.GetProposals() {
		require.NotEqual(t, readinessv1.Proposal_KIND_MORE_SESSIONS, p.GetKind(), "there is no day for them")
	}
	require.Len(t, s.list(t, "HILL", "2027-03-15").GetDogs(), 1)
	require.Empty(t, s.list(t, "HILL", "2027-03-16").GetDogs())
	for _, day := range []string{"2027-02-28", "2027-03-16"} {
		_, err := s.ready.GetReadiness(t.Context(), &readinessv1.GetReadinessRequest{DogCode: "BO", Day: day})
		require.Equal(t, codes.FailedPrecondition, status.Code(err))
		require.ErrorContains(t, err, "BO is at no site on "+day+"; its stays are from 2027-03-01 to 2027-03-15: ask for a day of a stay")
	}
	s.sql(t, `update planner.stay set state = 'gone home'`)
	require.Empty(t, s.list(t, "HILL", "2027-03-15").GetDogs())
	require.True(t, strings.HasPrefix(s.get(t, "BO", "2027-03-15").GetReasons()[0], "HEEL: 12 of 40"), "one may still look at how it was")
}

// TestDayAhead: sessions between now and the day are taken as planned, so the chance is that of today.
func TestDayAhead(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.stay(t, "DOT", "MANNERS", "2027-03-11", "2027-03-25")
	for _, day := range []string{"2027-03-02", "2027-03-03", "2027-03-04"} {
		s.log(t, entry("BO", "HEEL", day, 5, 10))
	}
	today, ahead := s.get(t, "BO", "2027-03-08"), s.get(t, "BO", "2027-03-12")
	require.EqualValues(t, 14, today.GetSessionsLeft())
	require.Equal(t, today.GetSessionsLeft(), ahead.GetSessionsLeft())
	require.Equal(t, today.GetAll().GetMean(), ahead.GetAll().GetMean())
	require.Contains(t, strings.Join(ahead.GetWarnings(), "\n"), "2027-03-12 lies ahead: the sessions from 2027-03-08 on that are not logged")
	require.NotContains(t, strings.Join(today.GetWarnings(), "\n"), "lies ahead")
	require.EqualValues(t, 27, s.get(t, "DOT", "2027-03-12").GetSessionsLeft(), "it has not come yet: its whole stay is to come")

	// A session of today, and then the second one, are not to come any more.
	s.log(t, entry("BO", "HEEL", "2027-03-08", 5, 10))
	require.EqualValues(t, 13, s.get(t, "BO", "2027-03-08").GetSessionsLeft())
	require.EqualValues(t, 13, s.get(t, "BO", "2027-03-12").GetSessionsLeft())
	for range 2 {
		s.log(t, entry("BO", "SIT-STAY", "2027-03-08", 5, 10))
	}
	require.EqualValues(t, 12, s.get(t, "BO", "2027-03-08").GetSessionsLeft(), "a third one takes none away")
	// In the evening in Denver it is the next day in UTC already, and still the same day at the site.
	s.now = time.Date(2027, 3, 9, 3, 0, 0, 0, time.UTC)
	require.EqualValues(t, 12, s.get(t, "BO", "2027-03-09").GetSessionsLeft())
	require.Contains(t, strings.Join(s.get(t, "BO", "2027-03-09").GetWarnings(), "\n"), "2027-03-09 lies ahead")
}

// TestTrainersDaysOff: on a day off, in an absence and on a day at another site the dog has one session with somebody else.
func TestTrainersDaysOff(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, "1,2,3,4,5")
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	require.EqualValues(t, 5*2+2, s.get(t, "BO", "2027-03-08").GetSessionsLeft(), "Monday to Friday, Saturday and Sunday")
	s.sql(t, `insert into roster.absence (id, trainer_id, days, kind) select gen_random_uuid(), id, '[2027-03-09,2027-03-10]', 'sickness' from roster.trainer`)
	require.EqualValues(t, 3*2+4, s.get(t, "BO", "2027-03-08").GetSessionsLeft())
	s.sql(t, `insert into roster.loan (id, trainer_id, site_id, days) select gen_random_uuid(), t.id, s.id, '[2027-03-11,2027-03-11]'
		from roster.trainer t, facility.site s where s.code = 'VALE'`)
	r := s.get(t, "BO", "2027-03-08")
	require.EqualValues(t, 2*2+5, r.GetSessionsLeft())
	require.EqualValues(t, 2, r.GetDaysLeft())
}

// TestIsolatedDogs: a dog has no sessions while it is isolated, and it is said so.
func TestIsolatedDogs(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.stay(t, "DOT", "MANNERS", "2027-03-01", "2027-03-15")
	before := s.get(t, "BO", "2027-03-08")
	s.sql(t, `with run as (insert into facility.run (id, site_id, code, row_name, length_mm, width_mm, height_mm, isolation)
		  select gen_random_uuid(), id, 'Z1', 'Z', 2000, 2000, 2000, true from facility.site where code = 'HILL' returning id)
		insert into planner.isolation (id, request_id, stay_id, site_id, run_id, days, planned_days, suspected, reason, made_at, made_by)
		select gen_random_uuid(), y.request_id, y.id, y.site_id, run.id, '[2027-03-07,2027-03-11)', '[2027-03-07,2027-03-11)', '', 'coughs', now(), 'test'
		from run, planner.stay y join enrollment.request q on q.id = y.request_id join enrollment.dog d on d.id = q.dog_id where d.code = 'BO'`)
	r := s.get(t, "BO", "2027-03-08")
	require.EqualValues(t, before.GetSessionsLeft()-3*2, r.GetSessionsLeft(), "none from the 8th to the 10th")
	require.EqualValues(t, 4, r.GetDaysLeft())
	require.Contains(t, strings.Join(r.GetWarnings(), "\n"), "it is isolated until 2027-03-11 and has no sessions until then")
	require.Contains(t, strings.Join(r.GetWarnings(), "\n"), "planned 11", "one on the 1st, two a day to the 6th, none on the 7th")
	require.Less(t, r.GetAll().GetMean(), before.GetAll().GetMean())
	require.Equal(t, before.GetAll().GetMean(), s.get(t, "DOT", "2027-03-08").GetAll().GetMean())
	require.NotContains(t, strings.Join(s.get(t, "BO", "2027-03-11").GetWarnings(), "\n"), "isolated")
}

// TestFaultyRequests: each fault is named.
func TestFaultyRequests(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, everyDay)
	s.stay(t, "BO", "MANNERS", "2027-03-01", "2027-03-15")
	s.sql(t, `insert into enrollment.dog (id, code, owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note)
		select gen_random_uuid(), 'NEW', owner_id, name, breed, breed_tier, hound, sex, born, weight_g, length_mm, height_mm, bite_level, note from enrollment.dog`)
	for _, tt := range []struct {
		dog, day string
		code     codes.Code
		words    string
	}{
		{"BO", "8.3.2027", codes.InvalidArgument, "2027-03-14"}, {"BO", "", codes.InvalidArgument, "day"}, {"", "2027-03-08", codes.InvalidArgument, "dog_code"},
		{"REX", "2027-03-08", codes.NotFound, "longlead export dogs"}, {"NEW", "2027-03-08", codes.FailedPrecondition, "it has no stay at all"},
	} {
		_, err := s.ready.GetReadiness(t.Context(), &readinessv1.GetReadinessRequest{DogCode: tt.dog, Day: tt.day})
		require.Equal(t, tt.code, status.Code(err), tt)
		require.ErrorContains(t, err, tt.words)
	}
	_, err := s.ready.ListReadiness(t.Context(), &readinessv1.ListReadinessRequest{SiteCode: "MOON", Day: "2027-03-08"})
	require.Equal(t, codes.NotFound, status.Code(err))
	_, err = s.ready.ListReadiness(t.Context(), &readinessv1.ListReadinessRequest{SiteCode: "HILL", Day: "2027-02-30"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	require.Empty(t, s.list(t, "VALE", "2027-03-08").GetDogs())
	_, err = s.nobody.GetReadiness(t.Context(), &readinessv1.GetReadinessRequest{DogCode: "BO", Day: "2027-03-08"})
	require.Equal(t, codes.Unauthenticated, status.Code(err))
	_, err = s.nobody.ListReadiness(t.Context(), &readinessv1.ListReadinessRequest{Day: "2027-03-08"})
	require.Equal(t, codes.Unauthenticated, status.Code(err))
}
