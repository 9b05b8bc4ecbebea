package dayplan_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// TestIsolatedDogsHaveNoSessions: a dog in isolation is worked by nobody, each of its sessions says why, and a plan that was made before is
// out of date; on the day on which it may come out it has sessions again.
func TestIsolatedDogsHaveNoSessions(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	before := s.plan(t, "FENN", "2027-03-08")
	const ill = "D-021"
	require.NotEmpty(t, blocksOf(before, ill))
	_, err := s.pool.Exec(t.Context(), `insert into planner.isolation (id, request_id, stay_id, site_id, run_id, days, planned_days, suspected, reason, made_at, made_by)
		select gen_random_uuid(), a.request_id, a.id, a.site_id, (select id from facility.run where site_id = a.site_id and code = 'Z1'), '[2027-03-08,2027-03-12)', '[2027-03-08,2027-03-12)', '', 'coughs', now(), 'test'
		from planner.stay a join enrollment.request q on q.id = a.request_id where q.code = 'F-021'`)
	require.NoError(t, err)
	got, err := s.viewer.GetDay(t.Context(), &dayplanv1.GetDayRequest{SiteCode: "FENN", Day: "2027-03-08"})
	require.NoError(t, err)
	require.True(t, got.GetPlan().GetStale())

	// At 11:00 somebody goes home: what the dog did before stays, and nothing comes after.
	repaired, err := s.days.CoverAbsence(t.Context(), &dayplanv1.CoverAbsenceRequest{TrainerCode: "MILO", Day: "2027-03-08", From: "11:00"})
	require.NoError(t, err)
	for _, b := range blocksOf(repaired.GetPlan(), ill) {
		require.Less(t, b.GetStarts(), "11:00")
	}
	for _, b := range blocksOf(before, ill) {
		if b.GetStarts() < "11:00" {
			require.Contains(t, startsOf(repaired.GetPlan(), ill), b.GetStarts(), "what lies before stays")
		}
	}
	after := s.plan(t, "FENN", "2027-03-08")
	require.Empty(t, blocksOf(after, ill))
	told := 0
	for _, d := range after.GetDrops() {
		if d.GetDogCode() == ill {
			told++
			require.Equal(t, "it is isolated in run Z1", d.GetReason())
			require.NotEmpty(t, d.GetRemedy())
		}
	}
	require.Equal(t, len(blocksOf(before, ill)), told, "no session is lost silently")
	require.Contains(t, strings.Join(after.GetNotes(), " "), "D-021 is isolated in run Z1")
	require.NotEmpty(t, blocksOf(s.plan(t, "FENN", "2027-03-12"), ill))
}

func blocksOf(p *dayplanv1.DayPlan, dog string) (found []*dayplanv1.Block) {
	for _, b := range p.GetBlocks() {
		if b.GetDogCode() == dog {
			found = append(found, b)
		}
	}
	return found
}

func startsOf(p *dayplanv1.DayPlan, dog string) (starts []string) {
	for _, b := range blocksOf(p, dog) {
		starts = append(starts, b.GetStarts())
	}
	return starts
}
