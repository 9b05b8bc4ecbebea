package workload

import "math"

// Fahrenheit turns degrees Celsius into degrees Fahrenheit.
func Fahrenheit(celsius float64) float64 { return celsius*9/5 + 32 }

// Celsius turns degrees Fahrenheit into degrees Celsius.
func Celsius(fahrenheit float64) float64 { return (fahrenheit - 32) * 5 / 9 }

// regressionFrom is the heat index, in degrees Fahrenheit, from which the regression takes the place of the simple formula.
const regressionFrom = 80

// HeatIndexF returns how warm the air feels to people in the shade, in degrees Fahrenheit, at an air temperature in degrees
// Fahrenheit and a relative humidity in percent, 0 to 100. A value that cannot be gives NaN, which no limit admits.
//
// Source: the heat index equation of NOAA/NWS (Weather Prediction Center): the simple formula averaged with the temperature,
// and where that reaches 80 F the regression of Rothfusz (1990, SR 90-23) on the tables of Steadman (1979) with its two
// adjustments. Others leave out the averaging below 80 F, which changes tenths of a degree there. In direct sun it feels
// warmer.
func HeatIndexF(temperatureF, humidityPercent float64) float64 {
	t, r := temperatureF, humidityPercent
	// Written as "not within" so that NaN is refused as well.
	if !(r >= 0 && r <= 100) || math.IsNaN(t) || math.IsInf(t, 0) {
		return math.NaN()
	}
	simple := .5 * (t + 61 + 1.2*(t-68) + .094*r)
	if felt := (simple + t) / 2; felt < regressionFrom {
		return felt
	}
	return rothfusz(t, r) + adjustment(t, r)
}

// rothfusz is the regression alone.
func rothfusz(t, r float64) float64 {
	return -42.379 + 2.04901523*t + 10.14333127*r - .22475541*t*r - .00683783*t*t - .05481717*r*r +
		.00122874*t*t*r + .00085282*t*r*r - .00000199*t*t*r*r
}

// adjustment is what NWS takes off in dry air and adds in damp air.
func adjustment(t, r float64) float64 {
	switch {
	case r < 13 && t >= 80 && t <= 112:
		return -(13 - r) / 4 * math.Sqrt((17-math.Abs(t-95))/17)
	case r > 85 && t >= 80 && t <= 87:
		return (r - 85) / 10 * (87 - t) / 5
	}
	return 0
}

// HeatIndexC is HeatIndexF in degrees Celsius.
func HeatIndexC(temperatureC, humidityPercent float64) float64 {
	return Celsius(HeatIndexF(Fahrenheit(temperatureC), humidityPercent))
}

// HeatBand is a band of the heat index for people. It says nothing about dogs.
type HeatBand string

// The bands, coolest first.
const (
	// HeatMild is below 80 F.
	HeatMild HeatBand = "mild"
	// HeatCaution is 80 F to below 90.
	HeatCaution HeatBand = "caution"
	// HeatExtremeCaution is 90 F to below 103.
	HeatExtremeCaution HeatBand = "extreme caution"
	// HeatDanger is 103 F to below 125.
	HeatDanger HeatBand = "danger"
	// HeatExtremeDanger is 125 F and more.
	HeatExtremeDanger HeatBand = "extreme danger"
	// HeatUnknown is a heat index that is no number.
	HeatUnknown HeatBand = "not known"
)

// PeopleBand returns the band of a heat index in degrees Fahrenheit. Source: NWS, read in secondary texts; they give the last
// limit as 124 or 125.
func PeopleBand(heatIndexF float64) HeatBand {
	switch {
	case math.IsNaN(heatIndexF):
		return HeatUnknown
	case heatIndexF >= 125:
		return HeatExtremeDanger
	case heatIndexF >= 103:
		return HeatDanger
	case heatIndexF >= 90:
		return HeatExtremeCaution
	case heatIndexF >= 80:
		return HeatCaution
	}
	return HeatMild
}
