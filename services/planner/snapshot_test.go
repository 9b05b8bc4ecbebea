package planner

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/facility"
)

// TestSnapshotsComeBack packs inputs and problems as the regions of a draft need them, and requires that nothing is lost.
func TestSnapshotsComeBack(t *testing.T) {
	t.Parallel()
	for seed := range uint64(40) {
		in := randomMonth(seed)
		packed, err := packInputs(in)
		require.NoError(t, err)
		back, err := unpackInputs(packed)
		require.NoError(t, err)
		want, err := in.Fingerprint()
		require.NoError(t, err)
		got, err := back.Fingerprint()
		require.NoError(t, err)
		require.Equal(t, want, got)
		before, err := buildTask(in)
		require.NoError(t, err)
		after, err := buildTask(back)
		require.NoError(t, err)
		require.Equal(t, before.problem, after.problem)
		require.Equal(t, before.warm, after.warm)

		for _, part := range allocation.Split(&before.problem, 1) {
			problem := part.Problem(&before.problem)
			packed, err := packProblem(problem)
			require.NoError(t, err)
			back, err := allocation.ReadProblem(bytes.NewReader(packed))
			require.NoError(t, err)
			require.Equal(t, problem, back)
		}
	}
	_, err := unpackInputs([]byte("no such thing"))
	require.Error(t, err)
}

// TestFingerprintSeesClosures holds a fault that was: closures were left out of the digest, so that a plan could be published
// into a run that had been closed after it was drafted.
func TestFingerprintSeesClosures(t *testing.T) {
	t.Parallel()
	in := randomMonth(1)
	before, err := in.Fingerprint()
	require.NoError(t, err)
	run := &in.Runs[0]
	run.Closures = append(run.Closures, facility.Closure{RunID: run.ID, Days: in.Month.Span(), Reason: "new drains"})
	after, err := in.Fingerprint()
	require.NoError(t, err)
	require.NotEqual(t, before, after)
}
