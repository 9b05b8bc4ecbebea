package allocation

import (
	"cmp"
	"math"
	"slices"
)

// program is a linear programme: maximise the cost of columns times how much of each is taken, with no row's use above its right
// side. All right sides are at least 0, so that taking nothing is a start; columns may be added between calls of solve, which goes
// on from the last basis. It is the primal simplex method (Dantzig 1951) with an explicit inverse of the kernel only: the rows whose
// slack is not in the basis, and as many columns. Right sides are raised by very little, each by a different amount, against ties.
//
// A column is a list of spans of rows, since a stay uses its run on every night of it: prices of a span come from running sums of the
// prices, and the use of rows from sums of differences.
//
// It works in floating point. Nothing rests on its accuracy: its prices are a good place to look for a bound, which is then computed
// in whole numbers, and its columns are plans to be checked.
type program struct {
	right []float64
	first []int32 // spans of column j are [first[j], first[j+1])
	span  []rowSpan
	cost  []float64
	norm  []float64 // by column: what its reduced cost is divided by when columns are compared

	at     []int32 // by column: place in the kernel, -1 if none of it is taken
	rowAt  []int32 // by row: place in the kernel, -1 if its slack is in the basis
	cols   []int32 // kernel
	rows   []int32
	inv    []float64 // inverse of the kernel: by place of the row, stride apart, then of the column
	stride int
	take   []float64 // by place of the column: how much of it is taken
	slack  []float64 // by row, where the slack is in the basis
	price  []float64 // by row
	sum    []float64 // of the prices of all rows before

	use, line, step []float64 // scratch
	some            []placed
	few             []candidateColumn
	pivots, since   int
}

// rowSpan is what a column uses of each of the rows [from, to). Spans of a column may overlap; they add up.
type rowSpan struct {
	from, to int32
	use      float64
}

type candidateColumn struct {
	col   int32
	score float64
}

const (
	gainTolerance  = 1e-7
	pivotTolerance = 1e-7
	refreshEvery   = 150
	fewColumns     = 40
	minorRounds    = 12
)

func newProgram(right []float64, rnd *random) *program {
	n := len(right)
	p := &program{first: []int32{0}, price: make([]float64, n), sum: make([]float64, n+1), use: make([]float64, n+1), rowAt: make([]int32, n)}
	for i, b := range right {
		p.right = append(p.right, b+1e-6*(1+rnd.unit()))
		p.rowAt[i] = -1
	}
	p.slack = slices.Clone(p.right)
	return p
}

// clone is a copy that can go its own way.
func (p *program) clone() *program {
	q := *p
	q.first, q.span = slices.Clone(p.first), slices.Clone(p.span)
	q.cost, q.norm, q.at, q.rowAt = slices.Clone(p.cost), slices.Clone(p.norm), slices.Clone(p.at), slices.Clone(p.rowAt)
	q.cols, q.rows, q.inv, q.take = slices.Clone(p.cols), slices.Clone(p.rows), slices.Clone(p.inv), slices.Clone(p.take)
	q.right, q.slack, q.price, q.sum = slices.Clone(p.right), slices.Clone(p.slack), slices.Clone(p.price), slices.Clone(p.sum)
	q.use, q.line, q.step, q.some, q.few = slices.Clone(p.use), nil, nil, nil, nil
	return &q
}

// add appends a column.
func (p *program) add(cost float64, spans []rowSpan) (col int32) {
	rows := 0
	for _, x := range spans {
		rows += int(x.to - x.from)
	}
	p.span = append(p.span, spans...)
	p.first = append(p.first, int32(len(p.span)))
	p.cost = append(p.cost, cost)
	p.norm = append(p.norm, math.Sqrt(1+float64(rows)))
	p.at = append(p.at, -1)
	return int32(len(p.cost) - 1)
}

// spans are those of a column.
func (p *program) spans(col int32) []rowSpan { return p.span[p.first[col]:p.first[col+1]] }

// value is the cost of all that is taken.
func (p *program) value() (sum float64) {
	for j, col := range p.cols {
		sum += p.cost[col] * p.take[j]
	}
	return sum
}

// taken is how much of a column is taken.
func (p *program) taken(col int32) float64 {
	if p.at[col] < 0 {
		return 0
	}
	return p.take[p.at[col]]
}

// covered is how much of a row is used by what is taken.
func (p *program) covered(row int32) (sum float64) {
	for j, col := range p.cols {
		sum += p.take[j] * p.find(col, row)
	}
	return sum
}

// gain is a column's reduced cost.
func (p *program) gain(col int32) float64 {
	d := p.cost[col]
	for _, x := range p.span[p.first[col]:p.first[col+1]] {
		d -= (p.sum[x.to] - p.sum[x.from]) * x.use
	}
	return d
}

