package workload_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/workload"
)

func TestOutsideHeatIndex(t *testing.T) {
	t.Parallel()
	const (
		metpy    = "MetPy documentation of heat_index"
		stress   = "test of the R package HeatStressR"
		table    = "NOAA heat index table, in the test of meteocalc, rounded"
		computed = "NOAA/NWS heat index equation, computed apart"
	)
	for _, tt := range []struct {
		source               string
		f, humidity, want, e float64
	}{
		{metpy, 90, 90, 121.901204, 5e-7},
		{metpy, 86, 90, 105.394, 5e-4},
		{stress, 95, 10, 89.4496, 5e-5},
		{stress, 77, 50, 76.875, 1e-9},
		{"an NWS calculator on the web", 90, 60, 99.68, 5e-3},
		{table, 96, 65, 121, .5},
		{table, 100, 65, 136, .5},
		{table, 90, 40, 91, .5},
		{table, 106, 40, 124, .5},
		{computed + ", damp air", 82, 90, 91.992, 5e-4},
		{computed + ", damp air", 86, 100, 111.850, 5e-4},
		{computed + ", where the printed chart leaves the adjustment out", 80, 100, 89.29, 5e-3},
		{computed + ", where the printed chart leaves the adjustment out", 82, 100, 96.04, 5e-3},
		{computed + ", averaged below 80 F", 60, 90, 59.965, 1e-9},
	} {
		name := fmt.Sprintf("heat index at %v F and %v %%", tt.f, tt.humidity)
		outside.Near(t, name, tt.source, tt.want, workload.HeatIndexF(tt.f, tt.humidity), tt.e)
	}
	outside.Near(t, "heat index at 30 C and 90 %, in C", metpy, 40.774647, workload.HeatIndexC(30, 90), 5e-7)
	outside.Near(t, "heat index at 35 C and 10 %, in C", stress, 31.91644, workload.HeatIndexC(35, 10), 5e-6)
	outside.Near(t, "heat index at 25 C and 50 %, in C", stress, 24.930556, workload.HeatIndexC(25, 50), 5e-7)
}

func TestHeatIndexRefuses(t *testing.T) {
	t.Parallel()
	for _, bad := range [][2]float64{{80, -1}, {80, 100.1}, {80, math.NaN()}, {math.NaN(), 50}, {math.Inf(1), 50}} {
		require.True(t, math.IsNaN(workload.HeatIndexF(bad[0], bad[1])), bad)
	}
}

func TestOutsidePeopleBands(t *testing.T) {
	t.Parallel()
	const source = "NWS heat index bands for people, read in secondary texts"
	for _, tt := range []struct {
		f    float64
		want workload.HeatBand
	}{
		{79.9, workload.HeatMild}, {80, workload.HeatCaution}, {89.9, workload.HeatCaution}, {90, workload.HeatExtremeCaution},
		{102.9, workload.HeatExtremeCaution}, {103, workload.HeatDanger}, {124, workload.HeatDanger}, {125, workload.HeatExtremeDanger},
	} {
		outside.Check(t, fmt.Sprintf("band of %v F", tt.f), source, tt.want, workload.PeopleBand(tt.f))
	}
	require.Equal(t, workload.HeatUnknown, workload.PeopleBand(math.NaN()))
}

func TestHeatIndexProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(-40, 130).Draw(t, "F")
		r := rapid.Float64Range(0, 100).Draw(t, "RH")
		index := workload.HeatIndexF(f, r)
		require.False(t, math.IsNaN(index))
		require.InDelta(t, workload.Celsius(index), workload.HeatIndexC(workload.Celsius(f), r), 1e-9)
		require.InDelta(t, f, workload.Fahrenheit(workload.Celsius(f)), 1e-9)
		// Warmer air of the same humidity never feels cooler, but for the seams of the formula, which are below 1.5 F.
		if f < 115 {
			require.Greater(t, workload.HeatIndexF(f+2, r), index-1.5)
		}
	})
}

