package roster

import (
	"fmt"
	"math"
)

// Noise at work by 29 CFR 1910.95. Indoor kennels are loud: an equivalent level of 101.6 dBA was measured in one (Myer & Conlon
// 2012), which fills a day's dose in about an hour and a half, so cleaning indoors is where it counts.
const (
	// CriterionDBA is the level that may last for 8 hours. Source: 29 CFR 1910.95, Table G-16.
	CriterionDBA = 90
	// ExchangeDB is how many decibels halve the time. Source: the same.
	ExchangeDB = 5
	// ThresholdDBA is the level from which noise counts. Source: 29 CFR 1910.95(d)(2)(i), from memory.
	ThresholdDBA = 80
	// MostDBA is where Table G-16 ends: a quarter of an hour.
	MostDBA = 115
	// ActionPercent is the dose from which the rule asks for a hearing conservation programme: 85 dBA over 8 hours.
	ActionPercent = 50
	// LimitPercent is the full dose of a day.
	LimitPercent = 100

	criterionHours = 8
	hoursADay      = 24
	citeNoise      = "29 CFR 1910.95"
	noiseDeference = "This is a reckoning from stated levels, not a measurement: a qualified professional (industrial hygienist or audiologist) and local codes go before it."
)

// NoiseExposure is some time at one sound level.
type NoiseExposure struct {
	// LevelDBA is the A-weighted level, slow response.
	LevelDBA float64
	// Hours is how long it lasts.
	Hours float64
}

// PermittedHours returns how long a level may last in a day: 8 / 2^((L-90)/5). Below ThresholdDBA, and for NaN, there is no
// limit to give: +Inf and NaN. Source: 29 CFR 1910.95 App. A.
func PermittedHours(levelDBA float64) float64 {
	if levelDBA < ThresholdDBA {
		return math.Inf(1)
	}
	return criterionHours / math.Exp2((levelDBA-CriterionDBA)/ExchangeDB)
}

// NoiseDose returns the dose of one working day in percent: 100 times the sum of hours over permitted hours. It returns an error
// for a level or length that cannot be, or more than 24 hours. Source: 29 CFR 1910.95 App. A.
func NoiseDose(day []NoiseExposure) (percent float64, err error) {
	var hours float64
	for i, e := range day {
		// Written as "not within" so that NaN is refused as well.
		if !(e.LevelDBA >= 0 && e.LevelDBA <= 194) {
			return 0, fmt.Errorf("noise exposure %d: level %v dBA: use 0 to 194, the loudest sound in air", i+1, e.LevelDBA)
		}
		if !(e.Hours >= 0 && e.Hours <= hoursADay) {
			return 0, fmt.Errorf("noise exposure %d: %v hours: use 0 to 24", i+1, e.Hours)
		}
		hours += e.Hours
		percent += 100 * e.Hours / PermittedHours(e.LevelDBA)
	}
	if hours > hoursADay+1e-9 {
		return 0, fmt.Errorf("noise exposures of %.2f hours: a day has 24; give one working day at a time", hours)
	}
	return percent, nil
}

// NoiseTWA returns the level that, over 8 hours, gives a dose in percent: 16.61 log10(D/100) + 90 dBA. No dose, and one that
// cannot be, gives 0. Source: 29 CFR 1910.95 App. A.
func NoiseTWA(dosePercent float64) float64 {
	if !(dosePercent > 0) {
		return 0
	}
	return max(0, 16.61*math.Log10(dosePercent/100)+CriterionDBA)
}

// NoiseAnswer is what a day's noise means for a person who works in it.
type NoiseAnswer struct {
	// DosePercent and TWADBA are the day's dose and the level that gives it over 8 hours.
	DosePercent, TWADBA float64
	// AtAction and OverLimit say that the dose has reached ActionPercent, or passed LimitPercent.
	AtAction, OverLimit bool
	// Caution is for the person and the site lead to read; empty below the action level. It never stands in for advice.
	Caution string
	// Citation is where the limits come from.
	Citation string
}

// JudgeNoise works out the dose of a working day and the caution that goes with it. Its errors are those of NoiseDose.
func JudgeNoise(day []NoiseExposure) (NoiseAnswer, error) {
	dose, err := NoiseDose(day)
	if err != nil {
		return NoiseAnswer{}, err
	}
	// 2 h of 4 h and 1 h of 2 h are a full dose and no more, whatever the last bit says.
	const rounding = 1e-9
	a := NoiseAnswer{DosePercent: dose, TWADBA: NoiseTWA(dose), AtAction: dose >= ActionPercent-rounding,
		OverLimit: dose > LimitPercent+rounding, Citation: citeNoise}
	switch {
	case a.OverLimit:
		a.Caution = fmt.Sprintf("Noise dose %.0f %% of a day (%.1f dBA over 8 hours): over the limit. Cut the time indoors, share it between "+
			"people or make the room quieter; hearing protection is needed meanwhile. ", math.Ceil(dose), a.TWADBA)
	case a.AtAction:
		a.Caution = fmt.Sprintf("Noise dose %.0f %% of a day (%.1f dBA over 8 hours): at or above the action level of %d %%. Offer hearing "+
			"protection and hearing tests, and measure. ", math.Floor(dose+rounding), a.TWADBA, ActionPercent)
	}
	for _, e := range day {
		if e.LevelDBA > MostDBA && e.Hours > 0 {
			a.Caution += fmt.Sprintf("A level of %v dBA is beyond the table, which ends at %d: nobody should work in it. ", e.LevelDBA, MostDBA)
			break
		}
	}
	if a.Caution != "" {
		a.Caution += noiseDeference
	}
	return a, nil
}
