package workload

import (
	"fmt"
	"math"
	"strings"
)

// Where the limits for dogs come from. No federal rule has a heat index for dogs; one statute does, and it speaks of kennels.
const (
	sourceHeatStatute = "7 Pa. Code 28a.4 (kennels: heat index 85 F is the target, 90 F is never passed); the use for work outdoors: " + sourceOurs
	sourceHeatRisk    = "who is at risk: Hall et al. 2020, Sci Rep 10:9128; the lower limit: " + sourceOurs
)

const (
	// HeatTargetF is the heat index to which the one statute with a heat index for dogs asks kennels to be brought back, in
	// degrees Fahrenheit. Source: 7 Pa. Code 28a.4.
	HeatTargetF = 85
	// HeatNeverF is the heat index that it never lets a kennel pass; no setting here may be higher. Source: 7 Pa. Code 28a.4.
	HeatNeverF = 90
	// DefaultSensitiveF is the limit for dogs at special risk where a site sets none. Our own setting, no source.
	DefaultSensitiveF = 75

	// lowestHeatLimit keeps a slip of the finger from closing every day of the year. Our own setting.
	lowestHeatLimit = 40
	// giantGrams is a weight above which dogs had more heat illness: 50 kg. Source: Hall et al. 2020, Sci Rep 10:9128.
	giantGrams = 50_000
	// hotGroundF is an air temperature at which asphalt was measured at 125 F. Source: Berens 1970, JAMA 214:2025-2027.
	hotGroundF = 77
)

// stopCaution goes with every answer about heat.
const stopCaution = "Limits are settings of the site, not medical advice: a veterinarian and local codes go before them. Whatever they " +
	"say, stop at heavy panting, drooling, stumbling or reluctance, cool the dog and call a veterinarian."

// coolDayCaution goes with every answer about a dog at special risk.
const coolDayCaution = "A cool day is no proof of safety for this dog: half of the days on which dogs fell ill from heat were no warmer than " +
	"16.9 C (Vet Sci 2022 9:231), and most fell ill from exercise (Hall et al. 2020, Animals 10:1324). Keep work short and watch it."

// HeatLimits are a site's settings: outdoor work is closed above these heat indices, in whole degrees Fahrenheit. A zero takes
// the default.
type HeatLimits struct {
	// ClosedF is for dogs at no special risk: HeatTargetF by default.
	ClosedF int
	// SensitiveF is for dogs at special risk: DefaultSensitiveF by default. It may not be above ClosedF.
	SensitiveF int
}

// orDefaults fills in what a site did not set. A site that sets a low ClosedF alone lowers the other with it.
func (l HeatLimits) orDefaults() HeatLimits {
	if l.ClosedF == 0 {
		l.ClosedF = HeatTargetF
	}
	if l.SensitiveF == 0 {
		l.SensitiveF = min(DefaultSensitiveF, l.ClosedF)
	}
	return l
}

// Validate returns an error that names the setting, the value and what is allowed.
func (l HeatLimits) Validate() error {
	l = l.orDefaults()
	if l.ClosedF < lowestHeatLimit || l.ClosedF > HeatNeverF {
		return fmt.Errorf("heat limit %d F: use %d to %d, or 0 for %d; 7 Pa. Code 28a.4 never lets a kennel pass %d", l.ClosedF,
			lowestHeatLimit, HeatNeverF, HeatTargetF, HeatNeverF)
	}
	if l.SensitiveF < lowestHeatLimit || l.SensitiveF > l.ClosedF {
		return fmt.Errorf("heat limit %d F for dogs at special risk: use %d to %d, which is the limit for all dogs, or 0 for %d",
			l.SensitiveF, lowestHeatLimit, l.ClosedF, min(DefaultSensitiveF, l.ClosedF))
	}
	return nil
}

// Trait says whether something is so with a dog. The zero value means that nobody recorded it.
type Trait string

// The values of a trait.
const (
	NotRecorded Trait = ""
	Yes         Trait = "yes"
	No          Trait = "no"
)

// HeatDog is what heat asks of a dog. The zero value is a dog of which nothing is recorded: it has the lower limit.
type HeatDog struct {
	// AgeMonths is the age in months; 0 means unknown.
	AgeMonths int
	// WeightGrams is the weight; 0 means unknown.
	WeightGrams int
	// FlatFaced is about a short skull (brachycephalic), Overweight about the body's condition.
	FlatFaced, Overweight Trait
}

