package workload_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/refsolve"
	"github.com/longlead/longlead/services/workload"
)

// TestOutsideHeatIndexOfMetPy compares the heat index with MetPy's over a grid. Below 80 F MetPy takes the simple formula as it
// is, where NWS averages it with the temperature, and it changes to the regression at 79 F by the simple formula, where NWS does
// at 80 F by the average; in air of 80 F and more it takes the dry adjustment off the simple formula too. So three parts of the
// grid are held apart: both take the regression (equal), both take the simple formula (MetPy's lies twice as far from the
// temperature), and the strip between, where the readings differ.
func TestOutsideHeatIndexOfMetPy(t *testing.T) {
	t.Parallel()
	var weathers []refsolve.Weather
	for f := 41.0; f <= 120; f += .5 { // MetPy returns the temperature itself up to 40 F
		for r := 0.0; r <= 100; r += 2.5 {
			weathers = append(weathers, refsolve.Weather{TemperatureF: f, HumidityPercent: r})
		}
	}
	reference, version := refsolve.HeatIndex(t, weathers)
	var regression, simple, strip int
	var off, offSimple, offStrip float64
	for i, w := range weathers {
		ours := workload.HeatIndexF(w.TemperatureF, w.HumidityPercent)
		formula := 1.1*w.TemperatureF - 10.3 + .047*w.HumidityPercent // the simple formula, multiplied out
		average := (formula + w.TemperatureF) / 2
		difference := math.Abs(reference[i] - ours)
		// 1e-9 keeps rounding in the last digit from choosing a side for a point on the seam.
		switch {
		case formula > 79+1e-9 && average > 80+1e-9:
			regression++
			off = max(off, difference)
		case formula < 79-1e-9 && average < 80-1e-9 && w.TemperatureF < 80:
			simple++
			offSimple = max(offSimple, math.Abs(reference[i]-(2*ours-w.TemperatureF)))
		default:
			strip++
			offStrip = max(offStrip, difference)
		}
	}
	t.Logf("%d points with the regression, %d with the simple formula, %d between", regression, simple, strip)
	require.Greater(t, regression, 2000)
	require.Greater(t, simple, 2000)
	require.Less(t, strip, len(weathers)/20)
	outside.Near(t, fmt.Sprintf("heat index at %d points from 80 F on: largest difference in F", regression), version, 0, off, 1e-9)
	outside.Near(t, fmt.Sprintf("simple formula at %d points below: largest difference in F, averaging undone", simple), version, 0, offSimple, 1e-9)
	t.Logf("where the readings differ: by %.2f F at most", offStrip)
	require.Less(t, offStrip, 3.5, "the readings differ more than the two formulas do where they meet")
}
