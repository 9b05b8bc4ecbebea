package readiness_test

import (
	"io/fs"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/exchange"
	"github.com/longlead/longlead/services/workload"
	"github.com/longlead/longlead/testdata/scenario"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// recountSQL counts, for every dog that is there on a day and every skill that it was trained in or is to learn, straight from the
// tables: sessions, trials, passed, longest hold, and the same at the level that is asked for.
const recountSQL = `
	with here as (
	  select d.id as dog_id, d.code as dog, q.program_id, lower(y.nights) as arrival
	  from planner.stay y join enrollment.request q on q.id = y.request_id join enrollment.dog d on d.id = q.dog_id
	  where $1::date between lower(y.nights) and upper(y.nights) and y.state in ('published', 'confirmed', 'in residence')),
	counted as (
	  select s.* from training.session s
	  where s.id not in (select replaces_id from training.session where replaces_id is not null)
	    and s.trials > 0 and s.day <= $1)
	select h.dog, k.code as skill, g.skill_id is not null as asked, count(c.id) as sessions, coalesce(sum(c.trials), 0) as trials,
	  coalesce(sum(c.successes), 0) as successes, coalesce(max(c.hold_seconds), 0) as longest,
	  coalesce(sum(c.trials) filter (where c.distance_cm >= g.distance_cm and c.distraction >= g.distraction), 0) as level_trials,
	  coalesce(sum(c.successes) filter (where c.distance_cm >= g.distance_cm and c.distraction >= g.distraction), 0) as level_successes
	from here h cross join training.skill k
	left join training.target g on g.program_id = h.program_id and g.skill_id = k.id
	left join counted c on c.dog_id = h.dog_id and c.skill_id = k.id and c.day >= h.arrival
	group by 1, 2, 3 having g.skill_id is not null or count(c.id) > 0`

type recounted struct {
	dog, skill                                                        string
	asked                                                             bool
	sessions, trials, successes, longest, levelTrials, levelSuccesses int32
}

func (s *school) recount(t *testing.T, day string) map[[2]string]recounted {
	t.Helper()
	rows, err := s.pool.Query(t.Context(), recountSQL, day)
	require.NoError(t, err)
	defer rows.Close()
	found := map[[2]string]recounted{}
	for rows.Next() {
		var r recounted
		require.NoError(t, rows.Scan(&r.dog, &r.skill, &r.asked, &r.sessions, &r.trials, &r.successes, &r.longest, &r.levelTrials, &r.levelSuccesses))
		found[[2]string{r.dog, r.skill}] = r
	}
	require.NoError(t, rows.Err())
	return found
}

// TestRecount holds every number of every dog of the invented school against a count by SQL, on a day in the past, on the day itself
// and on one before most dogs came.
func TestRecount(t *testing.T) {
	t.Parallel()
	s := newScenario(t)
	for _, day := range []string{"2027-02-12", "2027-02-18", "2027-02-22"} {
		want := s.recount(t, day)
		list := s.list(t, "", day)
		require.Greater(t, len(list.GetDogs()), 10, day)
		sessions := 0
		for _, r := range list.GetDogs() {
			for _, k := range r.GetSkills() {
				key := [2]string{r.GetDogCode(), k.GetCode()}
				got := recounted{r.GetDogCode(), k.GetCode(), k.GetTarget() != nil, k.GetSessions(), k.GetAll().GetTrials(), k.GetAll().GetSuccesses(), k.GetLongestHoldSeconds(),
					k.GetAtLevel().GetTrials(), k.GetAtLevel().GetSuccesses()}
				counted := want[key]
				if k.GetAtLevel() == nil { // nothing is asked beyond the trials, so they are not told apart
					counted.levelTrials, counted.levelSuccesses = 0, 0
				}
				require.Equal(t, counted, got)
				requireWilson(t, k.GetAll())
				sessions += int(k.GetSessions())
				delete(want, key)
			}
		}
		require.Empty(t, want, "skills that the answer leaves out on %s", day)
		if day == "2027-02-22" {
			require.Greater(t, sessions, 360)
		}
	}
}

// requireWilson: the bounds are the rates at which what was seen lies z standard errors away, rounded outward.
func requireWilson(t *testing.T, k *readinessv1.Trials) {
	t.Helper()
	n := float64(k.GetTrials())
	if n == 0 {
		require.Equal(t, []int32{0, 100}, []int32{k.GetLowPercent(), k.GetHighPercent()})
		return
	}
	away := func(p float64) float64 { return math.Abs(float64(k.GetSuccesses())/n-p) / math.Sqrt(p*(1-p)/n) }
	if low := float64(k.GetLowPercent()) / 100; low > 0 {
		require.GreaterOrEqual(t, away(low), workload.Z95-1e-9)
		require.Less(t, away(low+.01), workload.Z95)
	}
	if high := float64(k.GetHighPercent()) / 100; high < 1 {
		require.GreaterOrEqual(t, away(high), workload.Z95-1e-9)
		require.Less(t, away(high-.01), workload.Z95)
	}
}

// leftSQL counts the sessions that are still to come of every dog that is there, from the weekly pattern, absences and loans.
const leftSQL = `
	with days as (
	  select d.code as dog, d.id as dog_id, day::date, p.sessions_a_day as n, day::date = lower(y.nights) as arrival,
	    exists (select from roster.shift h where h.trainer_id = y.trainer_id and h.weekday = extract(isodow from day)
	      and not exists (select from roster.absence a where a.trainer_id = h.trainer_id and a.days @> day::date)
	      and coalesce((select l.site_id from roster.loan l where l.trainer_id = h.trainer_id and l.days @> day::date), h.site_id) = y.site_id) as works
	  from planner.stay y join enrollment.request q on q.id = y.request_id join enrollment.dog d on d.id = q.dog_id
	  join enrollment.program p on p.id = q.program_id
	  cross join lateral generate_series(greatest($1::date, lower(y.nights)), upper(y.nights) - 1, '1 day') as day
	  where $1::date between lower(y.nights) and upper(y.nights) and y.state in ('published', 'confirmed', 'in residence'))
	select dog, sum(greatest(0, case when arrival or not works then 1 else n end - case when day = $1 then (
	    select count(*) from training.session s where s.dog_id = days.dog_id and s.day = $1 and s.trials > 0
	      and not exists (select from training.session x where x.replaces_id = s.id)) else 0 end))
	from days group by dog`

// TestSessionsLeft recounts the sessions that are still to come by SQL.
func TestSessionsLeft(t *testing.T) {
	t.Parallel()
	s := newScenario(t)
	for _, day := range []string{"2027-02-12", "2027-02-18", "2027-02-22"} {
		rows, err := s.pool.Query(t.Context(), leftSQL, day)
		require.NoError(t, err)
		want := map[string]int32{}
		for rows.Next() {
			var dog string
			var n int32
			require.NoError(t, rows.Scan(&dog, &n))
			want[dog] = n
		}
		require.NoError(t, rows.Err())
		sum := int32(0)
		for _, r := range s.list(t, "", day).GetDogs() {
			require.Equal(t, want[r.GetDogCode()], r.GetSessionsLeft(), "%s on %s", r.GetDogCode(), day)
			sum += r.GetSessionsLeft()
		}
		require.Greater(t, sum, int32(100))
	}
}

// TestOneAndAll: a dog that is asked for alone has the answer that it has in the list, the list of all sites is that of each, and the
// order is by flag and chance.
func TestOneAndAll(t *testing.T) {
	t.Parallel()
	s := newScenario(t)
	const day = "2027-02-22"
	all := s.list(t, "", day)
	alone := map[string]*readinessv1.Readiness{}
	for _, site := range []string{"DRUM", "FENN", "QUILL", "TARN"} {
		list := s.list(t, site, day)
		require.NotEmpty(t, list.GetDogs())
		for i, r := range list.GetDogs() {
			require.Equal(t, site, r.GetSiteCode())
			alone[r.GetDogCode()] = r
			if i > 0 {
				requireOrder(t, list.GetDogs()[i-1], r)
			}
		}
	}
	require.Len(t, all.GetDogs(), len(alone))
	with, err := s.ready.ListReadiness(t.Context(), &readinessv1.ListReadinessRequest{Day: day, WithProposals: true})
	require.NoError(t, err)
	proposed := with.GetDogs()
	require.EqualValues(t, len(alone), all.GetAtRisk()+all.GetTooFewData()+all.GetNoTargets()+all.GetOnCourse())
	require.Positive(t, all.GetAtRisk())
	for i, r := range all.GetDogs() {
		requireSame(t, alone[r.GetDogCode()], r)
		one := s.get(t, r.GetDogCode(), day)
		require.NotEmpty(t, one.GetProposals())
		requireSame(t, one, proposed[i])
		one.Proposals = nil
		requireSame(t, one, r)
		if i > 0 {
			requireOrder(t, all.GetDogs()[i-1], r)
		}
		product, sum, asked := 1.0, 0.0, 0
		for _, k := range r.GetSkills() {
			if k.GetTarget() != nil {
				product *= k.GetBoth().GetMean()
				sum += k.GetBoth().GetMean()
				asked++
			}
		}
		require.EqualValues(t, asked, r.GetTargets())
		require.InDelta(t, sum, r.GetTargetsExpected(), 1e-12)
		require.InDelta(t, product, r.GetAll().GetMean(), 1e-12)
	}
}

func requireOrder(t *testing.T, before, after *readinessv1.Readiness) {
	t.Helper()
	require.LessOrEqual(t, before.GetFlag(), after.GetFlag())
	if before.GetFlag() == after.GetFlag() {
		require.LessOrEqual(t, before.GetAll().GetMean(), after.GetAll().GetMean())
	}
}

func requireSame(t *testing.T, want, got *readinessv1.Readiness) {
	t.Helper()
	require.True(t, proto.Equal(want, got), "want %v\ngot  %v", want, got)
}

// TestReplayedLogs imports all sessions once more, corrections among them: nothing changes.
func TestReplayedLogs(t *testing.T) {
	t.Parallel()
	s := newScenario(t)
	before := s.list(t, "", "2027-02-22")
	content, err := fs.ReadFile(scenario.FS, "sessions.csv")
	require.NoError(t, err)
	s.take(t, exchange.File{Name: "sessions.csv", Content: content})
	require.True(t, proto.Equal(before, s.list(t, "", "2027-02-22")))
}
