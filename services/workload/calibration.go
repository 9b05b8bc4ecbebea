package workload

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// The simulated stay: 15 sessions of a skill with a check of 80 % and a hold of 60 seconds, predicted after 3 to 10 of them.
const (
	calibrationSessions = 15
	calibrationEarliest = 3
	calibrationLatest   = 10
	calibrationLeast    = 4
	calibrationMost     = 10
	calibrationPercent  = 80
	calibrationHold     = 60

	// calibrationBands are equal parts of 0 to 1.
	calibrationBands = 10
	// CalibrationDogs is the number of dogs below which a band is too small to be judged.
	CalibrationDogs = 100
	// calibrationErrors and calibrationSlack are how far a band's frequency may lie from the chances predicted: standard
	// errors, and a fixed part on top. Our own setting.
	calibrationErrors, calibrationSlack = 3, .02
)

// Calibration asks for a trial of the predictions on simulated dogs. It shows that the reckoning is right where dogs are as the
// model says; whether they are, only a school's own logs can show.
type Calibration struct {
	// Dogs is how many are simulated, and Seed what they are drawn with: the same seed gives the same dogs.
	Dogs int
	Seed uint64
	// True is the pace that dogs are drawn from, Assumed the one that predictions take. Zero values take DefaultPace.
	True, Assumed Pace
}

// CalibrationBand is the dogs whose predicted chance lies in From to To.
type CalibrationBand struct {
	From, To float64
	Dogs     int
	// Predicted is the mean chance predicted, Seen the share of dogs that met the target.
	Predicted, Seen float64
	// Allowed is how far the two may lie apart: three standard errors and .02.
	Allowed float64
}

// Judged reports whether the band has enough dogs to be judged.
func (b CalibrationBand) Judged() bool { return b.Dogs >= CalibrationDogs }

// Holds reports whether prediction and outcome agree.
func (b CalibrationBand) Holds() bool { return math.Abs(b.Predicted-b.Seen) <= b.Allowed }

// CalibrationTable is how predictions of one event turned out.
type CalibrationTable struct {
	// Event says what was predicted.
	Event string
	Bands []CalibrationBand
	// Covered is the share of dogs whose true chance lay within the interval given with the prediction. 95 % is aimed at for a
	// single target.
	Covered float64
}

// Holds reports whether every band that has enough dogs agrees, and at least half of the bands have.
func (t CalibrationTable) Holds() bool {
	judged := 0
	for _, b := range t.Bands {
		if b.Judged() {
			judged++
			if !b.Holds() {
				return false
			}
		}
	}
	return 2*judged >= len(t.Bands)
}

// String prints the table for people.
func (t CalibrationTable) String() string {
	var w strings.Builder
	fmt.Fprintf(&w, "%s (intervals hold the true chance of %.1f %% of the dogs)\n", t.Event, 100*t.Covered)
	fmt.Fprintf(&w, "%-12s %6s %10s %7s %8s  %s\n", "chance in %", "dogs", "predicted", "seen", "allowed", "")
	for _, b := range t.Bands {
		verdict := "agrees"
		switch {
		case !b.Judged():
			verdict = "too few dogs"
		case !b.Holds():
			verdict = "differs"
		}
		fmt.Fprintf(&w, "%3d to %-5d %6d %10.1f %7.1f %8.1f  %s\n", percent(b.From), percent(b.To), b.Dogs, 100*b.Predicted, 100*b.Seen,
			100*b.Allowed, verdict)
	}
	return w.String()
}

