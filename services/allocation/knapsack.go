package allocation

import "slices"

// oneDay reports whether the problem is a plain knapsack: one working day, one item a dog, and no want of dogs in hand.
func (x *pricer) oneDay() bool {
	c := x.c
	if len(c.minutes) != 1 || int(c.inHand[0]) < len(x.items) || int64(len(x.items))*int64(c.minutes[0]+1) > 1<<23 {
		return false
	}
	single := true
	for i := range x.items {
		d := x.items[i].dog
		single = single && !x.used[d]
		x.used[d] = true
	}
	clear(x.used)
	return single
}

// knapsack solves the plain knapsack by dynamic programming over the minutes.
func (x *pricer) knapsack() micro {
	w := int(x.c.minutes[0]) + 1
	grow(&x.table, w)
	clear(x.table)
	grow(&x.taken, len(x.items)*w)
	clear(x.taken)
	for i := range x.items {
		it := &x.items[i]
		taken := x.taken[i*w : (i+1)*w]
		size := int(it.size)
		if it.from == it.to {
			size = 0
		}
		for u := w - 1; u >= size; u-- {
			if v := x.table[u-size] + it.value; v > x.table[u] {
				x.table[u], taken[u] = v, true
			}
		}
	}
	u := w - 1
	for i := len(x.items) - 1; i >= 0; i-- {
		if x.taken[i*w+u] {
			x.best = append(x.best, int32(i))
			if it := &x.items[i]; it.from < it.to {
				u -= int(it.size)
			}
		}
	}
	slices.Reverse(x.best)
	x.value = x.table[w-1]
	return x.value
}
