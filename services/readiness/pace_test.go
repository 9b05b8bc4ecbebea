package readiness_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

func (s *school) measure(t *testing.T, program, day string) *readinessv1.MeasurePaceResponse {
	t.Helper()
	got, err := s.ready.MeasurePace(t.Context(), &readinessv1.MeasurePaceRequest{ProgramCode: program, Day: day})
	require.NoError(t, err)
	return got
}

// TestMeasuredOnWhat recounts by SQL what a measurement rests on.
func TestMeasuredOnWhat(t *testing.T) {
	t.Parallel()
	s := newScenario(t)
	for _, program := range []string{"HOME21", "STEADY28", "FIRST14"} {
		var dogs, curves, sessions int32
		require.NoError(t, s.pool.QueryRow(t.Context(), `
			select count(distinct c.dog_id), count(distinct (c.dog_id, c.skill_id)), count(*)
			from training.session c join enrollment.request q on q.dog_id = c.dog_id join enrollment.program p on p.id = q.program_id
			join planner.stay y on y.request_id = q.id and y.nights @> c.day and y.state = 'in residence'
			where p.code = $1 and c.trials > 0 and c.day <= '2027-02-20' and not exists (select from training.session x where x.replaces_id = c.id)
			  and exists (select from training.target g where g.program_id = p.id and g.skill_id = c.skill_id)`, program).Scan(&dogs, &curves, &sessions))
		got := s.measure(t, program, "2027-02-20")
		require.Equal(t, []int32{dogs, curves, sessions}, []int32{got.GetDogs(), got.GetCurves(), got.GetSessions()}, program)
		require.Greater(t, sessions, int32(20))
		require.Nil(t, got.GetInUse().GetSetAt(), "the built-in default")
		require.Equal(t, workload.DefaultPace().Theta, got.GetInUse().GetPace().GetTheta())
	}
	none := s.measure(t, "HOME21", "2026-02-20")
	require.Zero(t, none.GetCurves())
	require.Contains(t, none.GetWarnings()[0], "nothing is logged")
	require.InDelta(t, workload.DefaultPace().Theta, none.GetMeasured().GetTheta(), 1e-12)
}

// TestPaceInUse measures dogs that learn as the default has it, sets the pace, and finds it in the reckoning; the history stays.
func TestPaceInUse(t *testing.T) {
	t.Parallel()
	s := newHill(t, noon, "1,2,3,4,5")
	day := calendar.MustDate("2027-03-08")
	source := rand.New(rand.NewPCG(9, 1))
	pupils, rows := make([]pupil, 40), []string{sessionsHeader}
	for i := range pupils {
		pupils[i] = drawPupil(source, i, day)
		rows = pupils[i].train(source, day, rows)
	}
	s.board(t, pupils, "TRIAL")
	s.take(t, csv("sessions", rows...))
	got := s.measure(t, "TRIAL", day.String())
	require.Equal(t, []int32{40, 40}, []int32{got.GetDogs(), got.GetCurves()})
	require.InEpsilon(t, workload.DefaultPace().Theta, got.GetMeasured().GetTheta(), .3)
	require.InEpsilon(t, workload.DefaultPace().HoldStart, got.GetMeasured().GetHoldStart(), .3)
	require.Empty(t, got.GetWarnings())

	before := s.get(t, "T-0000", day.String())
	require.False(t, before.GetPaceSet())
	set := func(p *readinessv1.Pace, note string) error {
		_, err := s.boss.SetPace(t.Context(), &readinessv1.SetPaceRequest{ProgramCode: "TRIAL", Pace: p, Note: note})
		s.now = s.now.Add(time.Second)
		return err
	}
	require.NoError(t, set(&readinessv1.Pace{Theta: .02, HoldGrowth: .02}, "slow dogs"))
	slow := s.get(t, "T-0000", day.String())
	require.True(t, slow.GetPaceSet())
	require.Less(t, slow.GetAll().GetMean(), before.GetAll().GetMean())
	require.Greater(t, skill(t, slow, "HEEL").GetCurve().GetStanding(), skill(t, before, "HEEL").GetCurve().GetStanding(), "quick among slow dogs")
	require.NoError(t, set(got.GetMeasured(), "as measured"))
	now := s.measure(t, "TRIAL", day.String())
	require.Equal(t, []string{"MIA", "as measured"}, []string{now.GetInUse().GetSetBy(), now.GetInUse().GetNote()})
	require.Equal(t, got.GetMeasured().GetHoldGrowthSpread(), now.GetInUse().GetPace().GetHoldGrowthSpread())
	require.Equal(t, got.GetMeasured().GetTheta(), now.GetMeasured().GetTheta(), "what is in use does not feed on itself")
	require.NoError(t, set(&readinessv1.Pace{}, "back to the default"))
	again := s.get(t, "T-0000", day.String())
	require.InDelta(t, before.GetAll().GetMean(), again.GetAll().GetMean(), 1e-12)
	var kept int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from readiness.pace`).Scan(&kept))
	require.Equal(t, 3, kept)

	require.Equal(t, codes.InvalidArgument, status.Code(set(&readinessv1.Pace{Theta: .95}, "too quick")))
	require.Equal(t, codes.InvalidArgument, status.Code(set(&readinessv1.Pace{StartSpread: -1}, "too sure")))
	require.Equal(t, codes.InvalidArgument, status.Code(set(&readinessv1.Pace{}, "   ")))
	require.Equal(t, codes.InvalidArgument, status.Code(set(nil, "none")))
	_, err := s.ready.SetPace(t.Context(), &readinessv1.SetPaceRequest{ProgramCode: "TRIAL", Pace: &readinessv1.Pace{}, Note: "by a trainer"})
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	_, err = s.boss.SetPace(t.Context(), &readinessv1.SetPaceRequest{ProgramCode: "MOON", Pace: &readinessv1.Pace{}, Note: "unknown"})
	require.Equal(t, codes.NotFound, status.Code(err))
	_, err = s.ready.MeasurePace(t.Context(), &readinessv1.MeasurePaceRequest{ProgramCode: "MOON", Day: "2027-03-08"})
	require.Equal(t, codes.NotFound, status.Code(err))
	_, err = s.ready.MeasurePace(t.Context(), &readinessv1.MeasurePaceRequest{ProgramCode: "TRIAL", Day: "soon"})
	require.Equal(t, codes.InvalidArgument, status.Code(err))
	s.sql(t, `insert into readiness.pace select program_id, $1::timestamptz, set_by, note, share_start, share_start_spread, theta, theta_spread, hold_start, hold_start_spread, hold_growth, hold_growth_spread
		from readiness.pace limit 1`, s.now)
	require.Equal(t, codes.AlreadyExists, status.Code(set(&readinessv1.Pace{}, "at once")))
}
