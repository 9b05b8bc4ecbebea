package dayplan_test

import (
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayplan"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/scenariotest"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/planner"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// graduate is a dog that goes home from TARN on a day, and when that day begins.
type graduate struct {
	stay  planner.Stay
	dog   string
	start time.Time
	day   calendar.Date
}

// appoint gives the first dog that goes home from TARN in March an appointment, with its own trainer in the hall.
func (s *school) appoint(t testing.TB, from, to string) graduate {
	t.Helper()
	site, err := facility.FindSite(t.Context(), s.pool, "TARN")
	require.NoError(t, err)
	stays, err := planner.ListGraduations(t.Context(), s.pool, site.ID, calendar.MustMonth("2027-03").Span())
	require.NoError(t, err)
	require.NotEmpty(t, stays)
	g := graduate{stay: stays[0], day: stays[0].Nights.To}
	zone, err := calendar.LoadZone(site.Zone)
	require.NoError(t, err)
	g.start, _, err = calendar.DayBounds(g.day, zone)
	require.NoError(t, err)
	begins, ends := at(t, g.day, from, zone), at(t, g.day, to, zone)
	require.NoError(t, s.pool.QueryRow(t.Context(), `
		with a as (
		  insert into handover.appointment (id, purpose, stay_id, request_id, dog_id, owner_id, site_id, trainer_id, area_id, gate, begins, ends, state, version, revision, wish,
		    late_minutes, made_at, changed_at)
		  select gen_random_uuid(), 'handover', $1, r.id, d.id, d.owner_id, $3, $4, (select id from facility.area where site_id = $3 and code = 'hall'), 'gate', $5, $6, 'offered', 1, 1, '',
		    0, now(), now()
		  from enrollment.request r join enrollment.dog d on d.id = r.dog_id where r.id = $2 returning dog_id)
		select code from enrollment.dog where id = (select dog_id from a)`, g.stay.ID, g.stay.RequestID, site.ID, g.stay.TrainerID, begins, ends).Scan(&g.dog))
	return g
}

func at(t testing.TB, day calendar.Date, clock string, zone *time.Location) time.Time {
	t.Helper()
	when, err := calendar.At(day, calendar.MustClock(clock), zone)
	require.NoError(t, err)
	return when
}

// move gives the appointment another time.
func (s *school) move(t testing.TB, g graduate, from, to string) {
	t.Helper()
	zone, err := calendar.LoadZone("America/Denver")
	require.NoError(t, err)
	_, err = s.pool.Exec(t.Context(), `update handover.appointment set begins = $2, ends = $3 where stay_id = $1`, g.stay.ID, at(t, g.day, from, zone), at(t, g.day, to, zone))
	require.NoError(t, err)
}

func handoverOf(t testing.TB, p *dayplanv1.DayPlan, dog string) *dayplanv1.Duty {
	t.Helper()
	for _, d := range p.GetDuties() {
		if d.GetDogCode() == dog && d.GetKind() == dayplan.KindHandover {
			return d
		}
	}
	t.Fatalf("no handover of %s in %v", dog, p.GetDuties())
	return nil
}

// evenings work on days as the schedule does.
func (s *school) evenings(t testing.TB) *dayplan.Evenings {
	t.Helper()
	client, err := jobs.New(s.pool, nil, jobs.Config{})
	require.NoError(t, err)
	return dayplan.NewEvenings(dayplan.EveningsDeps{Pool: s.pool, Jobs: client, Mint: ids.NewMint(), Now: func() time.Time { return s.now }, Log: slog.New(slog.DiscardHandler)})
}

// TestAppointedHandovers: a handover is when its owner was asked to come, with the trainer whom the owner expects; nobody else works in its
// area meanwhile, and its dog and trainer do nothing else.
func TestAppointedHandovers(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	g := s.appoint(t, "11:15", "12:45")
	p := s.plan(t, "TARN", g.day.String())
	d := handoverOf(t, p, g.dog)
	require.Equal(t, []string{"11:15", "12:45"}, []string{d.GetStarts(), d.GetEnds()})
	var own string
	require.NoError(t, s.pool.QueryRow(t.Context(), `select code from roster.trainer where id = $1`, g.stay.TrainerID).Scan(&own))
	require.Equal(t, own, d.GetTrainerCode())
	require.NotEmpty(t, p.GetBlocks())
	for _, b := range p.GetBlocks() {
		meets := b.GetStarts() < "12:45" && b.GetEnds() > "11:15"
		require.False(t, meets && b.GetAreaCode() == "hall", "%v", b)
		require.False(t, meets && b.GetTrainerCode() == own, "%v", b)
		require.False(t, b.GetEnds() > "11:15" && b.GetDogCode() == g.dog, "%v", b)
	}
	require.Empty(t, broken(t, s.pool))
}

// TestAMovedAppointmentMovesTheDay: the plan shows as made from other records, and the job changes the rest of the day alone, and little of it;
// what has been stays. The job done again does nothing.
func TestAMovedAppointmentMovesTheDay(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	g := s.appoint(t, "11:15", "12:45")
	day := g.day.String()
	before := s.plan(t, "TARN", day)
	s.move(t, g, "15:00", "16:30")
	got, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "TARN", Day: day})
	require.NoError(t, err)
	require.True(t, got.GetPlan().GetStale())

	s.now = g.start.Add(10 * time.Hour) // 10 in the morning
	e := s.evenings(t)
	require.NoError(t, e.Fit(t.Context(), g.stay.SiteID, g.day))
	got, err = s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "TARN", Day: day})
	require.NoError(t, err)
	after := got.GetPlan()
	require.False(t, after.GetStale())
	require.EqualValues(t, 2, after.GetNumber())
	require.Equal(t, "15:00", handoverOf(t, after, g.dog).GetStarts())
	was, now, other := byKey(before), byKey(after), 0
	for key, b := range was {
		if same := now[key] != nil && sameBlock(b, now[key]); !same {
			other++
			require.GreaterOrEqual(t, b.GetStarts(), "10:00", "what has been stays: %v", b)
		}
	}
	require.LessOrEqual(t, other, len(was)/4, "few blocks change: %d of %d", other, len(was))
	require.Empty(t, broken(t, s.pool))
	require.NoError(t, e.Fit(t.Context(), g.stay.SiteID, g.day))
	require.NoError(t, e.Fit(t.Context(), g.stay.SiteID, g.day.AddDays(1)), "a day without a plan gets none")
	var plans int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from dayplan.plan`).Scan(&plans))
	require.Equal(t, 2, plans)
}

// TestAnAppointmentOverABreak: the break makes room, and is still held, after the time from which the day is planned anew.
func TestAnAppointmentOverABreak(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	g := s.appoint(t, "15:00", "16:30")
	before := s.plan(t, "TARN", g.day.String())
	own := handoverOf(t, before, g.dog).GetTrainerCode()
	breaks := func(p *dayplanv1.DayPlan) (out []*dayplanv1.Rest) {
		for _, r := range p.GetRests() {
			if r.GetTrainerCode() == own {
				out = append(out, r)
			}
		}
		return out
	}
	require.NotEmpty(t, breaks(before))
	meal := breaks(before)[0]
	for _, r := range breaks(before) {
		if r.GetKind() == dayplan.KindMeal {
			meal = r
		}
	}
	starts := calendar.MustClock(meal.GetStarts())
	s.move(t, g, starts.String(), (starts + 90).String())
	s.now = g.start.Add(9 * time.Hour)
	require.NoError(t, s.evenings(t).Fit(t.Context(), g.stay.SiteID, g.day))
	got, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "TARN", Day: g.day.String()})
	require.NoError(t, err)
	require.Equal(t, meal.GetStarts(), handoverOf(t, got.GetPlan(), g.dog).GetStarts())
	require.Equal(t, own, handoverOf(t, got.GetPlan(), g.dog).GetTrainerCode())
	require.Len(t, breaks(got.GetPlan()), len(breaks(before)))
	for _, r := range breaks(got.GetPlan()) {
		require.False(t, r.GetStarts() < (starts+90).String() && r.GetEnds() > starts.String(), "%v", r)
	}
	require.Empty(t, broken(t, s.pool))
}

// TestTheExpectedTrainerIsAway: somebody else who may holds the handover at its time, and the plan says so.
func TestTheExpectedTrainerIsAway(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	g := s.appoint(t, "11:15", "12:45")
	_, err := s.pool.Exec(t.Context(), `insert into roster.absence (id, trainer_id, days, kind) values (gen_random_uuid(), $1, daterange($2::date, $2::date + 1), 'sickness')`, g.stay.TrainerID, g.day.String())
	require.NoError(t, err)
	p := s.plan(t, "TARN", g.day.String())
	d := handoverOf(t, p, g.dog)
	require.Equal(t, "11:15", d.GetStarts())
	notes := strings.Join(p.GetNotes(), " ")
	if d.GetTrainerCode() == "" {
		require.Contains(t, notes, "Nobody is free for the handover of "+g.dog)
		return
	}
	require.Contains(t, notes, "The owner of "+g.dog+" was asked to come at 11:15")
	require.Contains(t, notes, d.GetTrainerCode()+" hands over")
}

// TestArrivalsKeepClearOfTheGate: no dog arrives when another goes home through the same gate, and through another gate it may.
func TestArrivalsKeepClearOfTheGate(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	g := s.appoint(t, "09:00", "10:30") // intakes are put at nine where they can be
	intakes := func(gate string) (starts []string) {
		_, err := s.pool.Exec(t.Context(), `update handover.appointment set gate = $1`, gate)
		require.NoError(t, err)
		for _, d := range s.plan(t, "TARN", g.day.String()).GetDuties() {
			if d.GetKind() == dayplan.KindIntake {
				starts = append(starts, d.GetStarts())
			}
		}
		require.NotEmpty(t, starts)
		return starts
	}
	require.NotContains(t, intakes("main gate"), "09:00")
	require.Contains(t, intakes("back gate"), "09:00")
}