// sound is a dog at no special risk.
func sound() workload.HeatDog {
	return workload.HeatDog{AgeMonths: 24, WeightGrams: 20_000, FlatFaced: workload.No, Overweight: workload.No}
}

func outdoor(t require.TestingT, d workload.HeatDog, f, humidity float64, l workload.HeatLimits) workload.HeatAnswer {
	a, err := workload.OutdoorWork(d, f, humidity, l)
	require.NoError(t, err)
	return a
}

func TestOutsideHeatLimitsForDogs(t *testing.T) {
	t.Parallel()
	const source = "7 Pa. Code 28a.4: heat index 85 F is the target, 90 F is never passed"
	outside.Check(t, "heat index from which outdoor work is closed by default", source, 85, outdoor(t, sound(), 70, 50, workload.HeatLimits{}).LimitF)
	require.NoError(t, workload.HeatLimits{ClosedF: 90}.Validate())
	err := workload.HeatLimits{ClosedF: 91}.Validate()
	require.ErrorContains(t, err, "heat limit 91 F: use 40 to 90")
	outside.Check(t, "highest limit that a site may set", source, 90, workload.HeatNeverF)
}

func TestSensitiveTo(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		change func(*workload.HeatDog)
		want   []string
	}{
		{"sound", func(*workload.HeatDog) {}, nil},
		{"flat-faced", func(d *workload.HeatDog) { d.FlatFaced = workload.Yes }, []string{"it is flat-faced"}},
		{"face not recorded", func(d *workload.HeatDog) { d.FlatFaced = "" }, []string{"nobody recorded whether it is flat-faced"}},
		{"a word that is no value", func(d *workload.HeatDog) { d.Overweight = "maybe" }, []string{"nobody recorded whether it is overweight"}},
		{"overweight", func(d *workload.HeatDog) { d.Overweight = workload.Yes }, []string{"it is overweight"}},
		{"very young", func(d *workload.HeatDog) { d.AgeMonths = 5 }, []string{"it is very young (5 months)"}},
		{"six months", func(d *workload.HeatDog) { d.AgeMonths = 6 }, nil},
		{"seven years", func(d *workload.HeatDog) { d.AgeMonths = 95 }, nil},
		{"old", func(d *workload.HeatDog) { d.AgeMonths = 96 }, []string{"it is old (8 years)"}},
		{"50 kg", func(d *workload.HeatDog) { d.WeightGrams = 50_000 }, nil},
		{"giant", func(d *workload.HeatDog) { d.WeightGrams = 51_000 }, []string{"it is very large (51 kg)"}},
		{"nothing recorded", func(d *workload.HeatDog) { *d = workload.HeatDog{} }, []string{"nobody recorded whether it is flat-faced",
			"nobody recorded whether it is overweight", "its age is not recorded", "its weight is not recorded"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			d := sound()
			tt.change(&d)
			require.Equal(t, tt.want, d.SensitiveTo())
			a := outdoor(t, d, 60, 50, workload.HeatLimits{})
			require.False(t, a.Closed)
			cool := strings.Contains(strings.Join(a.Cautions, "\n"), "A cool day is no proof of safety")
			require.Equal(t, len(tt.want) > 0, cool)
			require.Equal(t, len(tt.want) > 0, a.LimitF == workload.DefaultSensitiveF)
		})
	}
}

