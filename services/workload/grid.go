package workload

import (
	"cmp"
	"math"
	"slices"
)

// The chance of meeting a target is an average over every pair of parameters (start and pace) that a dog may have, weighed by
// how well it fits what was logged and what is typical: a posterior on a grid. That is preferred to a normal approximation about
// the best fit (the delta method), because the grid has nothing that could fail to converge, stays within 0 and 1, and is right
// for few records and for all-pass and all-fail, where the likelihood is nowhere near normal. The work is the same every time.
const (
	// gridSide is how many values of each parameter are tried in one pass.
	gridSide = 33
	// gridReach is how far the first pass reaches to each side of the prior's mean, in its standard deviations.
	gridReach = 5.5
	// gridDrop is how far below the best a logarithm of the density may lie to count: e^-14 is 8e-7.
	gridDrop = 14
	// gridPasses bounds the zooming in; each pass but the last shrinks the grid.
	gridPasses = 6
)

// cell is a pair of parameters with its weight. The weights of a grid add up to 1.
type cell struct{ a, b, weight float64 }

// side is the range of one parameter.
type side struct{ low, high float64 }

func (s side) step() float64         { return (s.high - s.low) / (gridSide - 1) }
func (s side) at(i int) float64      { return s.low + float64(i)*s.step() }
func around(n normal) side           { return side{n.mean - gridReach*n.spread, n.mean + gridReach*n.spread} }
func (s side) shrunk(o side) bool    { return o.high-o.low < .7*(s.high-s.low) }
func (s side) within(o side) side    { return side{max(s.low, o.low), min(s.high, o.high)} }
func (s side) grown(by float64) side { return side{s.low - by, s.high + by} }

// posterior returns the grid for two parameters with independent normal priors. It zooms in on where the density counts until
// the grid fits it.
func posterior(a, b normal, logLikelihood func(a, b float64) float64) []cell {
	sideA, sideB := around(a), around(b)
	for pass := 1; ; pass++ {
		var logs [gridSide][gridSide]float64
		best := math.Inf(-1)
		for i := range gridSide {
			for j := range gridSide {
				x, y := sideA.at(i), sideB.at(j)
				logs[i][j] = a.logDensity(x) + b.logDensity(y) + logLikelihood(x, y)
				best = max(best, logs[i][j])
			}
		}
		nextA, nextB := zoom(sideA, sideB, &logs, best)
		if pass == gridPasses || !sideA.shrunk(nextA) && !sideB.shrunk(nextB) {
			return weigh(sideA, sideB, &logs, best)
		}
		sideA, sideB = nextA, nextB
	}
}

// zoom returns the ranges in which the density counts, with a step to spare on each side.
func zoom(a, b side, logs *[gridSide][gridSide]float64, best float64) (side, side) {
	inA, inB := side{math.Inf(1), math.Inf(-1)}, side{math.Inf(1), math.Inf(-1)}
	for i := range gridSide {
		for j := range gridSide {
			if logs[i][j] >= best-gridDrop {
				inA = side{min(inA.low, a.at(i)), max(inA.high, a.at(i))}
				inB = side{min(inB.low, b.at(j)), max(inB.high, b.at(j))}
			}
		}
	}
	return inA.grown(a.step()).within(a), inB.grown(b.step()).within(b)
}

func weigh(a, b side, logs *[gridSide][gridSide]float64, best float64) []cell {
	var cells []cell
	var sum float64
	for i := range gridSide {
		for j := range gridSide {
			if logs[i][j] >= best-gridDrop {
				w := math.Exp(logs[i][j] - best)
				sum += w
				cells = append(cells, cell{a.at(i), b.at(j), w})
			}
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
