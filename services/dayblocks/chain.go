package dayblocks

// The cheapest day of one dog at given prices: its sessions in each order, and for each order the steps, from the first session to the last.

// dog finds the cheapest day of a dog and counts what it uses.
func (d *dual) dog(dog int32) micro {
	m := d.m
	items := m.ofDog[dog]
	for _, i := range items {
		if same := m.items[i].same; same >= 0 {
			copy(d.held[i].cost, d.held[same].cost)
			d.held[i].low = d.held[same].low
			continue
		}
		d.hold(i)
	}
	if len(items) > chainMost {
		return d.loose(dog)
	}
	d.found.items, d.found.starts = d.found.items[:0], d.found.starts[:0]
	d.found.cost = micro(m.leftOut(dog, 0)) * unit
	d.extend(dog, 0, 0)
	for n, i := range d.found.items {
		d.countItem(i, d.found.starts[n])
	}
	return d.found.cost
}

// chainMost is how many sessions a dog may have for the order of its day to be looked at.
const chainMost = 4

// leftOut is what leaving out all sessions of a dog but those held (bits by session) costs.
func (m *model) leftOut(dog int32, held uint) int {
	x := &m.d.Dogs[dog]
	n, cost := 0, 0
	for j := range x.Sessions {
		if held>>j&1 == 0 {
			n++
			cost += x.Sessions[j].Extra
		}
	}
	return cost + m.d.dropCost(x, n)
}

// extend tries every session that could come next in a chain of n sessions; held names those it has.
func (d *dual) extend(dog int32, n int, held uint) {
	m := d.m
	for j, i := range m.ofDog[dog] {
		it := &m.items[i]
		if held>>j&1 != 0 || it.same >= 0 && held>>m.items[it.same].session&1 == 0 || d.held[i].low >= infinite {
			continue
		}
		if n > 1 && m.items[d.depth[n-1].item].skill == it.skill && m.items[d.depth[n-2].item].skill == it.skill {
			continue
		}
		d.fill(dog, n, i)
		rest := micro(m.leftOut(dog, held|1<<j)) * unit
		if low := d.depth[n].low[m.last-1]; low < infinite && low+rest < d.found.cost {
			d.found.cost = low + rest
			d.trace(dog, n)
		}
		d.extend(dog, n+1, held|1<<j)
	}
}

// fill computes a level of the chain whose last session is i.
func (d *dual) fill(dog int32, n int, i int32) {
	level := &d.depth[n]
	level.item = i
	low := infinite
	for k := d.m.first; k < d.m.last; k++ {
		c := d.held[i].cost[k]
		if n > 0 && c < infinite {
			c += d.before(dog, n, k)
		}
		c = min(c, infinite)
		low = min(low, c)
		level.cost[k], level.low[k] = c, low
	}
}

// before is the cheapest way to come to level n at a step: after a good pause, or after a short one that costs points.
func (d *dual) before(dog int32, n, k int) micro {
	last := &d.depth[n-1]
	length := d.m.items[last.item].length
	low := infinite
	if at := k - length - max(d.m.rest[dog], d.m.spread); at >= d.m.first {
		low = last.low[at]
	}
	if at := k - length - d.m.rest[dog]; at >= d.m.first && last.low[at] < infinite {
		low = min(low, last.low[at]+micro(d.m.d.Policy.Near)*unit)
	}
	return low
}

// trace reads a chain of n+1 sessions off the levels.
func (d *dual) trace(dog int32, n int) {
	f := &d.found
	f.items, f.starts = f.items[:0], f.starts[:0]
	for range n + 1 {
		f.items, f.starts = append(f.items, -1), append(f.starts, -1)
	}
	want, upto := d.depth[n].low[d.m.last-1], d.m.last-1
	for ; n >= 0; n-- {
		level := &d.depth[n]
		k := d.m.first
		for level.cost[k] != want || k > upto {
			k++
		}
		f.items[n], f.starts[n] = level.item, k
		if n == 0 {
			return
		}
		want -= d.held[level.item].cost[k]
		before := &d.depth[n-1]
		length := d.m.items[before.item].length
		if at := k - length - max(d.m.rest[dog], d.m.spread); at >= d.m.first && before.low[at] == want {
			upto = at
			continue
		}
		want -= micro(d.m.d.Policy.Near) * unit
		upto = k - length - d.m.rest[dog]
	}
}

// loose is for dogs with many sessions: each is held or not for itself, whatever their order and rest.
func (d *dual) loose(dog int32) micro {
	m := d.m
	items := m.ofDog[dog]
	x := &m.d.Dogs[dog]
	gains := make([]micro, 0, len(items)) // what holding costs, less what leaving out that session costs besides
	left := micro(0)
	order := make([]int, 0, len(items))
	for j, i := range items {
		left += micro(x.Sessions[j].Extra) * unit
		if d.held[i].low < infinite {
			gains = append(gains, d.held[i].low-micro(x.Sessions[j].Extra)*unit)
			order = append(order, j)
		}
	}
	for a := range gains { // by insertion: few
		for b := a; b > 0 && gains[b] < gains[b-1]; b-- {
			gains[b], gains[b-1] = gains[b-1], gains[b]
			order[b], order[b-1] = order[b-1], order[b]
		}
	}
	best, many, sum := micro(m.d.dropCost(x, len(items)))*unit, 0, micro(0)
	for n, g := range gains {
		sum += g
		if c := sum + micro(m.d.dropCost(x, len(items)-n-1))*unit; c < best {
			best, many = c, n+1
		}
	}
	for _, j := range order[:many] {
		i := items[j]
		for k, c := range d.held[i].cost {
			if c == d.held[i].low {
				d.countItem(i, k)
				break
			}
		}
	}
	return best + left
}
