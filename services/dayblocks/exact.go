package dayblocks

import (
	"cmp"
	"slices"
)

// exact proves small days optimal. At fixed prices every dog's day, and every break, loses something against the cheapest there is; a plan
// that beats the best known can't lose more in all than lies between its cost and the bound. So the days of a dog that lose no more than
// that are listed, and combinations of them are searched depth first, dogs with few days first.
type exact struct {
	d      *dual
	s      *state
	base   micro // cost of the cheapest days, less what is paid back: the bound
	lists  [][]option
	best   int
	at     []placed
	nodes  int
	listed int // days looked at
	stop   func() bool
	ended  bool

	dog    int32
	low    micro // of the dog's days
	path   []int32
	pathAt []placed
}

// option is a whole day of a dog, or the time of a break.
type option struct {
	items []int32
	at    []placed
	loss  micro
}

const (
	optionsMost = 30_000 // of a dog
	listedMost  = 200_000
	nodesMost   = 3_000_000
)

// solveExact looks for a plan that costs less than best, and reports whether there is none but the one returned.
func solveExact(d *dual, best int, at []placed, stop func() bool) (int, []placed, bool) {
	x := &exact{d: d, s: newState(d.m), best: best, at: slices.Clone(at), stop: stop}
	d.settle()
	x.base = d.evaluate()
	if !x.list() {
		return best, at, false
	}
	x.branch(x.lists, 0)
	return x.best, x.at, !x.ended
}

// room is how much may be lost by a plan that costs less than the best.
func (x *exact) room() micro { return micro(x.best-1)*unit - x.base }

// list writes down the days of every dog that lose little enough.
func (x *exact) list() bool {
	m := x.d.m
	for dog, items := range m.ofDog {
		if len(items) == 0 {
			continue
		}
		x.dog = int32(dog)
		before := slices.Clone(x.d.use)
		x.low = x.d.dog(x.dog)
		copy(x.d.use, before)
		x.lists = append(x.lists, nil)
		if !x.days(0, 0) {
			return false
		}
	}
	for i := m.sessions(); i < len(m.items); i++ {
		var list []option // breaks cost nothing by themselves: what they take is in the trainers' best days
		m.items[i].within.each(func(k int) {
			list = append(list, option{[]int32{int32(i)}, []placed{{int32(k), m.items[i].trainer, -1, -1}}, 0})
		})
		x.lists = append(x.lists, list)
	}
	for _, list := range x.lists {
		slices.SortStableFunc(list, func(a, b option) int { return cmp.Compare(a.loss, b.loss) })
	}
	slices.SortStableFunc(x.lists, func(a, b []option) int { return cmp.Compare(len(a), len(b)) })
	return true
}

// days lists the days of a dog that begin with the path, which costs so much without what is left out; held names its sessions by bits.
func (x *exact) days(cost micro, held uint) bool {
	m, d := x.d.m, x.d
	top := &x.lists[len(x.lists)-1]
	if x.listed++; x.listed > listedMost || len(*top) > optionsMost || x.listed%256 == 0 && x.stop() {
		return false
	}
	if loss := cost + micro(m.leftOut(x.dog, held))*unit - x.low; loss <= x.room() {
		*top = append(*top, option{slices.Clone(x.path), slices.Clone(x.pathAt), loss})
	}
	n := len(x.path)
	for j, i := range m.ofDog[x.dog] {
		it := &m.items[i]
		if held>>j&1 != 0 || it.same >= 0 && held>>m.items[it.same].session&1 == 0 || d.held[i].low >= infinite {
			continue
		}
		if n > 1 && m.items[x.path[n-1]].skill == it.skill && m.items[x.path[n-2]].skill == it.skill {
			continue
		}
		from := 0
		if n > 0 {
			from = int(x.pathAt[n-1].start) + m.items[x.path[n-1]].length + m.rest[x.dog]
		}
		for k := from; k < m.steps; k++ {
			if d.held[i].cost[k] >= infinite || cost+d.held[i].cost[k]+x.least(held|1<<j)-x.low > x.room() {
				continue
			}
			if !x.modes(i, k, cost, held|1<<j) {
				return false
			}
		}
	}
	return true
}

// least is the least that the sessions of the dog not held yet can still cost.
func (x *exact) least(held uint) (sum micro) {
	m := x.d.m
	var gains []micro
	dog := &m.d.Dogs[x.dog]
	left := 0
	for j, i := range m.ofDog[x.dog] {
		if held>>j&1 != 0 {
			continue
		}
		left++
		extra := micro(dog.Sessions[j].Extra) * unit
		sum += extra
		if low := x.d.held[i].low; low < infinite {
			gains = append(gains, low-extra)
		}
	}
	slices.Sort(gains)
	best, run := micro(m.d.dropCost(dog, left))*unit, micro(0)
	for n, g := range gains {
		run += g
		best = min(best, run+micro(m.d.dropCost(dog, left-n-1))*unit)
	}
	return sum + best
}

