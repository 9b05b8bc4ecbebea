package workload_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/workload"
)

// TestCalibration simulates dogs from the prior, predicts each in the middle of its stay and lets it finish: of dogs given a
// chance of 70 %, about 70 % must meet the target.
func TestCalibration(t *testing.T) {
	t.Parallel()
	tables, err := workload.Calibrate(workload.Calibration{Dogs: 5000, Seed: 1})
	require.NoError(t, err)
	require.Len(t, tables, 3)
	for _, table := range tables {
		t.Log("\n" + table.String())
		require.Len(t, table.Bands, 10)
		dogs := 0
		for _, b := range table.Bands {
			require.GreaterOrEqual(t, b.Dogs, workload.CalibrationDogs, "%s: too few dogs in the band from %v", table.Event, b.From)
			require.InDelta(t, b.Predicted, b.Seen, b.Allowed, "%s: the band from %v", table.Event, b.From)
			require.Less(t, b.Allowed, .2, "a band this wide would let anything pass")
			dogs += b.Dogs
		}
		require.Equal(t, 5000, dogs)
		require.True(t, table.Holds())
	}
	// Single targets have 95 % intervals; that of both is wider by design.
	require.InDelta(t, .95, tables[0].Covered, .02)
	require.InDelta(t, .95, tables[1].Covered, .02)
	require.Greater(t, tables[2].Covered, .95)
}

// TestCalibrationCanFail: predictions that take dogs to learn twice, or half, as quickly as they do fail the same test.
func TestCalibrationCanFail(t *testing.T) {
	t.Parallel()
	pace := workload.DefaultPace()
	quick, slow, grown := pace, pace, pace
	quick.Theta *= 2
	slow.Theta /= 2
	grown.HoldGrowth *= 2
	const share, hold = 0, 1
	for _, tt := range []struct {
		name    string
		assumed workload.Pace
		// wrong is the table that must fail, right the one that the mistake does not touch.
		wrong, right int
	}{
		{"theta doubled", quick, share, hold},
		{"theta halved", slow, share, hold},
		{"growth of holds doubled", grown, hold, share},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			tables, err := workload.Calibrate(workload.Calibration{Dogs: 2000, Seed: 1, Assumed: tt.assumed})
			require.NoError(t, err)
			require.False(t, tables[tt.wrong].Holds(), tables[tt.wrong].String())
			require.Contains(t, tables[tt.wrong].String(), "differs")
			require.True(t, tables[tt.right].Holds(), tables[tt.right].String())
			require.Less(t, tables[tt.wrong].Covered, .93, "intervals that are too sure of a wrong pace")
		})
	}
}

func TestCalibrationIsRepeatable(t *testing.T) {
	t.Parallel()
	calibrate := func(seed uint64) []workload.CalibrationTable {
		tables, err := workload.Calibrate(workload.Calibration{Dogs: 50, Seed: seed})
		require.NoError(t, err)
		require.False(t, tables[0].Holds(), "50 dogs fill no band, and show nothing")
		return tables
	}
	require.Equal(t, calibrate(3), calibrate(3))
	require.NotEqual(t, calibrate(3), calibrate(4))
	for _, bad := range []workload.Calibration{{}, {Dogs: 10, True: workload.Pace{Theta: 2}}, {Dogs: 10, Assumed: workload.Pace{Theta: 2}}} {
		_, err := workload.Calibrate(bad)
		require.ErrorContains(t, err, "calibration")
	}
}
