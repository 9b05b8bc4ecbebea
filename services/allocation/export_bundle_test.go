package allocation

import "math"

// startBundle makes a bundle method at prices found in some steps.
func startBundle(m *model) *bundle {
	d := newDual(m, m.typicalGain(), 1)
	for range 20 {
		d.step(0)
	}
	s := newSchedules(d)
	s.evaluate(func() bool { return false })
	return newBundle(s)
}

// BundleBounds lowers the schedule bound of every part by the bundle method, and by the linear programme over schedules until that is settled. check gets every step
// of the bundle method.
func BundleBounds(p *Problem, steps int, check func(Mix)) (bundle, programme int64) {
	never := func() bool { return false }
	for _, part := range components(p) {
		b := startBundle(newModel(p, part, 1))
		s := b.s
		for range steps {
			b.step(never)
			check(b.recount())
		}
		bundle += s.m.roundDown(s.bound)
		w := newMaster(s, 1)
		w.begin(s.bound, s.top)
		w.generate(200, 0, never)
		programme += s.m.roundDown(w.bound)
	}
	return bundle, programme
}

// Mix is what a step of the bundle method was made of, counted anew row by row: how far its prices are from those of its weights, how far the
// weights of a trainer are from adding up to one, what the model promised, and what the mix was short of the model.
type Mix struct {
	Prices, Weights, Promise, Short float64
	Solved                          bool
	Planes                          int // most of a trainer, beyond those that may be kept
}

// recount solves for the next step and counts it anew, without the code of bundle_mix.go.
func (b *bundle) recount() (out Mix) {
	b.atCentre = max(b.atCentre, b.modelAtCentre())
	model, solved := b.solve()
	use := make([]float64, len(b.price))
	own := 0.0
	for _, list := range b.planes {
		sum, best, mean := 0.0, 0.0, 0.0
		out.Planes = max(out.Planes, len(list)-planesMost)
		for _, p := range list {
			sum += p.weight
			if p.column == nil {
				continue
			}
			left := p.column.cost
			for row := range b.price {
				for _, x := range p.column.spans {
					if at := row + b.first; int(x.from) <= at && at < int(x.to) {
						left -= x.use * b.price[row]
						use[row] += x.use * p.weight
					}
				}
			}
			best, mean = max(best, left), mean+p.weight*left
		}
		out.Weights = max(out.Weights, math.Abs(sum-1))
		own += best
		out.Short += best - mean
	}
	unit := float64(int64(1) << b.s.m.shift)
	for i, p := range b.price {
		own += p * b.there[i]
		want := b.centre[i] + b.reach/b.s.scale[i]*(use[i]-b.there[i])
		want = min(max(want, 0), b.s.highest[i]/unit)
		out.Prices = max(out.Prices, math.Abs(p-want))
	}
	// The model solve returned was summed while the last sweep moved weights, which may take other trainers' mixes away from it again.
	out.Promise, out.Solved = b.atCentre-min(own, model), solved
	return out
}

// NearEnd reports whether the bundle method has nearly met its model after a few steps, and after many, given the gap between plan and bound.
func NearEnd(p *Problem, few, many int, gap int64) (early, late bool) {
	b := startBundle(newModel(p, components(p)[0], 1))
	for step := range many {
		b.step(func() bool { return false })
		if step+1 == few {
			early = b.nearEnd(gap)
		}
	}
	return early, b.nearEnd(gap)
}

// ScheduleBounds are what the schedule bound is, in fixed point, after some steps of the bundle method when pricing is cut short after limit nodes, as it comes and graded, and
// when it is not.
func ScheduleBounds(p *Problem, steps, limit int) (asIs, graded, exact int64) {
	never := func() bool { return false }
	b := startBundle(newModel(p, components(p)[0], 1))
	s := b.s
	for range steps {
		b.step(never)
	}
	s.tolerance = 0
	bound := func(limit int, on bool) int64 {
		s.limit = limit
		for _, x := range s.pricers {
			x.graded = on
		}
		s.evaluate(never)
		return s.last
	}
	return bound(limit, false), bound(limit, true), bound(1<<30, false)
}

// StoppedPricing prices all trainers exactly, and then again, ended by each of the questions whether to stop in turn. It returns how often that was asked, how many
// trainers there are, and how many attempts that were ended were taken for complete.
func StoppedPricing(p *Problem) (asked, trainers, complete int) {
	s := startBundle(newModel(p, components(p)[0], 1)).s
	s.tolerance, s.limit = 0, 1<<30
	s.evaluate(func() bool { asked++; return false })
	for last := range asked {
		n := 0
		if s.evaluate(func() bool { n++; return n > last }) && n > last { // prices kept within trainers may make later attempts shorter
			complete++
		}
	}
	return asked, len(s.cal), complete
}
