package allocation

import (
	"math"
	"slices"
)

// bundle lowers the schedule bound by the proximal bundle method (Lemaréchal 1975, Kiwiel 1990). At given prices the bound is what all there
// is costs plus what each trainer's best schedule leaves over, so every schedule ever found says how low the bound can be at any prices: the model.
// Each step goes to the prices at which the model, plus a share of the squared distance from the best prices so far, is least
// (bundle_mix.go), prices all trainers there, and takes the schedules found into the model. Steps that lower the bound by a fair part of
// what the model promised move the centre; the others only make the model better. It takes far fewer evaluations than steps along a subgradient.
//
// What the model and the centre are judged by is what the schedules found leave over; pricing cut short leaves a bound
// above that, which is brought near to it (closer.go) now and then, where the bound is to be had.
type bundle struct {
	layout
	planes [][]plane // by trainer: schedules found of late, the empty one first
	idle   int       // steps since the centre moved
	near   int       // round from which on the next centre is priced closely,
	times  int       // with so many times the nodes
	// In points, in the order of schedules.price:
	centre, price []float64
	raw           []float64 // prices before they are kept within their limits
	highest       []float64 // those limits; no price is below zero
	there         []float64 // what there is of each row
	atCentre      float64   // what the schedules found at the centre leave over
	model         float64   // what the model said of the last step's prices: about how low the bound can come
	reach         float64   // how far steps go, see solve
	change        []float64 // scratch, by row: zero but for the rows touched, which are listed
	touched       []int32
	listed        []bool
}

// plane is a schedule as a part of the model: what it leaves over at any prices is a plane below the trainer's best.
type plane struct {
	column *column // nil for the empty schedule
	weight float64 // in the model's best mix; those of a trainer add up to 1
	left   float64 // what it leaves over at the prices looked at, in points
	idle   int     // steps since it had any weight
}

const (
	planesMost   = 40   // of a trainer
	firstReach   = 8    // of the first step, as a multiple of the step along the subgradient
	fairShare    = 0.05 // of the promise: a step that keeps it moves the centre,
	goodShare    = 0.5  // and one that keeps so much goes too short a way
	farther      = 1.5
	patientSteps = 3 // steps without a new centre after which they become shorter
	shorter      = 0.8
	nearEvery    = 4    // rounds
	nearTimes    = 6    // more nodes at first, twice as many where what pricing leaves open is more than half of the promise,
	nearMost     = 96   // and at most so many; most trainers need far fewer
	endShare     = 0.01 // of the gap between plan and bound: steps that can gain less than this have no turns
	looseShare   = 0.2  // of the promise: how loosely trainers are priced
)

func newBundle(s *schedules) *bundle {
	n := len(s.price)
	b := &bundle{layout: newLayout(s), model: math.Inf(-1), times: nearTimes, planes: make([][]plane, len(s.cal)), centre: make([]float64, n), price: make([]float64, n),
		raw: make([]float64, n), change: make([]float64, n), listed: make([]bool, n)}
	b.there = b.right()
	for _, most := range s.highest {
		b.highest = append(b.highest, most/b.unit())
	}
	for t := range b.planes {
		b.planes[t] = append(b.planes[t], plane{weight: 1})
	}
	b.moveCentre(s.price, s.value)
	b.gather()
	norm := 1e-9
	for i := range s.price {
		norm += s.slope(i) * s.slope(i) / s.scale[i]
	}
	b.reach = firstReach * s.level * s.size / b.unit() / norm
	return b
}

// unit is a point in fixed point.
func (b *bundle) unit() float64 { return float64(int64(1) << b.s.m.shift) }

// moveCentre makes the prices just evaluated the centre.
func (b *bundle) moveCentre(price []float64, value micro) {
	for i, p := range price {
		b.centre[i] = p / b.unit()
	}
	b.atCentre, b.idle = float64(value)/b.unit(), 0
}

// gather takes the schedules found last into the model.
func (b *bundle) gather() {
	for t := range b.planes {
		c := b.chosen(t)
		if len(c.stays) == 0 || slices.ContainsFunc(b.planes[t], func(p plane) bool { return p.column != nil && p.column.same(&c) }) {
			continue
		}
		b.lay(&c)
		b.planes[t] = append(b.planes[t], plane{column: &c})
	}
}

// step goes to where the model is least and evaluates the prices there. It reports false if stop ended it.
func (b *bundle) step(stop func() bool) bool {
	s := b.s
	b.atCentre = max(b.atCentre, b.modelAtCentre())
	model, solved := b.solve()
	b.model = model
	promise := max(b.atCentre-model, 1e-6)
	for i, p := range b.price {
		s.price[i] = p * b.unit()
	}
	s.tolerance = min(s.tolerance, max(1, micro(promise*b.unit()*looseShare/float64(len(s.cal)))))
	if !s.evaluate(stop) {
		return false
	}
	s.round++
	kept := func() float64 { return (b.atCentre - float64(s.value)/b.unit()) / promise }
	if s.round >= b.near && kept() > fairShare {
		b.near = s.round + nearEvery
		if !s.closer(b.times, stop) {
			return false
		}
		if float64(s.last-s.value)/b.unit() > promise/2 {
			b.times = min(2*b.times, nearMost)
		}
	}
	b.gather()
	switch share := kept(); {
	case share > fairShare:
		b.moveCentre(s.price, s.value)
		if share > goodShare && solved {
			b.reach *= farther
		}
	default:
		if b.idle++; b.idle > patientSteps {
			b.reach *= shorter
		}
	}
	b.trim()
	return true
}

// modelAtCentre is what the model is worth at the centre: a schedule found since may leave over more there than those found there.
func (b *bundle) modelAtCentre() (sum float64) {
	copy(b.price, b.centre)
	for t := range b.planes {
		most := 0.0
		for k := range b.planes[t] {
			b.value(&b.planes[t][k])
			most = max(most, b.planes[t][k].left)
		}
		sum += most
	}
	return sum + b.thereCosts()
}

// nearEnd reports whether the model leaves less than a share of a gap, in points, for the bound to fall.
func (b *bundle) nearEnd(gap int64) bool {
	return float64(b.s.bound)/b.unit()-b.model < endShare*float64(gap)
}

// moved reports whether the last step moved the centre.
func (b *bundle) moved() bool { return b.idle == 0 }

// trim drops planes that have had no weight for long.
func (b *bundle) trim() {
	for t, list := range b.planes {
		oldest := 0
		for k := range list {
			if list[k].idle++; list[k].weight > 0 {
				list[k].idle = 0
			}
			if k > 0 && (oldest == 0 || list[k].idle > list[oldest].idle) {
				oldest = k
			}
		}
		if len(list) > planesMost && list[oldest].weight == 0 {
			b.planes[t] = slices.Delete(list, oldest, oldest+1)
		}
	}
}
