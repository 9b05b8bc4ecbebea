package allocation

import "math"

// The kernel of a basis and its inverse: how they, and the prices, change when a column or a slack comes in and another goes.

// direction computes how the basis changes per unit of what enters: step by column of the kernel, use by row outside it.
func (p *program) direction(col, slackOf int32) {
	n := len(p.cols)
	grow(&p.step, n)
	clear(p.use)
	if col < 0 {
		copy(p.step, p.inverse(int(p.rowAt[slackOf])))
	} else {
		clear(p.step)
		for _, x := range p.spans(col) {
			p.use[x.from] += x.use
			p.use[x.to] -= x.use
			for r := x.from; r < x.to; r++ {
				if at := p.rowAt[r]; at >= 0 {
					axpy(p.step, x.use, p.inverse(int(at)))
				}
			}
		}
	}
	for j, c := range p.cols {
		w := p.step[j]
		if w == 0 {
			continue
		}
		for _, x := range p.spans(c) {
			p.use[x.from] -= w * x.use
			p.use[x.to] += w * x.use
		}
	}
	sum := 0.0
	for r, v := range p.use { // differences until here
		sum += v
		p.use[r] = sum
	}
}

// inverse is the part of the inverse that belongs to one row of the kernel.
func (p *program) inverse(at int) []float64 {
	return p.inv[at*p.stride : at*p.stride+len(p.cols)]
}

// axpy adds a times x to y.
func axpy(y []float64, a float64, x []float64) {
	x = x[:len(y)]
	for i := range y {
		y[i] += a * x[i]
	}
}

func dot(x, y []float64) (sum float64) {
	y = y[:len(x)]
	for i, v := range x {
		sum += v * y[i]
	}
	return sum
}

// eliminate changes the inverse as a column leaves its place: what it has there is divided by its step, and the steps of all others times
// that are taken off them. Prices change with it by gain for each unit.
func (p *program) eliminate(place int, gain float64) {
	scale := 1 / p.step[place]
	for i, r := range p.rows {
		row := p.inverse(i)
		v := row[place] * scale
		if v == 0 {
			continue
		}
		axpy(row, -v, p.step)
		row[place] = v
		p.price[r] += gain * v
	}
}

func (p *program) replaceColumn(place int, col int32, theta, gain float64) {
	p.eliminate(place, gain)
	p.at[p.cols[place]] = -1
	p.cols[place], p.at[col], p.take[place] = col, int32(place), theta
}

// growKernel takes a row, whose slack leaves, and a column into the kernel.
func (p *program) growKernel(row, col int32, theta, gain float64) {
	n := len(p.cols)
	if n+1 > p.stride {
		p.widen(n + 1)
	}
	scale := -1 / p.use[row]
	p.rowTimesInverse(row)
	for i, r := range p.rows {
		own := p.inv[i*p.stride : i*p.stride+n+1]
		own[n] = 0
		if v := p.line[i] * scale; v != 0 {
			axpy(own[:n], -v, p.step)
			own[n] = v
			p.price[r] += gain * v
		}
	}
	last := p.inv[n*p.stride : n*p.stride+n+1]
	for j, w := range p.step {
		last[j] = w * scale
	}
	last[n] = -scale
	p.price[row] = -gain * scale
	p.rowAt[row], p.at[col] = int32(n), int32(n)
	p.rows, p.cols, p.take = append(p.rows, row), append(p.cols, col), append(p.take, theta)
	p.slack[row] = 0
}

// rowTimesInverse writes into line what a row outside the kernel is made of: by row of the kernel.
func (p *program) rowTimesInverse(row int32) {
	grow(&p.line, len(p.cols))
	p.some = p.some[:0]
	for j, c := range p.cols {
		if v := p.find(c, row); v != 0 {
			p.some = append(p.some, placed{j, v})
		}
	}
	for i := range p.rows {
		own := p.inverse(i)
		sum := 0.0
		for _, x := range p.some {
			sum += x.use * own[x.place]
		}
		p.line[i] = sum
	}
}

// placed is what the column at a place of the kernel uses of a row.
type placed struct {
	place int
	use   float64
}

// find is what a column uses of a row.
func (p *program) find(col, row int32) (use float64) {
	for _, x := range p.spans(col) {
		if x.from <= row && row < x.to {
			use += x.use
		}
	}
	return use
}

