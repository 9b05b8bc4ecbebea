package roster

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/internal/outside"
)

func TestOutsideNoise(t *testing.T) {
	t.Parallel()
	const table, formula = "29 CFR 1910.95 Table G-16", "29 CFR 1910.95 App. A, computed"
	for _, tt := range []struct{ level, hours, tolerance float64 }{
		// The table rounds its hours; the formula is exact at every 5 dB.
		{90, 8, 0}, {92, 6, .07}, {95, 4, 0}, {97, 3, .04}, {100, 2, 0}, {102, 1.5, .02}, {105, 1, 0}, {110, .5, 0}, {115, .25, 0},
	} {
		outside.Near(t, fmt.Sprintf("hours permitted at %v dBA", tt.level), table, tt.hours, PermittedHours(tt.level), tt.tolerance)
	}
	outside.Near(t, "hours permitted at 92 dBA", formula, 6.063, PermittedHours(92), .0005)
	outside.Near(t, "hours permitted at 85 dBA", formula, 16, PermittedHours(85), 0)
	outside.Near(t, "hours permitted at 101.6 dBA, the level of one kennel (Myer & Conlon 2012)", formula, 1.60, PermittedHours(101.6), .005)
	for _, tt := range []struct {
		name                string
		day                 []NoiseExposure
		dose, dosePlus      float64
		twa, twaPlus        float64
		atAction, overLimit bool
	}{
		{"8 h at 92", []NoiseExposure{{92, 8}}, 131.95, .005, 92, .05, true, true},
		{"2 h at 95 and 1 h at 100", []NoiseExposure{{95, 2}, {100, 1}}, 100, 1e-9, 90, 1e-9, true, false},
		{"that and 4 h at 85", []NoiseExposure{{95, 2}, {100, 1}, {85, 4}}, 125, 1e-9, 91.61, .005, true, true},
		{"8 h at 85", []NoiseExposure{{85, 8}}, 50, 1e-9, 85, .005, true, false},
		{"8 h at 84", []NoiseExposure{{84, 8}}, 43.53, .005, 84, .005, false, false},
	} {
		a, err := JudgeNoise(tt.day)
		require.NoError(t, err)
		outside.Near(t, "noise dose in percent: "+tt.name, formula, tt.dose, a.DosePercent, tt.dosePlus)
		outside.Near(t, "level over 8 hours: "+tt.name, formula, tt.twa, a.TWADBA, tt.twaPlus)
		require.Equal(t, tt.atAction, a.AtAction, tt.name)
		require.Equal(t, tt.overLimit, a.OverLimit, tt.name)
	}
}

func TestNoiseCautions(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name         string
		day          []NoiseExposure
		want, absent string
	}{
		{"over", []NoiseExposure{{92, 8}}, "Noise dose 132 % of a day (92.0 dBA over 8 hours): over the limit", "action level"},
		{"full is not over", []NoiseExposure{{95, 2}, {100, 1}}, "Noise dose 100 % of a day (90.0 dBA over 8 hours): at or above the action level", "over the limit"},
		{"action", []NoiseExposure{{85, 8}}, "Noise dose 50 % of a day", "over the limit"},
		{"short and too loud", []NoiseExposure{{116, .02}}, "A level of 116 dBA is beyond the table, which ends at 115", "action level"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a, err := JudgeNoise(tt.day)
			require.NoError(t, err)
			require.Contains(t, a.Caution, tt.want)
			require.NotContains(t, a.Caution, tt.absent)
			require.Contains(t, a.Caution, "a qualified professional")
			require.Equal(t, "29 CFR 1910.95", a.Citation)
		})
	}
	for _, quiet := range [][]NoiseExposure{nil, {{84.9, 8}}, {{79.9, 24}}, {{120, 0}}} {
		a, err := JudgeNoise(quiet)
		require.NoError(t, err)
		require.Empty(t, a.Caution, quiet)
	}
}

func TestNoiseRefuses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		day  []NoiseExposure
		want string
	}{
		{[]NoiseExposure{{90, 1}, {-1, 1}}, "noise exposure 2: level -1 dBA: use 0 to 194"},
		{[]NoiseExposure{{math.NaN(), 1}}, "level NaN dBA"},
		{[]NoiseExposure{{195, 1}}, "level 195 dBA"},
		{[]NoiseExposure{{90, -1}}, "noise exposure 1: -1 hours: use 0 to 24"},
		{[]NoiseExposure{{90, math.NaN()}}, "NaN hours"},
		{[]NoiseExposure{{90, 13}, {80, 12}}, "25.00 hours: a day has 24"},
	} {
		_, err := JudgeNoise(tt.day)
		require.ErrorContains(t, err, tt.want)
	}
	require.Zero(t, NoiseTWA(0))
	require.Zero(t, NoiseTWA(math.NaN()))
	require.True(t, math.IsInf(PermittedHours(79), 1))
	require.True(t, math.IsNaN(PermittedHours(math.NaN())))
}

func TestNoiseProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		level := rapid.Float64Range(ThresholdDBA, 120).Draw(t, "dBA")
		hours := rapid.Float64Range(.1, 12).Draw(t, "hours")
		dose, err := NoiseDose([]NoiseExposure{{level, hours}})
		require.NoError(t, err)
		louder, err := NoiseDose([]NoiseExposure{{level + ExchangeDB, hours}})
		require.NoError(t, err)
		require.InEpsilon(t, 2*dose, louder, 1e-9, "5 dB more doubles the dose")
		part := rapid.Float64Range(0, 1).Draw(t, "part")
		split, err := NoiseDose([]NoiseExposure{{level, hours * part}, {60, 1}, {level, hours * (1 - part)}})
		require.NoError(t, err)
		require.InEpsilon(t, dose, split, 1e-9, "splitting changes nothing, and quiet adds nothing")
		full, err := NoiseDose([]NoiseExposure{{level, min(24, PermittedHours(level))}})
		require.NoError(t, err)
		require.LessOrEqual(t, full, 100+1e-9)
		// 16.61 is 5/log10(2) rounded, so the level comes back to within 0.01 dB.
		require.InDelta(t, level, NoiseTWA(100*8/PermittedHours(level)), .01)
	})
}
