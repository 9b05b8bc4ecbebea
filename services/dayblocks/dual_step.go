package dayblocks

import "math"

// step evaluates the prices and moves them along the subgradient, smoothed over the steps before (Polyak 1969; Camerini, Fratta and
// Maffioli 1975), towards a plan that costs target points; steps become shorter when they gain nothing for a while. They begin short: many dogs choose the same time at first.
func (d *dual) step(target int) {
	bound := d.evaluate()
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
	length := d.level * gap / norm
	for r, w := range d.way {
		if w != 0 {
			d.price[r] = max(0, d.price[r]+micro(math.Round(length*w)))
		}
	}
	if l := d.lines; l != nil {
		for r, w := range l.way {
			if w != 0 {
				l.price[r] = max(0, l.price[r]+micro(math.Round(length*w)))
			}
		}
	}
}

// How steps are smoothed, and after how many without gain they become shorter.
const (
	smooth     = 0.8
	stallSteps = 12
	levelFirst = 0.2
)

// direction smooths the subgradient into way. At first all steps of a trainer's or area's day in which sessions could be held share one
// price, later those of shorter blocks: there is much less to find out about those. On days that ask for more than there is, steps that
// begin with a price for each step of the day stay hundreds of points lower. It returns the square of the direction's length, in such prices.
func (d *dual) direction() (norm float64) {
	n := d.m.steps
	keep := smooth
	block := 1
	for _, c := range coarse {
		if d.made < c.until {
			block = min(n, c.steps)
			break
		}
	}
	if d.made++; d.made > 1 && block != d.block {
		d.stalled, d.fresh, d.level = 0, true, levelFirst
		d.settle()
	}
	d.block = block
	if d.fresh {
		keep, d.fresh = 0, false
	}
	first := 0
	if l := d.lines; l != nil {
		first = len(d.m.hours) * n
		for r, u := range l.use {
			g := float64(u)
			if g < 0 && l.price[r] == 0 {
				g = 0
			}
			l.way[r] = keep*l.way[r] + (1-keep)*g
			norm += l.way[r] * l.way[r]
		}
	}
	for from := first; from < len(d.use); from += n {
		for k := 0; k < n; k += block {
			part := d.use[from+k : from+min(n, k+block)]
			g, open, paid := 0.0, 0, micro(0)
			for i, u := range part {
				r := from + k + i
				if block > 1 && !d.m.useful[r] {
					continue
				}
				g += float64(u - d.limit[r])
				paid += d.price[r]
				if d.limit[r] > 0 {
					open++
				}
			}
			if open == 0 || g < 0 && paid == 0 {
				g = 0
			}
			way := 0.0
			for i := range part {
				if r := from + k + i; d.limit[r] > 0 && (block == 1 || d.m.useful[r]) {
					d.way[r] = keep*d.way[r] + (1-keep)*g
					way = d.way[r]
				}
			}
			norm += way * way
		}
	}
	return norm
}

// coarse says how many steps of the day share a price until so many steps of the prices are made.
var coarse = []struct{ until, steps int }{{40, math.MaxInt}, {80, 12}, {120, 4}}
