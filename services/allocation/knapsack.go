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

// knapsack solves the plain knapsack by dynamic programming over the minutes. With some items still to come, only those minutes matter from which
// they could use up the rest.
func (x *pricer) knapsack() micro {
	w := int(x.c.minutes[0]) + 1
	grow(&x.table, w)
	clear(x.table)
	grow(&x.taken, len(x.items)*w)
	clear(x.taken)
	table, later := x.table[:w], 0
	for i := range x.items {
		later += x.items[i].minutes()
	}
	for i := range x.items {
		size, value := x.items[i].minutes(), x.items[i].value
		later -= size
		from := max(size, w-1-later)
		taken := x.taken[i*w : (i+1)*w]
		for u := w - 1; u >= from; u-- { // without branches, which nobody could foresee
			with, without := table[u-size]+value, table[u]
			taken[u] = with > without
			table[u] = max(with, without)
		}
	}
	u := w - 1
	for i := len(x.items) - 1; i >= 0; i-- {
		if x.taken[i*w+u] {
			x.best = append(x.best, int32(i))
			u -= x.items[i].minutes()
		}
	}
	slices.Reverse(x.best)
	x.value = x.table[w-1]
	return x.value
}

// minutes are what an item takes of a single day.
func (it *item) minutes() int {
	if it.from == it.to {
		return 0
	}
	return int(it.size)
}