// solve pivots until no column or slack gains, most pivots are made, or stop says so. It reports whether the optimum was met.
func (p *program) solve(most int, stop func() bool) bool {
	for made := 0; made < most; {
		p.setPrices()
		p.listCandidates()
		n := 0
		for ; n < minorRounds && made < most; n++ {
			col, slackOf := p.enter()
			if col < 0 && slackOf < 0 {
				break
			}
			if !p.pivot(col, slackOf) {
				return false
			}
			made++
			if p.since >= refreshEvery && !p.refresh() {
				return false
			}
		}
		if n == 0 {
			return true
		}
		if stop() {
			return false
		}
	}
	return false
}

// prefer pivots some columns in first, as long as they gain: those of an earlier optimum are a good start.
func (p *program) prefer(cols []int32) {
	p.setPrices()
	p.few = p.few[:0]
	for _, c := range cols {
		p.few = append(p.few, candidateColumn{col: c})
	}
	for range 2 * len(cols) {
		col, slackOf := p.enter()
		if col < 0 && slackOf < 0 || !p.pivot(col, slackOf) || p.since >= refreshEvery && !p.refresh() {
			return
		}
	}
}

// setPrices computes the price of every row at the present basis. Pivots keep them up to date as well as they can.
func (p *program) setPrices() {
	n := len(p.cols)
	grow(&p.line, n)
	for j, col := range p.cols {
		p.line[j] = p.cost[col]
	}
	for i, r := range p.rows {
		p.price[r] = dot(p.line, p.inv[i*p.stride:i*p.stride+n])
	}
	p.sumPrices()
}

// sumPrices brings the running sums up to date.
func (p *program) sumPrices() {
	sum := 0.0
	for r, y := range p.price {
		sum += y
		p.sum[r+1] = sum
	}
}

// listCandidates prices all columns and keeps the few that gain most.
func (p *program) listCandidates() {
	p.few = p.few[:0]
	for col := range p.cost {
		if p.at[col] >= 0 {
			continue
		}
		if d := p.gain(int32(col)); d > gainTolerance {
			p.few = append(p.few, candidateColumn{int32(col), d / p.norm[col]})
		}
	}
	if len(p.few) > fewColumns {
		slices.SortFunc(p.few, func(a, b candidateColumn) int {
			return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.col, b.col))
		})
		p.few = p.few[:fewColumns]
	}
}

// enter picks the column, or the row whose slack, comes into the basis; -1 for neither.
func (p *program) enter() (col, slackOf int32) {
	col, slackOf = -1, -1
	best := 0.0
	for _, c := range p.few {
		if p.at[c.col] >= 0 {
			continue
		}
		if d := p.gain(c.col); d > gainTolerance && d/p.norm[c.col] > best {
			best, col = d/p.norm[c.col], c.col
		}
	}
	for _, r := range p.rows {
		if d := -p.price[r]; d > gainTolerance && d/math.Sqrt2 > best {
			best, col, slackOf = d/math.Sqrt2, -1, r
		}
	}
	return col, slackOf
}

// pivot brings a column or slack into the basis. It reports false if the numbers do not allow it.
func (p *program) pivot(col, slackOf int32) bool {
	p.direction(col, slackOf)
	n := len(p.cols)
	leaveCol, leaveRow := -1, int32(-1)
	best, size := math.Inf(1), 0.0
	consider := func(have, step float64) bool {
		ratio := max(have, 0) / step
		return ratio < best-1e-12 || ratio <= best+1e-12 && step > size
	}
	for j := range n {
		if w := p.step[j]; w > pivotTolerance && consider(p.take[j], w) {
			best, size, leaveCol, leaveRow = p.take[j]/w, w, j, -1
		}
	}
	for r, at := range p.rowAt {
		if w := p.use[r]; at < 0 && w > pivotTolerance && consider(p.slack[r], w) {
			best, size, leaveCol, leaveRow = p.slack[r]/w, w, -1, int32(r)
		}
	}
	if math.IsInf(best, 1) {
		return false
	}
	gain := 0.0
	if col >= 0 {
		gain = p.gain(col)
	} else {
		gain = -p.price[slackOf]
	}
	theta := max(best, 0)
	for j := range n {
		p.take[j] -= theta * p.step[j]
	}
	for r, at := range p.rowAt {
		if at < 0 {
			p.slack[r] -= theta * p.use[r]
		}
	}
	switch {
	case col >= 0 && leaveCol >= 0:
		p.replaceColumn(leaveCol, col, theta, gain)
	case col >= 0:
		p.growKernel(leaveRow, col, theta, gain)
	case leaveCol >= 0:
		p.shrinkKernel(leaveCol, slackOf, theta, gain)
	default:
		p.replaceRow(slackOf, leaveRow, theta)
	}
	p.sumPrices()
	p.pivots++
	p.since++
	return true
}
