package facility

import (
	"fmt"
	"math"
)

// Lengths come in millimetres, as they are measured. Inside, everything is counted in tenths of a millimetre, because an inch
// is exactly 254 of them: the formula is then exact in integers, and no rounding decides whether a run is large enough.
const (
	tenthsPerInch = 254
	tenthsPerMM   = 10
	// sixInches is what the rule adds to the length and to the height.
	sixInches = 6 * tenthsPerInch
)

// Citations of the rules below. None was written for training schools: US licensing does not normally cover boarding or
// training of owned pets (from memory), so they serve as a floor under a site's own rule. Defer to local codes.
const (
	CiteFloor    = "9 CFR 3.6(c)(1)(i)"
	CiteHeight   = "9 CFR 3.6(c)(1)(iii)"
	CiteExercise = "9 CFR 3.8"
)

// FloorSpace is an area in hundredths of a square millimetre, so that the formula has no remainder.
type FloorSpace int64

// Units of area.
const (
	SquareMM   FloorSpace = tenthsPerMM * tenthsPerMM
	SquareInch FloorSpace = tenthsPerInch * tenthsPerInch
	SquareFoot FloorSpace = 144 * SquareInch
)

// SquareFeet returns the area in square feet, for people.
func (f FloorSpace) SquareFeet() float64 { return float64(f) / float64(SquareFoot) }

// SquareMetres returns the area in square metres, for people.
func (f FloorSpace) SquareMetres() float64 { return float64(f) / float64(SquareMM) / 1e6 }

// MM2 returns the area in whole square millimetres, rounded up: as a requirement it must not shrink.
func (f FloorSpace) MM2() int64 { return int64((f + SquareMM - 1) / SquareMM) }

// String prints the area in square metres, such as 0.89 m².
func (f FloorSpace) String() string { return fmt.Sprintf("%.2f m²", f.SquareMetres()) }

// DogSize is what the rules need to know of a dog. Zero or less means "not measured".
type DogSize struct {
	// LengthMM is the straight line from the tip of the nose to the base of the tail.
	LengthMM int
	// HeightMM is the height at the top of the head, standing.
	HeightMM int
}

// RunSize is the inner size of a run in millimetres.
type RunSize struct{ LengthMM, WidthMM, HeightMM int }

// Size returns the inner dimensions of the run.
func (r Run) Size() RunSize { return RunSize{r.LengthMM, r.WidthMM, r.HeightMM} }

// Floor returns the floor space of the run; 0 when a side is not measured.
func (r RunSize) Floor() FloorSpace {
	return FloorSpace(FloorMM2(r.LengthMM, r.WidthMM)) * SquareMM
}

// FloorMM2 returns the area of a floor in square millimetres; 0 when a side is not positive.
func FloorMM2(lengthMM, widthMM int) int64 {
	if lengthMM <= 0 || widthMM <= 0 {
		return 0
	}
	return int64(lengthMM) * int64(widthMM)
}

// FloorFor returns the least floor space of one dog: (length in inches + 6) squared, in square inches; divided by 144 that is
// square feet. Source: 9 CFR 3.6(c)(1)(i). A dog that is not measured answers 0; FitsDog refuses it.
func FloorFor(d DogSize) FloorSpace { return floorForTenths(int64(d.LengthMM) * tenthsPerMM) }

// floorForTenths is the formula in tenths of a millimetre, in which inches are whole numbers.
func floorForTenths(length int64) FloorSpace {
	if length <= 0 {
		return 0
	}
	side := length + sixInches
	return FloorSpace(side * side)
}

// HeightForMM returns the least inner height of a run in millimetres, rounded up: the dog's head height and 6 inches. Source:
// 9 CFR 3.6(c)(1)(iii). A dog that is not measured answers 0.
func HeightForMM(d DogSize) int {
	if d.HeightMM <= 0 {
		return 0
	}
	return (d.HeightMM*tenthsPerMM + sixInches + tenthsPerMM - 1) / tenthsPerMM
}

// FloorRule is what a site asks for beyond the formula. The zero value is the formula itself. It can only ask for more: a
// percentage below 100 counts as 100.
type FloorRule struct {
	// Percent of the formula's floor space, rounded up; 0 is 100.
	Percent int
	// FixedMM2 is the least floor space of a dog of any size, in square millimetres; 0 sets none.
	FixedMM2 int64
	// Citation is where the site's rule is from; empty names the formula only.
	Citation string
}

// FloorRule returns the rule of the site.
func (s Site) FloorRule() FloorRule { return FloorRule{Percent: s.FloorPercent, Citation: s.RulesNote} }

