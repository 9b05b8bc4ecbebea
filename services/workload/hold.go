package workload

import "math"

// holdNoise is how much the logarithm of the longest hold differs from session to session beside its growth: a third up or
// down. Our own setting, no source.
const holdNoise = .35

// holdCells is the posterior of how long a dog holds: the logarithm of the longest hold of session x+1 is normal about
// a + e^b x. A trainer ends a hold once the target is reached, so a hold of that length says "at least". Lengths are asked for step
// by step: what grows is what the trainer asked and the dog held, and a trainer who asks little is seen as a dog that holds little.
func holdCells(sessions []Session, target int, pace Pace, tier int) []cell {
	type timed struct {
		at, log float64
		reached bool
	}
	var holds []timed
	for _, s := range sessions {
		if s.HoldSeconds > 0 {
			holds = append(holds, timed{float64(s.Number - 1), math.Log(float64(s.HoldSeconds)), s.HoldSeconds >= target})
		}
	}
	goal := math.Log(float64(target))
	cells := posterior(pace.holdStart(), pace.holdGrows(tier), func(a, b float64) float64 {
		growth := math.Exp(b)
		var sum float64
		for _, h := range holds {
			mean := a + growth*h.at
			if h.reached {
				sum += math.Log(max(math.SmallestNonzeroFloat64, normalCDF((mean-goal)/holdNoise)))
				continue
			}
			z := (h.log - mean) / holdNoise
			sum -= z * z / 2
		}
		return sum
	})
	for i, c := range cells {
		cells[i] = c.grown()
	}
	return cells
}

// grown makes a cell one of a growing hold: v is the growth.
func (c cell) grown() cell {
	c.v = math.Exp(c.b)
	return c
}

// holds returns the chance that a dog with the growth of a cell holds for target seconds after so many sessions.
func holds(c cell, sessions, target int) float64 {
	return normalCDF((c.a + c.v*float64(sessions) - math.Log(float64(target))) / holdNoise)
}

func normalCDF(z float64) float64 { return .5 * math.Erfc(-z/math.Sqrt2) }
