package allocation

import (
	"cmp"
	"slices"
)

// corner is a plan on the concave hull of the known curve: its moves and its value.
type corner struct {
	moves int
	value int64
}

// hull lists the corners of the concave hull of the known plans, from the fewest moves up to the most valuable plan.
func (c *curve) hull() []corner {
	var out []corner
	for m := 0; m <= c.count; m++ {
		x, known := c.plans[m]
		if !known || len(out) > 0 && x.value <= out[len(out)-1].value {
			continue
		}
		for len(out) > 1 {
			a, b := out[len(out)-2], out[len(out)-1]
			// b stays if the slope from a to b is above that from a to the new corner.
			if (b.value-a.value)*int64(m-a.moves) > (x.value-a.value)*int64(b.moves-a.moves) {
				break
			}
			out = out[:len(out)-1]
		}
		out = append(out, corner{m, x.value})
	}
	return out
}

// slopes are the prices of a move at which the hull turns at n, from steep to flat: with a price between them a plan with n
// moves is the best one, if the hull is right. Both are the same where n lies between two corners. known is false where no
// plan has so few moves.
func (c *curve) slopes(n int) (steep, flat float64, known bool) {
	h := c.hull()
	if len(h) == 0 || h[0].moves > n {
		return 0, 0, false
	}
	steep = float64(c.base)
	for i := 1; i < len(h); i++ {
		a, b := h[i-1], h[i]
		slope := float64(b.value-a.value) / float64(b.moves-a.moves)
		switch {
		case b.moves <= n:
			steep = slope
		case a.moves < n:
			return slope, slope, true
		default:
			return steep, slope, true
		}
	}
	if h[len(h)-1].moves < n {
		steep = 0
	}
	return steep, 0, true
}

// nextPrice is a price worth trying for a point: where the hull turns; if searches there left a gap, between the best price
// so far and its neighbours. Points without a known plan ask for prices that rise.
func (c *curve) nextPrice(n int) (mu int64, ok bool) {
	if n == 0 || c.count == 0 {
		return 0, false // keepAll does better
	}
	steep, flat, known := c.slopes(n)
	if !known {
		for mu = c.base; ; mu = min(4*mu, c.top) {
			if !c.asked[mu] || mu >= c.top {
				return mu, !c.asked[mu]
			}
		}
	}
	atHull := []int64{int64((steep + flat) / 2), int64(flat), int64(flat) + 1, int64(steep)}
	for _, mu := range atHull {
		if mu = min(mu, c.top); !c.asked[mu] && float64(mu) >= flat-1 && float64(mu) <= steep+1 {
			return mu, true
		}
	}
	if n >= c.count || !slices.ContainsFunc(c.cuts, func(x cut) bool { return !x.closed && slices.Contains(atHull, x.mu) }) {
		return 0, false
	}
	return c.between(n)
}

// between halves the wider of the two intervals beside the price that bounds n best. The bound at exact searches is convex
// in the price.
func (c *curve) between(n int) (mu int64, ok bool) {
	least := map[int64]int64{}
	for _, x := range c.cuts {
		if old, known := least[x.mu]; !x.pinned && (!known || x.bound < old) {
			least[x.mu] = x.bound
		}
	}
	prices := make([]int64, 0, len(least))
	for mu := range least {
		prices = append(prices, mu)
	}
	slices.Sort(prices)
	if len(prices) == 0 {
		return 0, true
	}
	best := slices.Index(prices, slices.MinFunc(prices, func(a, b int64) int {
		return cmp.Compare(cut{mu: a, bound: least[a]}.at(c.count, n), cut{mu: b, bound: least[b]}.at(c.count, n))
	}))
	widest := int64(1)
	for i := max(1, best); i <= min(best+1, len(prices)-1); i++ {
		if wide := prices[i] - prices[i-1]; wide > widest {
			if at := prices[i-1] + wide/2; !c.asked[at] {
				mu, ok, widest = at, true, wide
			}
		}
	}
	return mu, ok
}
