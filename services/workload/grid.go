package workload

import (
	"cmp"
	"math"
	"slices"
)

// The chance of meeting a target is an average over every pair of parameters (start and pace) that a dog may have, weighed by
// how well it fits what was logged and what is typical: a posterior on a grid. That is preferred to a normal approximation about
// the best fit (the delta method), because the grid climbs nowhere and so cannot fail to converge, stays within 0 and 1, and is
// right for few records and for all-pass and all-fail, where the likelihood is nowhere near normal.
//
// The grid is a Fibonacci lattice: point k of n lies at k/n of one side and at the fraction of k m/n of the other, with n and m
// neighbours in Fibonacci's series. It averages smooth densities as well as rows and columns do, and no two points share a
// coordinate, so that quantiles do not come in steps.
const (
	gridPoints, gridTurn = 987, 610
	// gridSpacing is about how far apart points are, as a part of a side.
	gridSpacing = 1. / 31
	// gridReach is how far the first pass reaches to each side of the prior's mean, in its standard deviations.
	gridReach = 5.5
	// gridDrop is how far below the best a logarithm of the density may lie to count: e^-14 is 8e-7.
	gridDrop = 14
	// gridPasses bounds the zooming in.
	gridPasses = 12
)

// cell is a pair of parameters with its weight. The weights of a finished grid add up to 1; before that they are logarithms.
type cell struct {
	a, b, weight float64
	// u and v are what the curve of a cell needs of a and b, worked out once: see curved and grown.
	u, v float64
}

// side is the range of one parameter.
type side struct{ low, high float64 }

func (s side) length() float64         { return s.high - s.low }
func (s side) at(part float64) float64 { return s.low + part*s.length() }
func around(n normal) side             { return side{n.mean - gridReach*n.spread, n.mean + gridReach*n.spread} }

// zoomed returns the range of what was found within s, with two spacings to spare on each side: it may reach beyond s, because the
// best of a coarse grid can lie beside the top.
func (s side) zoomed(found side) side {
	spare := 2 * gridSpacing * s.length()
	return side{found.low - spare, found.high + spare}
}

// fits reports whether zooming from s to next would change little.
func (s side) fits(next side) bool {
	return next.length() > .7*s.length() && next.low >= s.low-.1*s.length() && next.high <= s.high+.1*s.length()
}

// posterior returns the grid for two parameters with independent normal priors. It zooms in on where the density counts until
// the grid fits it.
func posterior(a, b normal, logLikelihood func(a, b float64) float64) []cell {
	sideA, sideB := around(a), around(b)
	points := make([]cell, gridPoints)
	for pass := 1; ; pass++ {
		best := math.Inf(-1)
		for k := range points {
			x := sideA.at((float64(k) + .5) / gridPoints)
			y := sideB.at((float64(k*gridTurn%gridPoints) + .5) / gridPoints)
			log := a.logDensity(x) + b.logDensity(y) + logLikelihood(x, y)
			points[k] = cell{a: x, b: y, weight: log}
			best = max(best, log)
		}
		foundA, foundB := side{math.Inf(1), math.Inf(-1)}, side{math.Inf(1), math.Inf(-1)}
		for _, p := range points {
			if p.weight >= best-gridDrop {
				foundA = side{min(foundA.low, p.a), max(foundA.high, p.a)}
				foundB = side{min(foundB.low, p.b), max(foundB.high, p.b)}
			}
		}
		nextA, nextB := sideA.zoomed(foundA), sideB.zoomed(foundB)
		if pass == gridPasses || sideA.fits(nextA) && sideB.fits(nextB) {
			return weigh(points, best)
		}
		sideA, sideB = nextA, nextB
	}
}

// weigh turns logarithms into weights and leaves out what does not count.
func weigh(points []cell, best float64) []cell {
	var cells []cell
	var sum float64
	for _, p := range points {
		if p.weight >= best-gridDrop {
			p.weight = math.Exp(p.weight - best)
			sum += p.weight
			cells = append(cells, p)
		}
	}
	for i := range cells {
		cells[i].weight /= sum
	}
	return cells
}

// Chance is how likely something is, with an interval. All lie in 0 to 1.
type Chance struct {
	// Mean is the chance: of dogs given .7, about 7 in 10 should do it.
	Mean float64
	// Low and High bound, with 95 % credibility, the chance that somebody would state who knew this dog's curve. They are wide
	// when records are few.
	Low, High float64
}

// meanOf averages f over the grid.
func meanOf(cells []cell, f func(cell) float64) float64 {
	var sum float64
	for _, c := range cells {
		sum += c.weight * f(c)
	}
	return max(0, min(1, sum))
}

// chanceOf averages f over the grid and takes the 2.5 % and 97.5 % quantiles of it.
func chanceOf(cells []cell, f func(cell) float64) Chance {
	const tail = .025
	type weighed struct{ value, weight float64 }
	values := make([]weighed, len(cells))
	for i, c := range cells {
		values[i] = weighed{max(0, min(1, f(c))), c.weight}
	}
	slices.SortFunc(values, func(x, y weighed) int { return cmp.Compare(x.value, y.value) })
	// Each cell stands for the middle of its weight; between two of them the quantile is drawn straight.
	quantile := func(part float64) float64 {
		before := weighed{values[0].value, 0}
		var sum float64
		for _, v := range values {
			middle := sum + v.weight/2
			if middle >= part {
				return before.value + (v.value-before.value)*(part-before.weight)/(middle-before.weight)
			}
			sum += v.weight
			before = weighed{v.value, middle}
		}
		return before.value
	}
	c := Chance{Mean: meanOf(cells, f), Low: quantile(tail), High: quantile(1 - tail)}
	// A skewed grid can have its mean outside the middle 95 %; the interval is widened to show both.
	c.Low, c.High = min(c.Low, c.Mean), max(c.High, c.Mean)
	return c
}
