package dayblocks

import "math"

// step evaluates the prices and moves them along the subgradient, smoothed over the steps before (Polyak 1969; Camerini, Fratta and
// Maffioli 1975), towards a plan that costs target points; steps become shorter when they gain nothing for a while.
func (d *dual) step(target int) {
	bound := d.evaluate()
	d.steps++
	if bound > d.best {
		d.best = bound
		copy(d.top, d.price)
		if d.lines != nil {
			copy(d.lines.top, d.lines.price)
		}
		d.stalled = 0
	} else if d.stalled++; d.stalled >= stallSteps {
		d.stalled = 0
		d.level *= 0.75
	}
	norm := d.direction()
	gap := float64(micro(target)*unit-bound) + float64(unit)/2
	if norm == 0 || gap <= 0 {
		return
	}
	move(d.price, d.turn, d.level*gap/norm)
	if l := d.lines; l != nil {
		move(l.price, l.turn, d.level*gap/norm)
	}
}

// move moves prices along turn; none falls below 0.
func move(price []micro, turn []float64, length float64) {
	for r, w := range turn {
		if w != 0 {
			price[r] = max(0, price[r]+micro(math.Round(length*w)))
		}
	}
}

// How steps are smoothed, after how many without gain they become shorter, and how long they are at first (1: to where the bound would meet
// the plan if it rose as fast all the way).
const (
	smooth     = 0.9
	stallSteps = 10
	levelFirst = 0.1
)

// Weights of what prices move along together, see direction. Of a quarter to sixteen times these, they gave the best bounds of nine days.
const (
	wideWeight  = 3.0
	startWeight = 40.0
)

// wide are the numbers of steps that move together.
var wide = []int{4, 12, 48, math.MaxInt}

// direction smooths the subgradient into way, and makes of it what prices turn to. Each price by the step moves along with its own excess of use
// over what there is, and with that of the blocks of 4, 12 and 48 steps that it lies in and of the whole day; each price of a start with its own excess and with
// all these of the steps that the block lasts. There is much less to find out about those that are wide: with prices that move each for
// itself, days that ask for more than there is stayed hundreds of points lower. It returns what the bound rises by at first for a move of length 1.
func (d *dual) direction() (norm float64) {
	m := d.m
	n := m.steps
	keep := smooth
	if d.fresh {
		keep, d.fresh = 0, false
	}
	first := 0
	if d.lines != nil {
		first = len(m.hours)
		for t := range m.hours {
			norm += d.turnStarts(t, keep)
		}
	}
	for s := first; s < len(m.hours)+len(m.open); s++ {
		for r := s * n; r < (s+1)*n; r++ {
			g := float64(d.use[r] - d.limit[r])
			if d.limit[r] == 0 || g < 0 && d.price[r] == 0 {
				g = 0
			}
			d.way[r] = keep*d.way[r] + (1-keep)*g
		}
		norm += d.widen(s, d.way[s*n:(s+1)*n], d.turn[s*n:(s+1)*n], 1)
	}
	return norm
}

// turnStarts is direction for a trainer's prices of starts.
func (d *dual) turnStarts(t int, keep float64) (norm float64) {
	m, l := d.m, d.lines
	clear(l.excess)
	for c, length := range m.lengths {
		at := l.at(m, t, c, 0)
		m.begin[t][c].each(func(k int) {
			g := float64(l.use[at+k])
			if g < 0 && l.price[at+k] == 0 {
				g = 0
			}
			w := keep*l.way[at+k] + (1-keep)*g
			l.way[at+k] = w
			norm += w * w
			l.excess[k] += w
			l.excess[k+length] -= w
		})
	}
	if len(m.lengths) == 0 {
		return 0
	}
	for k := 1; k < m.steps; k++ {
		l.excess[k] += l.excess[k-1]
	}
	norm += d.widen(t, l.excess[:m.steps], l.pull[1:], startWeight/float64(m.lengths[0]*m.lengths[0]))
	for k := range m.steps {
		l.pull[k+1] += l.pull[k]
	}
	for c, length := range m.lengths {
		at := l.at(m, t, c, 0)
		m.begin[t][c].each(func(k int) {
			l.turn[at+k] = l.way[at+k] + l.pull[k+length] - l.pull[k]
		})
	}
	return norm
}

// widen writes into out the excess of each step of a trainer or area, with that of what is around it, and returns the product of the two.
func (d *dual) widen(r int, excess, out []float64, weight float64) (norm float64) {
	n := d.m.steps
	for k, x := range excess {
		out[k] = weight * x
		norm += weight * x * x
	}
	counts := func(k int) bool { return d.limit[r*n+k] > 0 && d.m.useful[r*n+k] }
	for _, size := range wide {
		for from, to := 0, 0; from < n; from = to {
			to = from + min(size, n-from)
			sum, many := 0.0, 0
			for k := from; k < to; k++ {
				if counts(k) {
					sum += excess[k]
					many++
				}
			}
			if sum == 0 {
				continue
			}
			pull := wideWeight * weight / float64(many) * sum
			norm += pull * sum
			for k := from; k < to; k++ {
				if counts(k) {
					out[k] += pull
				}
			}
		}
	}
	return norm
}