// SensitiveTo returns why a dog has the lower limit in heat, in a fixed order; none means that it has not. What is not
// recorded counts as a reason.
func (d HeatDog) SensitiveTo() []string {
	var why []string
	trait := func(t Trait, yes, unknown string) {
		switch t {
		case Yes:
			why = append(why, yes)
		case No:
		default:
			why = append(why, unknown)
		}
	}
	trait(d.FlatFaced, "it is flat-faced", "nobody recorded whether it is flat-faced")
	trait(d.Overweight, "it is overweight", "nobody recorded whether it is overweight")
	switch {
	case d.AgeMonths <= 0:
		why = append(why, "its age is not recorded")
	case d.AgeMonths < puppyMonths:
		why = append(why, fmt.Sprintf("it is very young (%d months)", d.AgeMonths))
	case d.AgeMonths >= oldMonths:
		why = append(why, fmt.Sprintf("it is old (%d years)", d.AgeMonths/12))
	}
	switch {
	case d.WeightGrams <= 0:
		why = append(why, "its weight is not recorded")
	case d.WeightGrams > giantGrams:
		why = append(why, fmt.Sprintf("it is very large (%d kg)", d.WeightGrams/1000))
	}
	return why
}

// HeatAnswer says whether a dog may work outdoors in some weather.
type HeatAnswer struct {
	// Closed means no outdoor work.
	Closed bool
	// HeatIndexF is the heat index and FeltF what the limit was held against, in degrees Fahrenheit: the higher of the heat
	// index and the air, because dry air lowers what people feel and dogs sweat little. Both are NaN when the weather is not
	// known.
	HeatIndexF, FeltF float64
	// LimitF is the limit that counted for this dog.
	LimitF int
	// People is the band of the heat index for the people who work with it.
	People HeatBand
	// Reason says in words why it is closed or open.
	Reason string
	// Source is where the limit comes from.
	Source string
	// Cautions are for people to read, in a fixed order; there is at least one, also when it is open.
	Cautions []string
}

// OutdoorWork says whether outdoor work is closed for a dog at an air temperature in degrees Fahrenheit and a relative
// humidity in percent. Weather that is not known or cannot be closes it. It returns an error only for limits that
// HeatLimits.Validate refuses.
func OutdoorWork(d HeatDog, temperatureF, humidityPercent float64, limits HeatLimits) (HeatAnswer, error) {
	if err := limits.Validate(); err != nil {
		return HeatAnswer{}, err
	}
	limits = limits.orDefaults()
	why := d.SensitiveTo()
	a := HeatAnswer{LimitF: limits.ClosedF, Source: sourceHeatStatute, HeatIndexF: HeatIndexF(temperatureF, humidityPercent)}
	if len(why) > 0 {
		a.LimitF, a.Source = limits.SensitiveF, sourceHeatRisk
		a.Cautions = append(a.Cautions, coolDayCaution)
	}
	a.People = PeopleBand(a.HeatIndexF)
	a.FeltF = math.Max(a.HeatIndexF, temperatureF) // NaN if either is
	// Written as "not at or below" so that weather which is not known closes.
	a.Closed = !(a.FeltF <= float64(a.LimitF))
	a.Reason = a.reason(why)
	if temperatureF >= hotGroundF {
		a.Cautions = append(a.Cautions, "Paved ground in the sun can burn paws: at 77 F of air, asphalt was measured at 125 F "+
			"(Berens 1970, JAMA 214:2025-2027). Work on grass or in shade.")
	}
	if a.People != HeatMild {
		a.Cautions = append(a.Cautions, fmt.Sprintf("For people this weather is: %s. Staff need water, shade and breaks.", a.People))
	}
	a.Cautions = append(a.Cautions, stopCaution)
	return a, nil
}

func (a HeatAnswer) reason(why []string) string {
	if math.IsNaN(a.FeltF) {
		return "outdoor work is closed: the temperature or the humidity is not known"
	}
	limit := fmt.Sprintf("the limit of %d F", a.LimitF)
	if len(why) > 0 {
		limit = fmt.Sprintf("the lower limit of %d F for this dog (%s)", a.LimitF, strings.Join(why, ", "))
	}
	if a.Closed {
		// Rounded up, or 85.01 would read as not above 85.
		return fmt.Sprintf("outdoor work is closed: it feels like %.1f F, above %s", math.Ceil(a.FeltF*10)/10, limit)
	}
	return fmt.Sprintf("outdoor work is open: it feels like %.1f F, within %s", a.FeltF, limit)
}