// modes goes on with each trainer and area in which an item can be held at a step.
func (x *exact) modes(i int32, k int, cost micro, held uint) bool {
	m, d := x.d.m, x.d
	it := &m.items[i]
	near := micro(0)
	if n := len(x.path); n > 0 && k-int(x.pathAt[n-1].start)-m.items[x.path[n-1]].length < m.spread {
		near = micro(m.d.Policy.Near) * unit
	}
	seconds := []int{-1}
	if it.two {
		seconds = seconds[:0]
		for _, h := range it.seconds {
			seconds = append(seconds, h.Trainer)
		}
	}
	for _, h := range it.handlers {
		for _, second := range seconds {
			if h.Trainer == second || !m.begin[h.Trainer][it.class].has(k) || second >= 0 && !m.begin[second][it.class].has(k) {
				continue
			}
			for n := range it.places {
				p := &it.places[n]
				if !p.starts.has(k) {
					continue
				}
				at := placed{int32(k), int32(h.Trainer), int32(second), int32(n)}
				c := micro(m.itemCost(it, at))*unit + d.work(h.Trainer, it.class, k)
				if second >= 0 {
					c += d.work(second, it.class, k)
				}
				here := d.paid(len(m.hours)+p.area, k, it.length)
				if it.alone {
					here *= micro(m.d.Areas[p.area].Dogs)
				}
				next := cost + near + c + here + x.change(at, it)
				if next+x.least(held)-x.low > x.room() {
					continue
				}
				x.path, x.pathAt = append(x.path, i), append(x.pathAt, at)
				ok := x.days(next, held)
				x.path, x.pathAt = x.path[:len(x.path)-1], x.pathAt[:len(x.pathAt)-1]
				if !ok {
					return false
				}
			}
		}
	}
	return true
}

// change is what a further area costs.
func (x *exact) change(at placed, it *item) micro {
	for n, i := range x.path {
		if x.d.m.items[i].places[x.pathAt[n].place].area == it.places[at.place].area {
			return 0
		}
	}
	if len(x.path) == 0 {
		return 0
	}
	return micro(x.d.m.d.Policy.Change) * unit
}

// branch chooses a day for one of the lists that are left. Each list loses at least what its first day does that fits beside what is there;
// the one that loses most by that goes first.
func (x *exact) branch(left [][]option, lost micro) {
	if len(left) == 0 {
		if cost := x.s.cost(); cost < x.best {
			x.best = cost
			copy(x.at, x.s.at)
		}
		return
	}
	next, most, sum := -1, micro(-1), lost
	for n, list := range left {
		first := 0
		for ; first < len(list) && sum+list[first].loss <= x.room() && !x.fits(&list[first]); first++ {
			x.nodes++
		}
		if first == len(list) {
			return
		}
		if sum += list[first].loss; sum > x.room() {
			return
		}
		if loss := list[first].loss; loss > most {
			next, most = n, loss
		}
	}
	others := sum - lost - most
	list := left[next]
	rest := make([][]option, 0, len(left)-1)
	rest = append(append(rest, left[:next]...), left[next+1:]...)
	for i := range list {
		if lost+list[i].loss+others > x.room() {
			return
		}
		if x.nodes++; x.nodes > nodesMost || x.nodes%1024 == 0 && x.stop() {
			x.ended = true
		}
		if x.ended {
			return
		}
		if x.put(&list[i]) {
			x.branch(rest, lost+list[i].loss)
			for _, j := range list[i].items {
				x.s.remove(j)
			}
		}
	}
}

// fits reports whether a day fits beside what is there.
func (x *exact) fits(o *option) bool {
	if !x.put(o) {
		return false
	}
	for _, i := range o.items {
		x.s.remove(i)
	}
	return true
}

// put places a day if it fits beside what is there.
func (x *exact) put(o *option) bool {
	m, s := x.d.m, x.s
	for n, i := range o.items {
		it, p := &m.items[i], o.at[n]
		from, to := int(p.start), int(p.start)+it.busy
		ok := s.free[p.trainer].countIn(from, to) == it.busy && (p.second < 0 || s.free[p.second].countIn(from, to) == it.busy)
		if ok && it.dog >= 0 {
			s.inArea(it, &it.places[p.place])
			ok = s.area.has(from)
		}
		if !ok {
			for _, j := range o.items[:n] {
				s.remove(j)
			}
			return false
		}
		s.put(i, p, true)
	}
	return true
}
