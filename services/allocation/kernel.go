package allocation

import "math"

// The kernel of a basis and its inverse: how they change when a column or a slack comes in and another goes.

// direction computes how the basis changes per unit of what enters: step by column of the kernel, use by row outside it.
func (p *program) direction(col, slackOf int32) {
	n := len(p.cols)
	grow(&p.step, n)
	clear(p.step)
	clear(p.use)
	if col < 0 {
		i := int(p.rowAt[slackOf])
		for j := range n {
			p.step[j] = p.inv[j*p.stride+i]
		}
	} else {
		for e := p.first[col]; e < p.first[col+1]; e++ {
			r := p.row[e]
			if at := p.rowAt[r]; at >= 0 {
				v := p.entry[e]
				for j := range n {
					p.step[j] += v * p.inv[j*p.stride+int(at)]
				}
			} else {
				p.use[r] = p.entry[e]
			}
		}
	}
	for j, c := range p.cols {
		w := p.step[j]
		if w == 0 {
			continue
		}
		for e := p.first[c]; e < p.first[c+1]; e++ {
			p.use[p.row[e]] -= w * p.entry[e]
		}
	}
}

func (p *program) replaceColumn(place int, col int32, theta float64) {
	n := len(p.cols)
	pivotRow := p.inv[place*p.stride : place*p.stride+n]
	scale := 1 / p.step[place]
	for i := range pivotRow {
		pivotRow[i] *= scale
	}
	p.eliminate(pivotRow, place)
	p.at[p.cols[place]] = -1
	p.cols[place], p.at[col], p.take[place] = col, int32(place), theta
}

// eliminate subtracts step times the pivot row from all other rows of the inverse.
func (p *program) eliminate(pivotRow []float64, except int) {
	n := len(pivotRow)
	for j := range p.cols {
		w := p.step[j]
		if w == 0 || j == except {
			continue
		}
		row := p.inv[j*p.stride : j*p.stride+n]
		for i, v := range pivotRow {
			row[i] -= w * v
		}
	}
}

// growKernel takes a row, whose slack leaves, and a column into the kernel.
func (p *program) growKernel(row, col int32, theta float64) {
	n := len(p.cols)
	if n+1 > p.stride {
		p.widen(n + 1)
	}
	schur := p.use[row]
	grow(&p.line, n+1)
	clear(p.line)
	for j, c := range p.cols {
		if v := p.find(c, row); v != 0 {
			for i, x := range p.inv[j*p.stride : j*p.stride+n] {
				p.line[i] += v * x
			}
		}
	}
	last := p.inv[n*p.stride : n*p.stride+n+1]
	for i := range n {
		last[i] = -p.line[i] / schur
	}
	last[n] = 1 / schur
	for j := range n {
		row := p.inv[j*p.stride : j*p.stride+n+1]
		row[n] = 0
		if w := p.step[j]; w != 0 {
			for i, v := range last {
				row[i] -= w * v
			}
		}
	}
	p.rowAt[row], p.at[col] = int32(n), int32(n)
	p.rows, p.cols, p.take = append(p.rows, row), append(p.cols, col), append(p.take, theta)
	p.slack[row] = 0
}

// find is a column's entry in a row.
func (p *program) find(col, row int32) float64 {
	for e := p.first[col]; e < p.first[col+1]; e++ {
		if p.row[e] == row {
			return p.entry[e]
		}
	}
	return 0
}

func (p *program) widen(n int) {
	stride := n + 32 + n/4
	inv := make([]float64, stride*stride)
	for j := range p.cols {
		copy(inv[j*stride:], p.inv[j*p.stride:j*p.stride+len(p.cols)])
	}
	p.inv, p.stride = inv, stride
}

// shrinkKernel lets a column leave the kernel together with the row whose slack comes in.
func (p *program) shrinkKernel(place int, row int32, theta float64) {
	n := len(p.cols)
	at := int(p.rowAt[row])
	pivotRow := p.inv[place*p.stride : place*p.stride+n]
	scale := 1 / p.step[place]
	for i := range pivotRow {
		pivotRow[i] *= scale
	}
	p.eliminate(pivotRow, place)
	last := n - 1
	p.at[p.cols[place]], p.rowAt[row] = -1, -1
	p.slack[row], p.price[row] = theta, 0
	if place != last {
		copy(pivotRow, p.inv[last*p.stride:last*p.stride+n])
		p.cols[place], p.take[place] = p.cols[last], p.take[last]
		p.at[p.cols[place]] = int32(place)
	}
	if at != last {
		for j := range last {
			p.inv[j*p.stride+at] = p.inv[j*p.stride+last]
		}
		p.rows[at] = p.rows[last]
		p.rowAt[p.rows[at]] = int32(at)
	}
	p.cols, p.rows, p.take = p.cols[:last], p.rows[:last], p.take[:last]
}

// replaceRow exchanges a row of the kernel, whose slack comes in, for one whose slack leaves.
func (p *program) replaceRow(in, out int32, theta float64) {
	n := len(p.cols)
	at := int(p.rowAt[in])
	grow(&p.line, n)
	clear(p.line)
	for j, c := range p.cols {
		if v := p.find(c, out); v != 0 {
			for i, x := range p.inv[j*p.stride : j*p.stride+n] {
				p.line[i] += v * x
			}
		}
	}
	scale := 1 / p.line[at]
	for j := range n {
		row := p.inv[j*p.stride : j*p.stride+n]
		v := row[at] * scale
		if v != 0 {
			for i, z := range p.line {
				row[i] -= v * z
			}
		}
		row[at] = v
	}
	p.rowAt[in], p.rowAt[out] = -1, int32(at)
	p.rows[at] = out
	p.slack[in], p.slack[out], p.price[in] = theta, 0, 0
}

// refresh computes the inverse and what is taken afresh. It reports false if the kernel has become singular.
func (p *program) refresh() bool {
	n := len(p.cols)
	p.since = 0
	grow(&p.line, n)
	a := make([]float64, n*n) // the kernel: by row, then column
	for j, c := range p.cols {
		for e := p.first[c]; e < p.first[c+1]; e++ {
			if at := p.rowAt[p.row[e]]; at >= 0 {
				a[int(at)*n+j] = p.entry[e]
			}
		}
	}
	if !p.invert(a, n) {
		return false
	}
	copy(p.slack, p.right)
	for j := range n {
		var x float64
		for i, r := range p.rows {
			x += p.inv[j*p.stride+i] * p.right[r]
		}
		p.take[j] = max(x, 0)
		c := p.cols[j]
		for e := p.first[c]; e < p.first[c+1]; e++ {
			p.slack[p.row[e]] -= x * p.entry[e]
		}
	}
	for r, at := range p.rowAt {
		if at >= 0 || p.slack[r] < 0 {
			p.slack[r] = 0
		}
	}
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
			to, at := a[i*n:(i+1)*n], b[i*p.stride:i*p.stride+n]
			for x := k; x < n; x++ {
				to[x] -= f * from[x]
			}
			for x, v := range own {
				at[x] -= f * v
			}
		}
	}
	return true
}
