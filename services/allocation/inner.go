package allocation

import (
	"math"
	"slices"
)

// The bound on what a trainer's schedule can leave over comes from prices for being there, by working day and size of stay: each
// dog takes the stay that leaves most over after paying them, and the days earn what the best mix of stays would pay. For the
// first window of days, in which nobody leaves, the best mix is found for the window as a whole, so that the mixes of its
// days fit together; for later days, day by day. Once the search has settled who is there at the start of a later window,
// it treats that one as a whole too.

const never = micro(math.MinInt64 / 4)

// prefixes computes the prefix sums of the prices: size*(days+1)+working day.
func (c *calendar) prefixes(sums []micro) {
	days, sizes := len(c.minutes), len(c.sizes)
	for i := range sizes {
		var sum micro
		at := i * (days + 1)
		for k := range days {
			sums[at+k] = sum
			sum += c.price[k*sizes+i]
		}
		sums[at+days] = sum
	}
}

// windowStart is the first working day of window w.
func (c *calendar) windowStart(w int) int {
	if w == 0 {
		return 0
	}
	return int(c.ends[w-1])
}

// windowTable computes, for window w and what is left of its days, the most that arrivals from a day on can earn when some dogs and
// steps of minutes are in use already by earlier arrivals of the window. Only the rows of days from the first on are filled.
func (x *pricer) windowTable(w, first int, table []micro, left, hand []int32) {
	c := x.c
	start, end := c.windowStart(w), int(c.ends[w])
	var next []micro
	var room [2]int // of the next day
	for k := end - 1; k >= first; k-- {
		cur := table[(k-start)*x.size : (k-start+1)*x.size]
		now := [2]int{int(left[k] / c.coarse), int(hand[k])}
		if c.rows == 1 {
			now[1] = 0
		}
		x.windowDay(k, end, cur, next, now, room)
		next, room = cur, now
	}
}

// windowDay fills one day's entries: for as many dogs as there is room for, those steps of minutes that so many dogs can use and for
// which there is room. next is the day after, or nil.
func (x *pricer) windowDay(k, end int, cur, next []micro, room, after [2]int) {
	c := x.c
	width, days, sizes := int(c.width), len(c.minutes), len(c.sizes)
	most, dogs := room[0], room[1]
	least, largest := int(c.sizes[0]), int(c.sizes[sizes-1])
	for n := dogs; n >= 0; n-- {
		lo, hi := n*least, min(most, n*largest)
		if c.rows == 1 {
			hi = most
		}
		if lo > hi {
			continue
		}
		row := cur[n*width+lo : n*width+hi+1]
		switch {
		case next == nil:
			clear(row)
		case n > after[1] || lo > after[0]:
			fillNever(row)
		default:
			kept := min(hi, after[0]) + 1 - lo
			copy(row[:kept], next[n*width+lo:])
			fillNever(row[kept:])
		}
		for i, size := range c.sizes {
			gain := x.sum[i*(days+1)+end] - x.sum[i*(days+1)+k]
			if gain <= 0 || !x.has[k*sizes+i] || lo+int(size) > most {
				continue
			}
			if c.rows == 1 {
				x.addUncounted(row, int(size), most, gain)
			} else if n < dogs {
				from := cur[(n+1)*width+lo+int(size) : (n+1)*width+min(most, hi+int(size))+1]
				to := row[:len(from)]
				for u, v := range from {
					to[u] = max(to[u], v+gain)
				}
			}
		}
	}
}

// fillNever marks entries out of which nothing can come.
func fillNever(row []micro) {
	for u := range row {
		row[u] = never
	}
}

// addUncounted lets any number of stays of one size in; those without minutes come at most once a dog.
func (x *pricer) addUncounted(row []micro, size, most int, gain micro) {
	if size == 0 {
		for u := range most + 1 {
			row[u] += gain * micro(x.c.dogs)
		}
		return
	}
	for u := most - size; u >= 0; u-- {
		row[u] = max(row[u], row[u+size]+gain)
	}
}

// windowMix takes the best mix of the first window out of the slope.
func (x *pricer) windowMix() {
	c := x.c
	days, sizes, width := len(c.minutes), len(c.sizes), int(c.width)
	end, n, u := int(c.ends[0]), 0, 0
	step := 1
	if c.rows == 1 {
		step = 0
	}
	for k := 0; k < end; k++ {
		dogs := int(c.inHand[k])
		if c.rows == 1 {
			dogs = 0
		}
		for {
			cur := x.windows[0][k*x.size : (k+1)*x.size]
			v := cur[n*width+u]
			found := false
			for i, size := range c.sizes {
				gain := x.sum[i*(days+1)+end] - x.sum[i*(days+1)+k]
				if gain <= 0 || !x.has[k*sizes+i] || u+int(size) > int(c.minutes[k]/c.coarse) || n+step > dogs || int(size)+step == 0 {
					continue
				}
				if cur[(n+step)*width+u+int(size)]+gain == v {
					for d := k; d < end; d++ {
						x.slope[d*sizes+i]--
					}
					n, u, found = n+step, u+int(size), true
					break
				}
			}
			if !found {
				break
			}
		}
	}
}

