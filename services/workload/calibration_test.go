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

// TestCalibrationCanFail: predictions that take dogs to learn twice as quickly as they do fail the same test, and so do
// predictions that take them to learn half as quickly.
func TestCalibrationCanFail(t *testing.T) {
	t.Parallel()
	for name, factor := range map[string]float64{"theta and growth of holds doubled": 2, "halved": .5} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			assumed := workload.DefaultPace()
			assumed.Theta *= factor
			assumed.HoldGrowth *= factor
			tables, err := workload.Calibrate(workload.Calibration{Dogs: 1500, Seed: 1, Assumed: assumed})
			require.NoError(t, err)
			for _, table := range tables {
				require.False(t, table.Holds(), table.String())
				require.Contains(t, table.String(), "differs", "it fails by what it found, not for want of dogs")
			}
			require.Less(t, tables[0].Covered, .93, "intervals that are too sure of a wrong pace")
			require.Less(t, tables[1].Covered, .93)
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
