package facility

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/longlead/longlead/services/internal/outside"
)

// floorForInches is exact: 1 inch is 254 tenths of a millimetre.
func floorForInches(inches int64) FloorSpace { return floorForTenths(inches * tenthsPerInch) }

func TestOutsideFloorSpace(t *testing.T) {
	t.Parallel()
	const formula = "9 CFR 3.6(c)(1)(i): (L+6)^2/144 sq ft, computed"
	for _, tt := range []struct {
		inches int64
		want   float64
		source string
	}{
		{12, 2.250, formula},
		{18, 4.000, formula},
		{24, 6.250, formula},
		{28, 8.028, formula},
		{31, 9.507, "USDA APHIS Animal Care Tech Note, Minimum Space Requirements for Dogs, worked example"},
		{36, 12.250, formula},
		{40, 14.694, formula},
	} {
		outside.Near(t, fmt.Sprintf("floor space in sq ft of a dog %d in long", tt.inches), tt.source,
			tt.want, floorForInches(tt.inches).SquareFeet(), .0005)
	}
	outside.Near(t, "twice the floor space of a dog 31 in long, sq ft", "9 CFR 3.8, computed",
		19.014, (2 * floorForInches(31)).SquareFeet(), .0005)
	// Two of the values are whole: the formula must give them without a remainder.
	outside.Check(t, "floor space of a dog 18 in long is exactly 4 sq ft", formula, 4*SquareFoot, floorForInches(18))
}

func TestOutsideHeight(t *testing.T) {
	t.Parallel()
	// 10, 20 and 25 inches are whole millimetres; the answer is rounded up to one.
	for _, tt := range []struct {
		headMM int
		want   float64
	}{{254, 16}, {508, 26}, {635, 31}} {
		outside.Near(t, fmt.Sprintf("inner height in inches for a head %.0f in high", tt.want-6), "9 CFR 3.6(c)(1)(iii): head height + 6 in",
			tt.want, float64(HeightForMM(DogSize{HeightMM: tt.headMM}))/25.4, 1/25.4)
	}
	require.Equal(t, 753, HeightForMM(DogSize{HeightMM: 600}), "752.4 rounded up")
}

func TestFitsDog(t *testing.T) {
	t.Parallel()
	dog := DogSize{LengthMM: 800, HeightMM: 600} // needs (800 + 152.4)^2 = 907,065.76 mm² and 752.4 mm
	tests := []struct {
		name string
		run  RunSize
		dogs []DogSize
		rule FloorRule
		want string // part of the reason; empty when it fits
	}{
		{"fits", RunSize{1000, 908, 753}, []DogSize{dog}, FloorRule{}, ""},
		{"a hair too small", RunSize{1000, 907, 753}, []DogSize{dog}, FloorRule{}, "the floor has 0.907 m² and a dog 800 mm long needs 0.908 m² (9 CFR 3.6(c)(1)(i))"},
		{"too low", RunSize{1000, 908, 752}, []DogSize{dog}, FloorRule{}, "752 mm high and a dog 600 mm tall needs 753 mm (9 CFR 3.6(c)(1)(iii))"},
		{"the site asks for half as much again", RunSize{1000, 908, 753}, []DogSize{dog}, FloorRule{Percent: 150, Citation: "county code"},
			"needs 1.361 m² (9 CFR 3.6(c)(1)(i), of which the site asks for 150 %; county code)"},
		{"and gets it", RunSize{1000, 1361, 753}, []DogSize{dog}, FloorRule{Percent: 150}, ""},
		{"less than the formula is not a rule", RunSize{1000, 907, 753}, []DogSize{dog}, FloorRule{Percent: 50}, "needs 0.908 m²"},
		{"a fixed floor", RunSize{1000, 1899, 753}, []DogSize{dog}, FloorRule{FixedMM2: 1_900_000}, "at least 1.90 m² by the site's rule"},
		{"a fixed floor kept", RunSize{1000, 1900, 753}, []DogSize{dog}, FloorRule{FixedMM2: 1_900_000}, ""},
		{"a fixed floor below the formula", RunSize{1000, 907, 753}, []DogSize{dog}, FloorRule{FixedMM2: 1}, "needs 0.908 m²"},
		{"two dogs need the sum", RunSize{1000, 1814, 800}, []DogSize{dog, dog}, FloorRule{}, "the sum of 2 dogs needs 1.815 m²"},
		{"two dogs with the sum", RunSize{1000, 1815, 753}, []DogSize{{800, 300}, dog}, FloorRule{}, ""},
		{"the tallest counts", RunSize{1000, 1815, 752}, []DogSize{dog, {800, 300}}, FloorRule{}, "a dog 600 mm tall needs 753 mm"},
		{"length not measured", RunSize{5000, 5000, 5000}, []DogSize{{0, 600}}, FloorRule{}, "not measured"},
		{"height not measured", RunSize{5000, 5000, 5000}, []DogSize{{800, -1}}, FloorRule{}, "not measured"},
		{"run not measured", RunSize{5000, 0, 5000}, []DogSize{dog}, FloorRule{}, "the floor has 0.000 m²"},
		{"no dog", RunSize{}, nil, FloorRule{}, ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			ok, reason := FitsDogs(tt.run, tt.dogs, tt.rule)
			require.Equal(t, tt.want == "", ok, reason)
			if tt.want == "" {
				require.Empty(t, reason)
			}
			require.Contains(t, reason, tt.want)
			if len(tt.dogs) == 1 {
				alone, why := FitsDog(tt.run, tt.dogs[0], tt.rule)
				require.Equal(t, ok, alone)
				require.Equal(t, reason, why)
			}
		})
	}
}

