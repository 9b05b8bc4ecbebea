package workload

import (
	"fmt"
	"math"
	"runtime"
	"sync"
)

// Settings of FitPace. Our own, no source.
const (
	// paceDogs is how many records the pace that one starts from counts as.
	paceDogs = 10
	// paceRounds bounds the rounds, paceEnough is the change, in spreads between dogs, at which they end.
	paceRounds, paceEnough = 60, .002
)

// PaceRecord is what was logged of one skill of one dog over a whole stay.
type PaceRecord struct {
	Sessions []Session
	// HoldSeconds is what the program asks to be held, at which holds were ended; 0 where it asks for none.
	HoldSeconds int
	// BreedTier is 1 to 6, or 0 for unknown.
	BreedTier int
}

// FitPace works out what is typical of the dogs of a program from what was logged of earlier ones: the pace that makes all logs
// together likeliest, each dog's own curve averaged over. It is drawn towards from, which counts as 10 records, so that few dogs
// change it little and none leave it. The method is expectation and maximisation (Dempster, Laird & Rubin 1977, from memory), with the
// grid of the outlook for each dog. It returns an error for a record or a pace that cannot be.
func FitPace(records []PaceRecord, from Pace) (Pace, error) {
	if err := from.Validate(); err != nil {
		return Pace{}, err
	}
	for i, r := range records {
		course := Course{Skills: []SkillRecord{{Name: "skill", Target: Target{Percent: 100, HoldSeconds: r.HoldSeconds}, Sessions: r.Sessions}}, BreedTier: r.BreedTier, SessionsPerDay: 1}
		if err := course.validate(); err != nil {
			return Pace{}, fmt.Errorf("record %d: %w", i+1, err)
		}
	}
	from = from.orDefaults()
	pace := from
	for range paceRounds {
		next := pace.better(records, from)
		done := pace.near(next)
		if pace = next; done {
			break
		}
	}
	return pace, nil
}

// sums adds up one parameter over the records: its mean, and its square, each with the breed taken out of it.
type sums struct{ n, mean, square float64 }

// add takes a posterior's mean and variance. shift is what the breed adds to the prior's mean, narrow the part of the variance that the
// breed leaves.
func (s *sums) add(mean, variance, shift, narrow, typical float64) {
	s.n++
	s.mean += mean - shift
	off := mean - shift - typical
	s.square += (off*off + variance) / narrow
}

// normal is the new prior: the old start counts as paceDogs records.
func (s sums) normal(from normal, typical float64) normal {
	n := s.n + paceDogs
	mean := (s.mean + paceDogs*from.mean) / n
	// The squares were taken about the typical value of this round; about the new mean they are smaller by the shift's square.
	off := mean - typical
	square := s.square/n + paceDogs*(from.spread*from.spread+(from.mean-typical)*(from.mean-typical))/n - off*off
	return normal{mean, math.Sqrt(max(square, .05*.05))}
}

// moments are the means and variances of both parameters of a posterior.
func moments(cells []cell) (a, b, varianceA, varianceB float64) {
	for _, c := range cells {
		a += c.weight * c.a
		b += c.weight * c.b
	}
	for _, c := range cells {
		varianceA += c.weight * (c.a - a) * (c.a - a)
		varianceB += c.weight * (c.b - b) * (c.b - b)
	}
	return a, b, varianceA, varianceB
}

// better is one round.
func (p Pace) better(records []PaceRecord, from Pace) Pace {
	type found struct{ share, hold []cell }
	all := make([]found, len(records))
	var wait sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wait.Go(func() {
			for i := w; i < len(records); i += workers {
				st := newStudent(SkillRecord{Target: Target{Percent: 100, HoldSeconds: records[i].HoldSeconds}, Sessions: inOrder(records[i].Sessions)}, p, records[i].BreedTier)
				if st.trials > 0 {
					all[i].share = st.share
				}
				if st.timed > 0 {
					all[i].hold = st.hold
				}
			}
		})
	}
	wait.Wait()
	var start, theta, holdStart, holdGrows sums
	for i, f := range all {
		tier := records[i].BreedTier
		for _, part := range []struct {
			cells []cell
			a, b  *sums
			typic normal
			breed normal
			first normal
		}{{f.share, &start, &theta, p.theta(0), p.theta(tier), p.start()}, {f.hold, &holdStart, &holdGrows, p.holdGrows(0), p.holdGrows(tier), p.holdStart()}} {
			if part.cells == nil {
				continue
			}
			a, b, varianceA, varianceB := moments(part.cells)
			part.a.add(a, varianceA, 0, 1, part.first.mean)
			narrow := part.breed.spread / part.typic.spread
			part.b.add(b, varianceB, part.breed.mean-part.typic.mean, narrow*narrow, part.typic.mean)
		}
	}
	return p.from(start.normal(from.start(), p.start().mean), theta.normal(from.theta(0), p.theta(0).mean),
		holdStart.normal(from.holdStart(), p.holdStart().mean), holdGrows.normal(from.holdGrows(0), p.holdGrows(0).mean))
}

// from turns priors back into a pace, within what Validate lets in.
func (Pace) from(start, theta, holdStart, holdGrows normal) Pace {
	within := func(x, low, high float64) float64 { return max(low, min(high, x)) }
	spread := func(n normal) float64 { return within(n.spread, .05, 3) }
	return Pace{
		Start: within(logistic(start.mean), .001, .999), StartSpread: spread(start),
		Theta: within(logistic(theta.mean), .001, .9), ThetaSpread: spread(theta),
		HoldStart: within(math.Exp(holdStart.mean), .5, mostHold), HoldStartSpread: spread(holdStart),
		HoldGrowth: within(math.Exp(holdGrows.mean), .001, 2), HoldGrowthSpread: spread(holdGrows),
	}
}

// near reports whether no prior moved by more than paceEnough of its spread.
func (p Pace) near(o Pace) bool {
	for _, two := range [][2]normal{{p.start(), o.start()}, {p.theta(0), o.theta(0)}, {p.holdStart(), o.holdStart()}, {p.holdGrows(0), o.holdGrows(0)}} {
		if math.Abs(two[0].mean-two[1].mean) > paceEnough*two[0].spread || math.Abs(two[0].spread-two[1].spread) > paceEnough*two[0].spread {
			return false
		}
	}
	return true
}