func (p *program) widen(n int) {
	stride := n + 32 + n/4
	inv := make([]float64, stride*stride)
	for i := range p.rows {
		copy(inv[i*stride:], p.inverse(i))
	}
	p.inv, p.stride = inv, stride
}

// shrinkKernel lets a column leave the kernel together with the row whose slack comes in.
func (p *program) shrinkKernel(place int, row int32, theta, gain float64) {
	at := int(p.rowAt[row])
	p.eliminate(place, gain)
	last := len(p.cols) - 1
	p.at[p.cols[place]], p.rowAt[row] = -1, -1
	p.slack[row], p.price[row] = theta, 0
	if place != last {
		for i := range p.rows {
			own := p.inverse(i)
			own[place] = own[last]
		}
		p.cols[place], p.take[place] = p.cols[last], p.take[last]
		p.at[p.cols[place]] = int32(place)
	}
	if at != last {
		copy(p.inverse(at), p.inverse(last))
		p.rows[at] = p.rows[last]
		p.rowAt[p.rows[at]] = int32(at)
	}
	p.cols, p.rows, p.take = p.cols[:last], p.rows[:last], p.take[:last]
}

// replaceRow exchanges a row of the kernel, whose slack comes in, for one whose slack leaves.
func (p *program) replaceRow(in, out int32, theta float64) {
	at := int(p.rowAt[in])
	p.rowTimesInverse(out)
	own := p.inverse(at)
	scale := 1 / p.line[at]
	y := p.price[in] * scale
	for j := range own {
		own[j] *= scale
	}
	for i, r := range p.rows {
		if v := p.line[i]; i != at && v != 0 {
			axpy(p.inverse(i), -v, own)
			p.price[r] -= v * y
		}
	}
	p.rowAt[in], p.rowAt[out] = -1, int32(at)
	p.rows[at] = out
	p.slack[in], p.slack[out], p.price[in], p.price[out] = theta, 0, 0, y
}

// refresh computes the inverse and what is taken afresh. It reports false if the kernel has become singular.
func (p *program) refresh() bool {
	n := len(p.cols)
	p.since = 0
	a := make([]float64, n*n) // the kernel: by column, then row
	for j, c := range p.cols {
		for _, x := range p.spans(c) {
			for r := x.from; r < x.to; r++ {
				if at := p.rowAt[r]; at >= 0 {
					a[j*n+int(at)] += x.use
				}
			}
		}
	}
	if !p.invert(a, n) {
		return false
	}
	copy(p.slack, p.right)
	clear(p.take)
	for i, r := range p.rows {
		axpy(p.take, p.right[r], p.inverse(i))
	}
	for j, c := range p.cols {
		for _, x := range p.spans(c) {
			for r := x.from; r < x.to; r++ {
				p.slack[r] -= p.take[j] * x.use
			}
		}
		p.take[j] = max(p.take[j], 0)
	}
	for r, at := range p.rowAt {
		if at >= 0 || p.slack[r] < 0 {
			p.slack[r] = 0
		}
	}
	p.setPrices()
	return true
}

// invert writes the inverse of a into inv, by Gauss and Jordan's elimination with row exchanges. a is destroyed.
func (p *program) invert(a []float64, n int) bool {
	b := p.inv
	for i := range n {
		clear(b[i*p.stride : i*p.stride+n])
		b[i*p.stride+i] = 1
	}
	for k := range n {
		top := k
		for i := k + 1; i < n; i++ {
			if math.Abs(a[i*n+k]) > math.Abs(a[top*n+k]) {
				top = i
			}
		}
		if math.Abs(a[top*n+k]) < 1e-9 {
			return false
		}
		if top != k {
			for i := range n {
				a[k*n+i], a[top*n+i] = a[top*n+i], a[k*n+i]
				b[k*p.stride+i], b[top*p.stride+i] = b[top*p.stride+i], b[k*p.stride+i]
			}
		}
		scale := 1 / a[k*n+k]
		from, own := a[k*n:(k+1)*n], b[k*p.stride:k*p.stride+n]
		for i := range from {
			from[i] *= scale
			own[i] *= scale
		}
		for i := range n {
			f := a[i*n+k]
			if i == k || f == 0 {
				continue
			}
			axpy(a[i*n+k:(i+1)*n], -f, from[k:])
			axpy(b[i*p.stride:i*p.stride+n], -f, own)
		}
	}
	return true
}