// Floor returns the floor space that the rule asks for, summed over the dogs that would share the run (sum: 9 CFR
// 3.6(c)(1), from memory).
func (r FloorRule) Floor(dogs ...DogSize) FloorSpace {
	var sum FloorSpace
	for _, d := range dogs {
		percent := FloorSpace(max(100, r.Percent))
		sum += max((FloorFor(d)*percent+99)/100, FloorSpace(r.FixedMM2)*SquareMM)
	}
	return sum
}

// citation names the formula, and the site's own rule where it has one.
func (r FloorRule) citation() string {
	text := CiteFloor
	if r.Percent > 100 {
		text += fmt.Sprintf(", of which the site asks for %d %%", r.Percent)
	}
	if r.FixedMM2 > 0 {
		text += fmt.Sprintf(", and at least %s by the site's rule", FloorSpace(r.FixedMM2)*SquareMM)
	}
	if r.Citation != "" {
		text += "; " + r.Citation
	}
	return text
}

// FitsDog reports whether a dog may live in a run by the site's rule, and if not, the first reason, with the measures, the
// rule and what would mend it. Where local codes ask for more, they go before this.
func FitsDog(run RunSize, dog DogSize, rule FloorRule) (ok bool, reason string) {
	return FitsDogs(run, []DogSize{dog}, rule)
}

// FitsDogs is FitsDog for dogs of one household that share a run: the floor holds the sum, the height the tallest. Without a
// dog every run fits.
func FitsDogs(run RunSize, dogs []DogSize, rule FloorRule) (ok bool, reason string) {
	var tallest DogSize
	for _, d := range dogs {
		if d.LengthMM <= 0 || d.HeightMM <= 0 {
			return false, "the dog is not measured: record its length from nose to base of tail and its height at the head, in millimetres"
		}
		if d.HeightMM > tallest.HeightMM {
			tallest = d
		}
	}
	if need, have := rule.Floor(dogs...), run.Floor(); have < need {
		return false, fmt.Sprintf("the floor has %s and %s needs %s (%s): choose a larger run",
			floorDown(have), describe(dogs), floorUp(need), rule.citation())
	}
	if need := HeightForMM(tallest); run.HeightMM < need {
		return false, fmt.Sprintf("the run is %d mm high and a dog %d mm tall needs %d mm (%s): choose a higher run",
			run.HeightMM, tallest.HeightMM, need, CiteHeight)
	}
	return true, ""
}

func describe(dogs []DogSize) string {
	if len(dogs) == 1 {
		return fmt.Sprintf("a dog %d mm long", dogs[0].LengthMM)
	}
	return fmt.Sprintf("the sum of %d dogs", len(dogs))
}

// floorDown and floorUp round to three decimals away from each other, so that a text never says that 0.89 is less than 0.89.
func floorDown(f FloorSpace) string {
	return fmt.Sprintf("%.3f m²", math.Floor(f.SquareMetres()*1000)/1000)
}

func floorUp(f FloorSpace) string {
	return fmt.Sprintf("%.3f m²", math.Ceil(f.SquareMetres()*1000)/1000)
}

// ExerciseFloor returns the floor space from which the run itself gives exercise enough: for one dog twice the formula, for
// several the sum of theirs. Source: 9 CFR 3.8. In a smaller run dogs older than 12 weeks must be taken out.
func ExerciseFloor(dogs ...DogSize) FloorSpace {
	sum := FloorRule{}.Floor(dogs...)
	if len(dogs) == 1 {
		return 2 * sum
	}
	return sum
}

// MustExercise reports whether dogs that live in the run must be taken out of it for exercise by 9 CFR 3.8. It does not ask
// for their age: below 12 weeks the rule is silent, and a school takes none so young.
func MustExercise(run RunSize, dogs ...DogSize) bool { return run.Floor() < ExerciseFloor(dogs...) }

// Class is the class of a run by floor space.
type Class string

// The classes, smallest first.
const (
	ClassS  Class = "S"
	ClassM  Class = "M"
	ClassL  Class = "L"
	ClassXL Class = "XL"
)

// Classes lists the classes, smallest first.
func Classes() []Class { return []Class{ClassS, ClassM, ClassL, ClassXL} }

// Thresholds are the floor spaces, in square millimetres, from which a run is M, L and XL. Below M it is S. They should rise.
type Thresholds struct{ M, L, XL int64 }

// DefaultThresholds are our own setting, no source: 1.5, 2.5 and 4 square metres. They sort runs into a few kinds to plan
// with. They say nothing about which dog fits, which FitsDog measures: by the formula alone 1.5 m² is enough for a dog 1.07 m
// long.
var DefaultThresholds = Thresholds{M: 1_500_000, L: 2_500_000, XL: 4_000_000}

// ClassOf returns the class of a floor space in square millimetres.
func ClassOf(mm2 int64, t Thresholds) Class {
	switch {
	case mm2 >= t.XL:
		return ClassXL
	case mm2 >= t.L:
		return ClassL
	case mm2 >= t.M:
		return ClassM
	}
	return ClassS
}
