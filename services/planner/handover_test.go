package planner_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/planner"
)

// TestWhatHandoversKnow: stays are found by dog and by request, whatever became of them, with all that an owner is told.
func TestWhatHandoversKnow(t *testing.T) {
	t.Parallel()
	s := newSchool(t)
	k, ctx := planner.HandoverKnown(), t.Context()
	stay, err := k.StayOf(ctx, s.pool, "D-021")
	require.NoError(t, err)
	require.Equal(t, []string{"F-021", "D-021", "Penny"}, []string{stay.RequestCode, stay.DogCode, stay.DogName})
	require.Equal(t, calendar.MustDate("2027-03-13"), stay.Graduation)
	require.False(t, stay.OwnerID.IsZero() || stay.SiteID.IsZero() || stay.TrainerID.IsZero() || stay.ProgramID.IsZero())
	same, err := k.StayOf(ctx, s.pool, "F-021")
	require.NoError(t, err)
	require.Equal(t, stay, same)
	for _, code := range []string{"D-999", "M-001", ""} {
		_, err = k.StayOf(ctx, s.pool, code)
		require.ErrorIs(t, err, apperr.NotFound, code)
		require.Equal(t, "STAY_UNKNOWN", apperr.ReasonOf(err))
	}
	skills, err := k.Skills(ctx, s.pool, stay.ProgramID)
	require.NoError(t, err)
	require.NotEmpty(t, skills)
	for i, skill := range skills {
		require.NotEmpty(t, skill.Name)
		require.Positive(t, len(skill.Code), i)
	}

	// A stay that was replaced does not count, one that was cancelled counts until there is another.
	_, err = s.pool.Exec(ctx, `update planner.stay set state = 'cancelled' where id = $1`, stay.ID)
	require.NoError(t, err)
	cancelled, err := k.StayOf(ctx, s.pool, "D-021")
	require.NoError(t, err)
	require.Equal(t, stay, cancelled)
	_, err = s.pool.Exec(ctx, `update planner.stay set state = 'replaced' where id = $1`, stay.ID)
	require.NoError(t, err)
	stays, err := k.StaysOf(ctx, s.pool, []ids.RequestID{stay.RequestID})
	require.NoError(t, err)
	require.Empty(t, stays)
	sites, err := k.Sites(ctx, s.pool)
	require.NoError(t, err)
	require.Len(t, sites, 4)
	areas, err := k.Areas(ctx, s.pool)
	require.NoError(t, err)
	require.Len(t, areas, 20)
	for _, a := range areas {
		require.Positive(t, a.DogsAtOnce, a.Code)
	}
	trainers, err := k.Trainers(ctx, s.pool)
	require.NoError(t, err)
	require.NotEmpty(t, trainers[0].Name)
}
