package allocation

// The prices of a step of the bundle method minimise, over all prices p within their limits, the model
//
//	sum over rows of there*p + sum over trainers of max over planes of (cost - use*p)
//
// plus sum over rows of scale*(p-centre)^2 / (2 reach). The dual of this has a weight for each plane, those of a trainer adding up to 1: given
// weights, the best p is centre + reach/scale*(use of the mix - there), kept within the limits. Weights are moved within a trainer
// from the plane that leaves least over to the one that leaves most, as far as gains (as in sequential minimal optimisation, Platt 1998), sweep after sweep
// over all trainers. What that gains falls off geometrically, and an approximate answer does: any prices give a valid bound.

// Sweeps end when what mixes could still gain is so small a share of what the model promises, or after so many.
const (
	mixShare  = 0.03
	mixSweeps = 300
)

// solve finds the prices of the next step, and what the model is worth there, in points. solved is false if it ran out of sweeps.
func (b *bundle) solve() (model float64, solved bool) {
	b.outset()
	for range mixSweeps {
		short := 0.0 // what the mixes are short of the model
		model = 0
		for t := range b.planes {
			most, mean := b.shift(t)
			model += most
			short += most - mean
		}
		model += b.thereCosts()
		if short <= mixShare*max(0, b.atCentre-model) {
			return model, true
		}
	}
	return model, false
}

// outset computes the prices for the weights as they are.
func (b *bundle) outset() {
	for i := range b.raw {
		b.raw[i] = b.centre[i] - b.reach/b.s.scale[i]*b.there[i]
	}
	for _, list := range b.planes {
		for k := range list {
			if p := &list[k]; p.weight > 0 && p.column != nil {
				b.add(p, p.weight)
			}
		}
	}
	b.applyChange(1)
	for i, p := range b.raw {
		b.price[i] = min(max(0, p), b.highest[i])
	}
}

// shift moves weight between two planes of a trainer. It returns what the best plane left over before, and the mix.
func (b *bundle) shift(t int) (most, mean float64) {
	list := b.planes[t]
	top, low := -1, -1
	for k := range list {
		p := &list[k]
		b.value(p)
		mean += p.weight * p.left
		if top < 0 || p.left > list[top].left {
			top = k
		}
		if p.weight > 0 && (low < 0 || p.left < list[low].left) {
			low = k
		}
	}
	most = list[top].left
	if most-list[low].left < 1e-4 {
		return most, mean
	}
	b.add(&list[top], 1)
	b.add(&list[low], -1)
	curve := 1e-12
	for _, r := range b.touched {
		curve += b.change[r] * b.change[r] / b.s.scale[r]
	}
	by := min(list[low].weight, (most-list[low].left)/(curve*b.reach))
	list[top].weight += by
	if list[low].weight -= by; list[low].weight < 1e-9 {
		list[top].weight += list[low].weight
		list[low].weight = 0
	}
	b.applyChange(by)
	return most, mean
}

// thereCosts is what all there is costs at the prices.
func (b *bundle) thereCosts() (sum float64) {
	for i, p := range b.price {
		sum += p * b.there[i]
	}
	return sum
}

// value computes what a plane leaves over at the prices.
func (b *bundle) value(p *plane) {
	if p.left = 0; p.column == nil {
		return
	}
	p.left = p.column.cost
	for _, x := range p.column.spans[1:] { // the first is the trainer's own row
		sum := 0.0
		for _, price := range b.price[int(x.from)-b.first : int(x.to)-b.first] {
			sum += price
		}
		p.left -= x.use * sum
	}
}

// add notes that so much more of a plane's rows is used.
func (b *bundle) add(p *plane, weight float64) {
	if p.column == nil {
		return
	}
	for _, x := range p.column.spans[1:] {
		for r := x.from - int32(b.first); r < x.to-int32(b.first); r++ {
			if !b.listed[r] {
				b.listed[r] = true
				b.touched = append(b.touched, r)
			}
			b.change[r] += weight * x.use
		}
	}
}

// applyChange brings the prices up to date with a share of the changes noted.
func (b *bundle) applyChange(share float64) {
	for _, r := range b.touched {
		b.raw[r] += share * b.change[r] * b.reach / b.s.scale[r]
		b.price[r] = min(max(0, b.raw[r]), b.highest[r])
		b.change[r], b.listed[r] = 0, false
	}
	b.touched = b.touched[:0]
}
