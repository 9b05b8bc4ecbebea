package dayplan_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/longlead/longlead/services/internal/scenariotest"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

func (s *school) number(t testing.TB, sql string) (n int) {
	t.Helper()
	require.NoError(t, s.pool.QueryRow(t.Context(), sql).Scan(&n))
	return n
}

func (s *school) live(t testing.TB, site, day string) *dayplanv1.DayPlan {
	t.Helper()
	got, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: site, Day: day, KeptOnly: true})
	require.NoError(t, err)
	return got.GetPlan()
}

const march9 = "2027-03-09"

// TestReportedAbsence: the preview changes nothing; accepted, absence and day are kept together, as they were shown; the day is not stale then.
func TestReportedAbsence(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	s.plan(t, "TARN", march9)
	before := s.live(t, "TARN", march9)
	gone := before.GetBlocks()[0].GetTrainerCode()
	absences := s.number(t, `select count(*) from roster.absence`)
	ask := &dayplanv1.ReportAbsenceRequest{TrainerCode: gone, Day: march9, LastDay: "2027-03-10", Kind: "sickness", Preview: true}
	seen, err := s.days.ReportAbsence(t.Context(), ask)
	require.NoError(t, err)
	require.NotEmpty(t, seen.GetRepair().GetDifferences())
	require.NotEmpty(t, seen.GetRepair().GetFingerprint())
	require.Empty(t, seen.GetAbsenceId())
	require.Equal(t, absences, s.number(t, `select count(*) from roster.absence`), "a preview records nothing")
	require.True(t, proto.Equal(before, s.live(t, "TARN", march9)), "a preview keeps nothing")

	ask.Preview, ask.Fingerprint = false, seen.GetRepair().GetFingerprint()
	_, err = s.trainer.ReportAbsence(t.Context(), ask)
	require.Equal(t, codes.PermissionDenied, status.Code(err))
	kept, err := s.days.ReportAbsence(t.Context(), ask)
	require.NoError(t, err)
	require.Equal(t, seen.GetRepair().GetDifferences(), kept.GetRepair().GetDifferences(), "what was seen is what is kept")
	require.NotEmpty(t, kept.GetAbsenceId())
	require.Equal(t, absences+1, s.number(t, `select count(*) from roster.absence`))
	now := s.live(t, "TARN", march9)
	require.EqualValues(t, 2, now.GetNumber())
	require.False(t, now.GetStale(), "the plan knows of the absence")
	// The plan before has the trainer at work, so it is left out. A repair asks for as many sessions as the day did before; a day planned from
	// scratch would ask for fewer of dogs whose trainer is away.
	for _, part := range []string{"block", "pause", "duty", "dropped"} {
		_, err = s.pool.Exec(t.Context(), `delete from dayplan.`+part+` where plan_id in (select id from dayplan.plan where state = 'replaced')`)
		require.NoError(t, err)
	}
	_, err = s.pool.Exec(t.Context(), `delete from dayplan.plan where state = 'replaced'`)
	require.NoError(t, err)
	require.Subset(t, []string{"no dog loses a session silently"}, broken(t, s.pool))
	for _, b := range now.GetBlocks() {
		require.NotEqual(t, gone, b.GetTrainerCode(), "%v", b)
	}

	// Sent once more it is refused as a whole.
	_, err = s.days.ReportAbsence(t.Context(), ask)
	require.Error(t, err)
	require.Equal(t, absences+1, s.number(t, `select count(*) from roster.absence`))
	require.EqualValues(t, 2, s.live(t, "TARN", march9).GetNumber())
}

// TestAbsenceOfAChangedDay: what was looked at is refused once the records or the plan have changed, and nothing of it is recorded.
func TestAbsenceOfAChangedDay(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*testing.T, *school){
		"records": func(t *testing.T, s *school) {
			_, err := s.pool.Exec(t.Context(), `update facility.area set dogs_at_once = dogs_at_once + 1`)
			require.NoError(t, err)
		},
		"plan": func(t *testing.T, s *school) { s.plan(t, "QUILL", march9) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := newSchool(t)
			scenariotest.FillMarch(t, s.pool)
			before := s.plan(t, "QUILL", march9)
			gone := before.GetBlocks()[0].GetTrainerCode()
			absent, err := s.days.ReportAbsence(t.Context(), &dayplanv1.ReportAbsenceRequest{TrainerCode: gone, Day: march9, Kind: "leave", Preview: true})
			require.NoError(t, err)
			cover, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: march9})
			require.NoError(t, err)
			shut, err := s.days.CloseArea(t.Context(), &dayplanv1.CloseAreaRequest{SiteCode: "QUILL", Day: march9, AreaCode: "barn-hall", Reason: "floor", Preview: true})
			require.NoError(t, err)
			change(t, s)
			absences, plans := s.number(t, `select count(*) from roster.absence`), s.number(t, `select count(*) from dayplan.plan`)
			closures := s.number(t, `select count(*) from facility.area_closure`)
			_, err = s.days.ReportAbsence(t.Context(), &dayplanv1.ReportAbsenceRequest{TrainerCode: gone, Day: march9, Kind: "leave", Fingerprint: absent.GetRepair().GetFingerprint()})
			require.ErrorContains(t, err, "has changed since you looked")
			_, err = s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: march9, Keep: true, Fingerprint: cover.GetFingerprint()})
			require.ErrorContains(t, err, "has changed since you looked")
			_, err = s.days.CloseArea(t.Context(), &dayplanv1.CloseAreaRequest{SiteCode: "QUILL", Day: march9, AreaCode: "barn-hall", Reason: "floor",
				Since: shut.GetRepair().GetSince(), Fingerprint: shut.GetRepair().GetFingerprint()})
			require.ErrorContains(t, err, "has changed since you looked")
			require.Equal(t, []int{absences, plans, closures}, []int{s.number(t, `select count(*) from roster.absence`), s.number(t, `select count(*) from dayplan.plan`),
				s.number(t, `select count(*) from facility.area_closure`)})
		})
	}
}