// dayTable computes, for one working day, the most that can be earned from so many dogs and steps of minutes at its prices:
// a knapsack of stays, any number of each size. It reports whether any price is above nothing.
func (x *pricer) dayTable(k int) bool {
	c := x.c
	t := x.table[k*x.size : (k+1)*x.size]
	prices := c.price[k*len(c.sizes) : (k+1)*len(c.sizes)]
	w := int(c.width)
	if slices.Max(prices) <= 0 {
		clear(t)
		return false
	}
	clear(t[:w])
	if c.rows == 1 {
		x.uncounted(t, prices)
		return true
	}
	for n := 1; n < int(c.rows); n++ {
		row, before := t[n*w:(n+1)*w], t[(n-1)*w:n*w]
		copy(row, before)
		for i, size := range c.sizes {
			p := prices[i]
			if p <= 0 || int(size) >= w {
				continue
			}
			to := row[size:]
			for u, v := range before[:w-int(size)] {
				to[u] = max(to[u], v+p)
			}
		}
	}
	return true
}

// uncounted is dayTable without a limit on dogs.
func (x *pricer) uncounted(t, prices []micro) {
	c := x.c
	var free micro
	for i, size := range c.sizes {
		if p := prices[i]; size == 0 && p > 0 {
			free += p * micro(c.dogs)
		}
	}
	for u := range t {
		t[u] = free
		for i, size := range c.sizes {
			if p := prices[i]; p > 0 && size > 0 && int(size) <= u {
				t[u] = max(t[u], t[u-int(size)]+p)
			}
		}
	}
}

// worth is the most that can be earned from a day with so much left.
func (x *pricer) worth(k int, minutes, dogs int32) micro {
	c := x.c
	if c.coarse > 1 {
		minutes /= c.coarse
	}
	if c.rows == 1 {
		return x.table[k*x.size+int(minutes)]
	}
	return x.table[k*x.size+int(dogs*c.width+minutes)]
}

// dayMix takes a day's best mix of stays out of the slope.
func (x *pricer) dayMix(k int) {
	c := x.c
	t := x.table[k*x.size : (k+1)*x.size]
	prices := c.price[k*len(c.sizes) : (k+1)*len(c.sizes)]
	w, u, n, back := int(c.width), int(c.minutes[k]/c.coarse), int(c.inHand[k]), 1
	if c.rows == 1 {
		n, back = 0, 0
	}
	for n > 0 || back == 0 {
		v := t[n*w+u]
		if back == 1 && t[(n-1)*w+u] == v {
			n--
			continue
		}
		found := false
		for i, size := range c.sizes {
			if p := prices[i]; p > 0 && int(size) <= u && int(size)+back > 0 && t[(n-back)*w+u-int(size)]+p == v {
				x.slope[k*len(c.sizes)+i]--
				u -= int(size)
				n -= back
				found = true
				break
			}
		}
		if !found {
			return
		}
	}
}

// evaluateInner computes the bound at the trainer's own prices and the slope of each of them.
func (x *pricer) evaluateInner() micro {
	c := x.c
	sizes, days := len(c.sizes), len(c.minutes)
	clear(x.slope)
	c.prefixes(x.sum)
	x.windows[0] = x.tables.outset(x)
	x.windowTable(0, 0, x.windows[0], c.minutes, c.inHand)
	bound := x.windows[0][0]
	x.windowMix()
	for k := int(c.ends[0]); k < days; k++ {
		if x.dayTable(k) {
			bound += x.worth(k, c.minutes[k], c.inHand[k])
			x.dayMix(k)
		}
	}
	for d := range x.surplus {
		x.surplus[d], x.choiceOf[d] = 0, -1
	}
	for i := range x.items {
		it := &x.items[i]
		at := int(it.class) * (days + 1)
		it.left = it.value - x.sum[at+int(it.to)] + x.sum[at+int(it.from)]
		if it.left > x.surplus[it.dog] {
			x.surplus[it.dog], x.choiceOf[it.dog] = it.left, int32(i)
		}
	}
	for d, i := range x.choiceOf {
		bound += x.surplus[d]
		if i >= 0 {
			it := &x.items[i]
			for k := int(it.from); k < int(it.to); k++ {
				x.slope[k*sizes+int(it.class)]++
			}
		}
	}
	return bound
}

// lowerInner improves the trainer's own prices by some subgradient steps from where the last call left them, and leaves the
// best prices evaluated.
func (x *pricer) lowerInner(steps int) micro {
	c := x.c
	best := x.evaluateInner()
	x.keepBest = append(x.keepBest[:0], c.price...)
	level := 0.03
	now := best
	atBest := true
	for range steps {
		var norm float64
		for i, g := range x.slope {
			if g < 0 && c.price[i] == 0 {
				x.slope[i] = 0
				continue
			}
			norm += float64(g) * float64(g)
		}
		target := max(float64(best)*(1-level), float64(x.value))
		if norm == 0 || float64(now) <= target {
			break
		}
		size := (float64(now) - target) / norm
		for i, g := range x.slope {
			if g != 0 {
				c.price[i] = max(0, c.price[i]+micro(size*float64(g)))
			}
		}
		now = x.evaluateInner()
		if atBest = now < best; atBest {
			best = now
			copy(x.keepBest, c.price)
		} else {
			level *= 0.7
		}
	}
	if !atBest {
		copy(c.price, x.keepBest)
		best = x.evaluateInner()
	}
	return best
}