func TestOutdoorWork(t *testing.T) {
	t.Parallel()
	flat := sound()
	flat.FlatFaced = workload.Yes
	tests := []struct {
		name        string
		dog         workload.HeatDog
		f, humidity float64
		limits      workload.HeatLimits
		closed      bool
		limit       int
		reason      string
		caution     string
	}{
		{"a mild day", sound(), 70, 50, workload.HeatLimits{}, false, 85, "outdoor work is open: it feels like 70.0 F, within the limit of 85 F", "call a veterinarian"},
		{"a mild day, flat face", flat, 78, 50, workload.HeatLimits{}, true, 75,
			"outdoor work is closed: it feels like 78.0 F, above the lower limit of 75 F for this dog (it is flat-faced)", "16.9 C"},
		{"warm", sound(), 82, 50, workload.HeatLimits{}, false, 85, "outdoor work is open: it feels like 82.8 F", "asphalt"},
		{"damp", sound(), 82, 90, workload.HeatLimits{}, true, 85, "closed: it feels like 92.0 F, above the limit of 85 F", "For people this weather is: extreme caution"},
		{"dry heat counts as the air", sound(), 95, 10, workload.HeatLimits{ClosedF: 90}, true, 90, "feels like 95.0 F, above the limit of 90 F", ""},
		{"a strict site", sound(), 70, 50, workload.HeatLimits{ClosedF: 65}, true, 65, "above the limit of 65 F", ""},
		{"a strict site lowers the other limit", flat, 66, 50, workload.HeatLimits{ClosedF: 65}, true, 65, "lower limit of 65 F", ""},
		{"a lower limit of its own", flat, 66, 50, workload.HeatLimits{SensitiveF: 60}, true, 60, "lower limit of 60 F", ""},
		{"a hair above", sound(), 85.001, 0, workload.HeatLimits{}, true, 85, "it feels like 85.1 F, above the limit of 85 F", ""},
		{"exactly at", sound(), 85, 0, workload.HeatLimits{}, false, 85, "it feels like 85.0 F, within the limit of 85 F", ""},
		{"no humidity", sound(), 50, math.NaN(), workload.HeatLimits{}, true, 85, "the temperature or the humidity is not known", "not known"},
		{"no temperature", sound(), math.NaN(), 50, workload.HeatLimits{}, true, 85, "the temperature or the humidity is not known", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a := outdoor(t, tt.dog, tt.f, tt.humidity, tt.limits)
			require.Equal(t, tt.closed, a.Closed, a.Reason)
			require.Equal(t, tt.limit, a.LimitF)
			require.Contains(t, a.Reason, tt.reason)
			require.NotEmpty(t, a.Source)
			require.Contains(t, strings.Join(a.Cautions, "\n"), tt.caution)
			require.Contains(t, a.Cautions[len(a.Cautions)-1], "veterinarian")
		})
	}
	for _, bad := range []workload.HeatLimits{{ClosedF: 39}, {ClosedF: 91}, {ClosedF: 80, SensitiveF: 81}, {SensitiveF: 86}, {SensitiveF: 39}, {ClosedF: -1}} {
		_, err := workload.OutdoorWork(sound(), 70, 50, bad)
		require.ErrorContains(t, err, "heat limit", bad)
	}
}

func TestOutdoorWorkProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		dog := workload.HeatDog{AgeMonths: rapid.IntRange(0, 200).Draw(t, "age"), WeightGrams: rapid.IntRange(0, 90_000).Draw(t, "weight"),
			FlatFaced:  rapid.SampledFrom([]workload.Trait{"", workload.Yes, workload.No}).Draw(t, "face"),
			Overweight: rapid.SampledFrom([]workload.Trait{"", workload.Yes, workload.No}).Draw(t, "fat")}
		limits := workload.HeatLimits{ClosedF: rapid.IntRange(40, 90).Draw(t, "closed")}
		f := rapid.Float64Range(-20, 125).Draw(t, "F")
		r := rapid.Float64Range(0, 100).Draw(t, "RH")
		a, b := outdoor(t, dog, f, r, limits), outdoor(t, sound(), f, r, limits)
		require.LessOrEqual(t, a.LimitF, b.LimitF, "no dog has a higher limit than a sound one")
		require.True(t, a.Closed || !b.Closed, "what is closed for a sound dog is closed for all")
		if f > workload.HeatNeverF {
			require.True(t, a.Closed && b.Closed, "no setting opens air above 90 F")
		}
	})
}