// Calibrate simulates dogs, predicts each in the middle of its stay, lets it finish, and counts how often what was predicted came
// about: for the share of trials, for the hold, and for both.
func Calibrate(c Calibration) ([]CalibrationTable, error) {
	for _, p := range []Pace{c.True, c.Assumed} {
		if err := p.Validate(); err != nil {
			return nil, fmt.Errorf("calibration: %w", err)
		}
	}
	if c.Dogs < 1 || c.Dogs > 1_000_000 {
		return nil, fmt.Errorf("calibration with %d dogs: use 1 to 1000000", c.Dogs)
	}
	c.True, c.Assumed = c.True.orDefaults(), c.Assumed.orDefaults()
	source := rand.New(rand.NewPCG(c.Seed, 1))
	target := Target{Percent: calibrationPercent, HoldSeconds: calibrationHold}
	counts := []outcomes{{event: Target{Percent: calibrationPercent}.String()}, {event: Target{HoldSeconds: calibrationHold}.String()}, {event: target.String()}}
	for range c.Dogs {
		dog := drawDog(source, c.True)
		record := SkillRecord{Name: "simulated", Target: target, Sessions: dog.train(source, target.HoldSeconds)}
		further := calibrationSessions - len(record.Sessions)
		st := newStudent(record, c.Assumed, dog.tier)
		share := chanceOf(st.share, st.shareChance(target, further))
		hold := chanceOf(st.hold, st.holdChance(target, further))
		trueShare := passes(dog.curve, calibrationSessions, target.need(), target.trials())
		trueHold := holds(dog.hold, calibrationSessions, target.HoldSeconds)
		passed, held := source.Float64() < trueShare, source.Float64() < trueHold
		counts[0].add(share, trueShare, passed)
		counts[1].add(hold, trueHold, held)
		counts[2].add(share.and(hold), trueShare*trueHold, passed && held)
	}
	tables := make([]CalibrationTable, len(counts))
	for i := range counts {
		tables[i] = counts[i].table()
	}
	return tables, nil
}

// simulated is a dog whose curves are known.
type simulated struct {
	tier        int
	curve, hold cell
}

func (n normal) draw(source *rand.Rand) float64 { return n.mean + n.spread*source.NormFloat64() }

// drawDog draws a dog of any tier, or unknown, as the prior says.
func drawDog(source *rand.Rand, pace Pace) simulated {
	tier := source.IntN(len(BreedTiers()) + 1)
	return simulated{
		tier:  tier,
		curve: cell{a: pace.start().draw(source), b: pace.theta(tier).draw(source)}.curved(),
		hold:  cell{a: pace.holdStart().draw(source), b: pace.holdGrows(tier).draw(source)}.grown(),
	}
}

// train gives the sessions of the first part of a stay. Holds are whole seconds, and end at the target.
func (d simulated) train(source *rand.Rand, target int) []Session {
	sessions := make([]Session, calibrationEarliest+source.IntN(calibrationLatest-calibrationEarliest+1))
	for x := range sessions {
		s := Session{Number: x + 1, Trials: calibrationLeast + source.IntN(calibrationMost-calibrationLeast+1)}
		for range s.Trials {
			if source.Float64() < passes(d.curve, x, 1, 1) {
				s.Successes++
			}
		}
		held := math.Exp(d.hold.a + math.Exp(d.hold.b)*float64(x) + holdNoise*source.NormFloat64())
		s.HoldSeconds = int(max(1, math.Round(min(held, float64(target)))))
		sessions[x] = s
	}
	return sessions
}

// outcomes counts what came of predictions of one event.
type outcomes struct {
	event         string
	bands         [calibrationBands]struct{ dogs, met, sum, variance float64 }
	dogs, covered float64
}

func (o *outcomes) add(predicted Chance, truth float64, met bool) {
	b := &o.bands[min(calibrationBands-1, int(predicted.Mean*calibrationBands))]
	b.dogs++
	b.sum += predicted.Mean
	b.variance += predicted.Mean * (1 - predicted.Mean)
	if met {
		b.met++
	}
	o.dogs++
	if truth >= predicted.Low && truth <= predicted.High {
		o.covered++
	}
}

func (o *outcomes) table() CalibrationTable {
	t := CalibrationTable{Event: o.event, Covered: o.covered / o.dogs}
	for i, b := range o.bands {
		band := CalibrationBand{From: float64(i) / calibrationBands, To: float64(i+1) / calibrationBands, Dogs: int(b.dogs)}
		if b.dogs > 0 {
			band.Predicted, band.Seen = b.sum/b.dogs, b.met/b.dogs
			band.Allowed = calibrationErrors*math.Sqrt(b.variance)/b.dogs + calibrationSlack
		}
		t.Bands = append(t.Bands, band)
	}
	return t
}