func TestSiteRule(t *testing.T) {
	t.Parallel()
	site := Site{FloorPercent: 200, RulesNote: "twice the formula, so that runs count as exercise"}
	run := Run{LengthMM: 1000, WidthMM: 1815, HeightMM: 800}
	dog := DogSize{LengthMM: 800, HeightMM: 600}
	ok, reason := FitsDog(run.Size(), dog, site.FloorRule())
	require.True(t, ok, reason)
	// 90,706,576 hundredths of a mm² and one percent: 91,613,641.76, rounded up.
	require.Equal(t, FloorSpace(91_613_642), FloorRule{Percent: 101}.Floor(dog))
	require.False(t, MustExercise(run.Size(), dog), "a run of twice the formula is exercise enough")
	require.True(t, MustExercise(RunSize{1000, 1814, 800}, dog))
	require.False(t, MustExercise(run.Size(), dog, dog), "for two dogs the sum is enough")
	require.True(t, MustExercise(run.Size(), dog, dog, dog))
}

// TestFloorProperties compares the integer formula with the published one in floating point.
func TestFloorProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		dog := DogSize{LengthMM: rapid.IntRange(100, 1600).Draw(t, "length"), HeightMM: rapid.IntRange(100, 1300).Draw(t, "height")}
		inches := float64(dog.LengthMM) / 25.4
		published := (inches + 6) * (inches + 6) / 144
		require.InEpsilon(t, published, FloorFor(dog).SquareFeet(), 1e-12)
		require.InEpsilon(t, published*.09290304, FloorFor(dog).SquareMetres(), 1e-12)

		percent := rapid.IntRange(0, 400).Draw(t, "percent")
		rule := FloorRule{Percent: percent, FixedMM2: int64(rapid.IntRange(0, 3_000_000).Draw(t, "fixed"))}
		need := rule.Floor(dog)
		require.GreaterOrEqual(t, need, FloorFor(dog), "a site can only ask for more")
		require.GreaterOrEqual(t, need, FloorSpace(rule.FixedMM2)*SquareMM)
		require.GreaterOrEqual(t, FloorSpace(need.MM2())*SquareMM, need)
		require.Less(t, FloorSpace(need.MM2()-1)*SquareMM, need)
		require.Equal(t, 2*need, rule.Floor(dog, dog))

		// A run that fits still fits when it grows, and a shorter dog fits wherever a longer one does.
		run := RunSize{rapid.IntRange(300, 4000).Draw(t, "run"), rapid.IntRange(300, 3000).Draw(t, "width"), rapid.IntRange(300, 3000).Draw(t, "high")}
		if ok, _ := FitsDog(run, dog, rule); ok {
			larger := RunSize{run.LengthMM + 1, run.WidthMM, run.HeightMM}
			fits, reason := FitsDog(larger, dog, rule)
			require.True(t, fits, reason)
			fits, reason = FitsDog(run, DogSize{dog.LengthMM - 1, dog.HeightMM - 1}, rule)
			require.True(t, fits, reason)
		} else {
			fits, _ := FitsDog(run, DogSize{dog.LengthMM + 1, dog.HeightMM + 1}, rule)
			require.False(t, fits)
		}
	})
}

func TestClassOf(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		mm2  int64
		want Class
	}{
		{0, ClassS}, {1_499_999, ClassS}, {1_500_000, ClassM}, {2_499_999, ClassM}, {2_500_000, ClassL}, {3_999_999, ClassL}, {4_000_000, ClassXL},
	} {
		require.Equal(t, tt.want, ClassOf(tt.mm2, DefaultThresholds), tt.mm2)
	}
	require.Equal(t, ClassL, ClassOf(FloorMM2(1200, 2400), DefaultThresholds))
	require.Equal(t, ClassM, ClassOf(2_000_000, Thresholds{M: 1, L: 2_000_001, XL: 3_000_000}), "a site may set its own")
	require.Zero(t, FloorMM2(-1, 5))
	require.Equal(t, []Class{"S", "M", "L", "XL"}, Classes())
	require.Equal(t, "0.91 m²", FloorFor(DogSize{LengthMM: 800}).String())
}