// TestPreviewedConditions: looking at a closure or a forecast changes nothing; what was seen is what is kept.
func TestPreviewedConditions(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	s.plan(t, "TARN", march9)
	before := s.live(t, "TARN", march9)
	area := before.GetBlocks()[0].GetAreaCode()
	shut := &dayplanv1.CloseAreaRequest{SiteCode: "TARN", Day: march9, AreaCode: area, Reason: "a burst pipe", Preview: true}
	seen, err := s.days.CloseArea(t.Context(), shut)
	require.NoError(t, err)
	require.NotEmpty(t, seen.GetRepair().GetDifferences())
	hot := &dayplanv1.EnterForecastRequest{SiteCode: "TARN", Day: march9, Source: "the office", Preview: true,
		Hours: []*dayplanv1.ForecastHour{{Hour: "13:00", TemperatureTenths: 980, Unit: "F", Humidity: 60}}}
	heat, err := s.days.EnterForecast(t.Context(), hot)
	require.NoError(t, err)
	require.Contains(t, strings.Join(heat.GetRepair().GetNotes(), " "), "Heat, outdoors")
	require.Zero(t, s.number(t, `select count(*) from facility.area_closure where reason = 'a burst pipe'`)+s.number(t, `select count(*) from facility.forecast where source = 'the office'`))
	require.True(t, proto.Equal(before, s.live(t, "TARN", march9)))

	shut.Preview, shut.Since, shut.Fingerprint = false, seen.GetRepair().GetSince(), seen.GetRepair().GetFingerprint()
	kept, err := s.days.CloseArea(t.Context(), shut)
	require.NoError(t, err)
	require.Equal(t, seen.GetRepair().GetDifferences(), kept.GetRepair().GetDifferences())
	require.Equal(t, 1, s.number(t, `select count(*) from facility.area_closure where reason = 'a burst pipe'`))
	require.False(t, s.live(t, "TARN", march9).GetStale())
	require.Empty(t, broken(t, s.pool))

	// The forecast was looked at before the closure counted.
	hot.Preview, hot.Since, hot.Fingerprint = false, heat.GetRepair().GetSince(), heat.GetRepair().GetFingerprint()
	_, err = s.days.EnterForecast(t.Context(), hot)
	require.ErrorContains(t, err, "has changed since you looked")
	require.Zero(t, s.number(t, `select count(*) from facility.forecast where source = 'the office'`))
}

// TestAbsenceWithoutAPlan records the absence alone, and the answer says what counts on the day.
func TestAbsenceWithoutAPlan(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	require.Nil(t, s.live(t, "TARN", march9))
	ask := &dayplanv1.ReportAbsenceRequest{TrainerCode: "ANSEL", Day: march9, LastDay: "2027-03-11", Kind: "sickness", Preview: true}
	got, err := s.days.ReportAbsence(t.Context(), ask)
	require.NoError(t, err)
	require.Nil(t, got.GetRepair())
	ask.Preview = false
	got, err = s.days.ReportAbsence(t.Context(), ask)
	require.NoError(t, err)
	require.NotEmpty(t, got.GetAbsenceId())
	day, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "TARN", Day: march9, KeptOnly: true})
	require.NoError(t, err)
	require.Nil(t, day.GetPlan())
	away := day.GetConditions().GetAway()
	require.Len(t, away, 1)
	require.Equal(t, []string{"ANSEL", "sickness", "2027-03-11"}, []string{away[0].GetTrainerCode(), away[0].GetKind(), away[0].GetLastDay()})
	require.NotEmpty(t, day.GetConditions().GetAreas())
	for _, w := range day.GetConditions().GetWorkers() {
		require.NotEqual(t, "ANSEL", w.GetTrainerCode())
	}
	_, err = s.days.ReportAbsence(t.Context(), ask)
	require.Error(t, err, "away already")
}
