package apperr_test

import (
	"errors"
	"fmt"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/apperr"
)

func TestConstructorsSetKindReasonAndMessage(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		make func(reason, format string, args ...any) *apperr.Error
		kind apperr.Kind
		name string
	}{
		{apperr.Invalidf, apperr.Invalid, "invalid"},
		{apperr.NotFoundf, apperr.NotFound, "not found"},
		{apperr.Conflictf, apperr.Conflict, "conflict"},
		{apperr.Preconditionf, apperr.Precondition, "precondition"},
		{apperr.Unavailablef, apperr.Unavailable, "unavailable"},
		{apperr.Deniedf, apperr.Denied, "denied"},
		{apperr.Unauthenticatedf, apperr.Unauthenticated, "unauthenticated"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			err := tc.make("SOME_REASON", "run %d is gone", 7)
			require.Equal(t, "run 7 is gone", err.Error())
			require.Equal(t, tc.name, tc.kind.String())

			wrapped := fmt.Errorf("list runs: %w", err)
			require.Equal(t, tc.kind, apperr.KindOf(wrapped))
			require.Equal(t, "SOME_REASON", apperr.ReasonOf(wrapped))
			require.ErrorIs(t, wrapped, tc.kind)
			for _, other := range []apperr.Kind{apperr.Internal, apperr.Invalid, apperr.NotFound, apperr.Conflict} {
				require.Equal(t, other == tc.kind, errors.Is(wrapped, other))
			}
		})
	}
}

func TestOtherErrorsAreInternal(t *testing.T) {
	t.Parallel()
	require.Equal(t, apperr.Internal, apperr.KindOf(io.EOF))
	require.Equal(t, apperr.Internal, apperr.KindOf(nil))
	require.Empty(t, apperr.ReasonOf(io.EOF))
	_, ok := apperr.From(io.EOF)
	require.False(t, ok)
	require.Equal(t, "kind 99", apperr.Kind(99).String())
	require.Equal(t, "internal", (&apperr.Error{}).Error())
}

func TestTheOutermostErrorDecides(t *testing.T) {
	t.Parallel()
	inner := apperr.NotFoundf("RUN_NOT_FOUND", "run 7 does not exist")
	outer := apperr.Invalidf("BAD_PLACEMENT", "The placement names an unknown run.").Because(inner)
	require.Equal(t, apperr.Invalid, apperr.KindOf(outer))
	require.ErrorIs(t, outer, apperr.NotFound, "the cause stays reachable")
	require.Equal(t, "The placement names an unknown run.: run 7 does not exist", outer.Error())
	require.Equal(t, "The placement names an unknown run.", outer.Message, "users do not see the cause")
}

func TestFieldsAreWrittenInOrderAndCopiesAreIndependent(t *testing.T) {
	t.Parallel()
	base := apperr.InvalidField("arrival", "must be before graduation", "pick an earlier day")
	more := base.With(apperr.Field{Path: "row 3, weight_kg", Rule: "must be a number"})
	require.Equal(t, "The request has a field that cannot be accepted.: "+
		"arrival must be before graduation (pick an earlier day); row 3, weight_kg must be a number", more.Error())
	require.Len(t, base.Fields, 1)
	require.Len(t, more.Fields, 2)

	cause := base.Because(io.EOF)
	require.ErrorIs(t, cause, io.EOF)
	require.NotErrorIs(t, base, io.EOF)
}
