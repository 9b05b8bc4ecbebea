package workload

import (
	"fmt"
	"math"
)

// Pace is what is typical of the dogs of a program, before anything is known of one dog: each value with how much dogs differ.
// It is the prior of the learning curve. The zero value takes DefaultPace, and so does each field that is zero.
type Pace struct {
	// Start is the share of trials passed in the first session, above 0 and below 1, and StartSpread the standard deviation
	// between dogs on the scale of logits.
	Start, StartSpread float64
	// Theta is the part of what is missing that one session closes (LearningCurve), above 0 and below 1, and ThetaSpread the
	// standard deviation between dogs on the scale of logits.
	Theta, ThetaSpread float64
	// HoldStart is the longest hold in the first session in seconds, and HoldStartSpread the standard deviation between dogs of
	// its natural logarithm.
	HoldStart, HoldStartSpread float64
	// HoldGrowth is how much the natural logarithm of the longest hold grows from session to session, and HoldGrowthSpread
	// the standard deviation between dogs of the logarithm of that growth: no dog's growth is negative.
	HoldGrowth, HoldGrowthSpread float64
}

// DefaultPace is a dog that passes a fifth of the trials at the start and closes a tenth of what is missing in each session, and
// whose holds grow from 8 seconds by a sixth. All of it is our own setting, no source; a school should set what it measures.
func DefaultPace() Pace {
	return Pace{
		Start: .2, StartSpread: 1, Theta: .1, ThetaSpread: .8,
		HoldStart: 8, HoldStartSpread: .6, HoldGrowth: .15, HoldGrowthSpread: .5,
	}
}

func (p Pace) orDefaults() Pace {
	d := DefaultPace()
	for _, f := range []struct {
		value    *float64
		standard float64
	}{
		{&p.Start, d.Start}, {&p.StartSpread, d.StartSpread}, {&p.Theta, d.Theta}, {&p.ThetaSpread, d.ThetaSpread},
		{&p.HoldStart, d.HoldStart}, {&p.HoldStartSpread, d.HoldStartSpread},
		{&p.HoldGrowth, d.HoldGrowth}, {&p.HoldGrowthSpread, d.HoldGrowthSpread},
	} {
		if *f.value == 0 {
			*f.value = f.standard
		}
	}
	return p
}

// Validate returns an error that names the value and what is allowed.
func (p Pace) Validate() error {
	p = p.orDefaults()
	for _, f := range []struct {
		name             string
		value, low, high float64
	}{
		{"share passed at the start", p.Start, .001, .999},
		{"spread of the start", p.StartSpread, .05, 3},
		{"part closed by a session", p.Theta, .001, .9},
		{"spread of the part closed by a session", p.ThetaSpread, .05, 3},
		{"hold at the start in seconds", p.HoldStart, .5, mostHold},
		{"spread of the hold at the start", p.HoldStartSpread, .05, 3},
		{"growth of holds", p.HoldGrowth, .001, 2},
		{"spread of the growth of holds", p.HoldGrowthSpread, .05, 3},
	} {
		// Written as "not within" so that NaN is refused as well.
		if !(f.value >= f.low && f.value <= f.high) {
			return fmt.Errorf("typical pace: %s is %v: use %v to %v, or 0 for the default", f.name, f.value, f.low, f.high)
		}
	}
	return nil
}

// normal is a normal prior.
type normal struct{ mean, spread float64 }

// logDensity leaves the constant out.
func (n normal) logDensity(x float64) float64 {
	z := (x - n.mean) / n.spread
	return -z * z / 2
}

// byBreed moves the prior of how quickly a dog learns by what its breed says, and narrows it by the part of the variation that
// the breed explains: a little. Tier 0 changes nothing.
func (n normal) byBreed(tier int) normal {
	if tier == 0 {
		return n
	}
	return normal{n.mean + n.spread*BreedPrior(tier), n.spread * math.Sqrt(withinBreed)}
}

func (p Pace) start() normal         { return normal{logit(p.Start), p.StartSpread} }
func (p Pace) theta(tier int) normal { return normal{logit(p.Theta), p.ThetaSpread}.byBreed(tier) }
func (p Pace) holdStart() normal     { return normal{math.Log(p.HoldStart), p.HoldStartSpread} }
func (p Pace) holdGrows(tier int) normal {
	return normal{math.Log(p.HoldGrowth), p.HoldGrowthSpread}.byBreed(tier)
}

func logit(p float64) float64    { return math.Log(p / (1 - p)) }
func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// Observed is how quickly a dog was seen to learn.
type Observed struct {
	// Standing places its pace among the dogs of its program, in standard deviations: positive is quicker.
	Standing float64
	// Sessions is how many scored sessions that rests on.
	Sessions int
}

// PaceFactor returns by how much the training minutes that Estimate works out should be multiplied, as the dog's own pace and its
// breed suggest: 1 leaves them, less is a quicker dog. The own pace counts OwnWeight of its sessions and the breed the rest; the
// factor stays within .8 to 1.2, because one standard deviation is 10 % and no more than two count (our own settings). Standing
// is drawn towards the typical dog already where records are few, and so is drawn twice, on purpose: what it changes is
// people's working day.
func PaceFactor(o Observed, breedTier int) float64 {
	weight := OwnWeight(o.Sessions)
	return learningFactor(weight*o.bounded() + (1-weight)*BreedPrior(breedTier))
}

// bounded is the standing with its bounds, before it is weighed: an infinite one could not be weighed at all. No sessions, and no
// number, stand in the middle.
func (o Observed) bounded() float64 {
	if o.Sessions <= 0 || math.IsNaN(o.Standing) {
		return 0
	}
	return max(-mostDeviations, min(mostDeviations, o.Standing))
}
