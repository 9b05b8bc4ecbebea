package dayplan_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/scenariotest"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

type blockKey struct {
	dog     string
	session int32
}

func byKey(p *dayplanv1.DayPlan) map[blockKey]*dayplanv1.Block {
	out := map[blockKey]*dayplanv1.Block{}
	for _, b := range p.GetBlocks() {
		out[blockKey{b.GetDogCode(), b.GetSession()}] = b
	}
	return out
}

func sameBlock(a, b *dayplanv1.Block) bool {
	return a.GetTrainerCode() == b.GetTrainerCode() && a.GetAreaCode() == b.GetAreaCode() && a.GetStarts() == b.GetStarts() && a.GetEnds() == b.GetEnds()
}

// TestAbsence takes each trainer out of a day, from its start, in the middle and at its end. What lies before stays, the absent one does
// nothing after, the differences are all there are, and no rule is broken.
func TestAbsence(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	before := s.plan(t, "TARN", "2027-03-09")
	blocks := byKey(before)
	covered := 0
	for _, shift := range before.GetShifts() {
		gone := shift.GetTrainerCode()
		for _, from := range []string{"", "10:00", "13:02"} {
			got, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: "2027-03-09", From: from})
			require.NoError(t, err, "%s from %s", gone, from)
			after := byKey(got.GetPlan())
			differs := map[blockKey]*dayplanv1.Difference{}
			for _, d := range got.GetDifferences() {
				if d.GetSession() > 0 {
					differs[blockKey{d.GetDogCode(), d.GetSession()}] = d
				}
				require.NotEqual(t, d.GetBefore(), d.GetAfter())
				require.True(t, d.GetKind() != dayplanv1.Difference_KIND_DROPPED || d.GetAfter() != "" && d.GetRemedy() != "", "what is dropped has a reason and a remedy")
			}
			for key, b := range blocks {
				a, held := after[key]
				require.Equal(t, !held || !sameBlock(a, b), differs[key] != nil, "%s from %s: %v", gone, from, key)
				if b.GetStarts() < from && (b.GetTrainerCode() != gone || b.GetEnds() <= from) {
					require.True(t, held && sameBlock(a, b), "%s from %s moves what lies before: %v, %v", gone, from, b, a)
				}
				if held && differs[key] != nil {
					require.GreaterOrEqual(t, a.GetStarts(), from)
				}
			}
			for key, a := range after {
				require.False(t, a.GetTrainerCode() == gone && a.GetStarts() >= from, "%s works on after %s: %v", gone, from, a)
				require.True(t, blocks[key] != nil || differs[key].GetKind() == dayplanv1.Difference_KIND_GAINED, "%v is held now and not told", key)
			}
			covered += int(got.GetCovered())
			require.Zero(t, got.GetPlan().GetNumber(), "nothing is kept unless asked for")
		}
	}
	require.Positive(t, covered)
	now, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "TARN", Day: "2027-03-09"})
	require.NoError(t, err)
	require.Equal(t, before.GetId(), now.GetPlan().GetId())
}

// onBothSides finds a trainer who has work before a time and after it: one without any before would be in no plan once gone from then on.
func onBothSides(t *testing.T, p *dayplanv1.DayPlan, at string) string {
	t.Helper()
	earlier := map[string]bool{}
	for _, b := range p.GetBlocks() {
		if b.GetEnds() <= at {
			earlier[b.GetTrainerCode()] = true
		}
	}
	for _, b := range p.GetBlocks() {
		if code := b.GetTrainerCode(); earlier[code] && b.GetStarts() >= at {
			return code
		}
	}
	require.FailNow(t, "no trainer works before and after", at)
	return ""
}

// TestKeptAbsence keeps a repaired day: its rows break no rule, and the roster is as it was. Repaired again it does not change.
func TestKeptAbsence(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	scenariotest.FillMarch(t, s.pool)
	before := s.plan(t, "FENN", "2027-03-09")
	gone := onBothSides(t, before, "11:00")
	got, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: "2027-03-09", From: "11:00", Keep: true})
	require.NoError(t, err)
	require.EqualValues(t, 2, got.GetPlan().GetNumber())
	require.NotEmpty(t, got.GetDifferences())
	require.Empty(t, broken(t, s.pool))
	var absences int
	require.NoError(t, s.pool.QueryRow(t.Context(), `select count(*) from roster.absence a join roster.trainer t on t.id = a.trainer_id where t.code = $1 and a.days @> '2027-03-09'::date`, gone).Scan(&absences))
	require.Zero(t, absences)
	again, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: "2027-03-09", From: "11:00"})
	require.NoError(t, err)
	require.Zero(t, again.GetDropped()+again.GetCovered(), "the trainer has nothing left to cover: %v", again.GetDifferences())

	// The roster hears of it as well: what the trainer did before stays in the plan.
	_, err = s.pool.Exec(t.Context(), `insert into roster.absence (id, trainer_id, days, kind) select gen_random_uuid(), id, '[2027-03-09,2027-03-10)', 'sickness' from roster.trainer where code = $1`, gone)
	require.NoError(t, err)
	later, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: gone, Day: "2027-03-09", From: "11:00"})
	require.NoError(t, err)
	require.Contains(t, strings.Join(later.GetNotes(), " "), "records have changed")
	for key, b := range byKey(got.GetPlan()) {
		if b.GetTrainerCode() == gone {
			require.True(t, sameBlock(b, byKey(later.GetPlan())[key]), "%v", b)
		}
	}
}
