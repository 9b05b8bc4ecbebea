package dayblocks

import "math"

// choice is how a search chooses places for what it puts back. Scores are counted in 1/1024 of a point.
type choice struct {
	prices []micro // of trainers' time, by trainer, length and step; nil while there are none
	weigh  int64   // how much of them counts in this move, in quarters
	blur   uint64  // chance in a score is below it
	chance uint64  // where it is drawn from

	before []int32 // of the session that is chosen for: those of its dog that are placed, by start
	areas  uint64  // where they are
	score  []int64 // by step: all but what its place costs
	second []int32 // by step: the trainer who is best beside the one that is looked at
	low    []int64 // scratch, by step: what that one scores
	places []steps // scratch: where the session could begin in each of its places
	run    freeRun
}

// newMove draws how places are chosen in a move.
func (x *search) newMove() {
	x.by.weigh = 0
	if x.by.prices != nil {
		x.by.weigh = x.rnd.Int64N(5)
	}
}

// choose picks a place for an item: what costs least, with what the time of trainers is worth to others, of such the one that wastes least
// time; with some chance in it.
func (x *search) choose(i int32) (best placed, ok bool) {
	c, s, m := &x.by, x.s, x.m
	it := &m.items[i]
	c.blur, c.chance = 1<<(4+x.rnd.IntN(8))-1, x.rnd.Uint64()
	if it.dog < 0 {
		return x.chooseBreak(i)
	}
	low := int64(math.MaxInt64)
	s.mayBegin(i)
	s.base.keep(it.within)
	c.before, c.areas = s.order, 0 // mayBegin has just put the dog's day in order
	for _, j := range c.before {
		c.areas |= 1 << (m.items[j].places[s.at[j].place].area & 63)
	}
	for len(c.places) < len(it.places) {
		c.places = append(c.places, newSteps(m.steps))
	}
	known := false
	for _, h := range it.handlers {
		if !s.freeWith(it, h.Trainer) {
			continue
		}
		x.look(i, h)
		for n := range it.places {
			p := &it.places[n]
			if !known {
				s.inArea(it, p)
				copy(c.places[n], s.area)
			}
			copy(s.area, c.places[n])
			s.area.keep(s.own)
			cost := int64(p.points) * 1024
			if c.areas != 0 && c.areas>>(p.area&63)&1 == 0 {
				cost += int64(m.d.Policy.Change) * 1024
			}
			s.area.each(func(k int) {
				if score := cost + c.score[k] + c.draw(); score < low {
					low, best, ok = score, placed{int32(k), int32(h.Trainer), c.second[k], int32(n)}, true
				}
			})
		}
		known = true
	}
	return best, ok
}

// draw is some chance for a score, from a linear congruential generator (its constants are Knuth's, from memory): scores are many, and need no better one.
func (c *choice) draw() int64 {
	c.chance = c.chance*6364136223846793005 + 1442695040888963407
	return int64(c.chance >> 32 & c.blur)
}

// chooseBreak picks a time for a break.
func (x *search) chooseBreak(i int32) (best placed, ok bool) {
	low := int64(math.MaxInt64)
	busy := x.m.items[i].busy
	x.s.each(i, func(p placed) {
		if score := x.gaps(int(p.trainer), int(p.start), busy) + x.by.draw(); score < low {
			low, best, ok = score, p, true
		}
	})
	return best, ok
}

// gaps is what a block scores for the gaps that it leaves in a trainer's day.
func (x *search) gaps(t, from, busy int) (score int64) {
	free := x.s.free[t]
	if from > 0 && free.has(from-1) {
		score += 256
	}
	if to := from + busy; to < x.m.steps && free.has(to) {
		score += 128
	}
	return score
}

// look works out what a session scores with a trainer at each of the steps in the state's own.
func (x *search) look(i int32, h Choice) {
	c, s, m := &x.by, x.s, x.m
	it := &m.items[i]
	c.run.trainer = -1
	s.own.each(func(k int) {
		cost := int64(h.Points + x.beside(it, k))
		if k+it.busy > m.finish[h.Trainer] {
			cost += int64(m.d.Policy.Late)
		}
		if k != it.kept {
			cost += int64(it.moved)
		}
		c.score[k], c.second[k] = cost*1024+x.takes(it, h.Trainer, k), -1
	})
	if it.two {
		x.lookBeside(it, h.Trainer)
	}
}

// lookBeside finds the best second trainer beside one at each of the steps in the state's own.
func (x *search) lookBeside(it *item, but int) {
	c, s := &x.by, x.s
	from := x.rnd.IntN(len(it.seconds))
	low := c.low
	for n := range it.seconds {
		h := it.seconds[(from+n)%len(it.seconds)]
		if h.Trainer == but {
			continue
		}
		copy(s.other, s.own)
		s.other.keep(s.freeFor[h.Trainer][it.class].of(s.free[h.Trainer], it.busy))
		c.run.trainer = -1
		s.other.each(func(k int) {
			if score := int64(h.Points)*1024 + x.takes(it, h.Trainer, k); c.second[k] < 0 || score < low[k] {
				low[k], c.second[k] = score, int32(h.Trainer)
			}
		})
	}
	s.own.each(func(k int) { c.score[k] += low[k] })
}

// takes is what a block takes from others in a trainer's day: its time at what that is worth, what can't be filled any more, and gaps.
func (x *search) takes(it *item, t, k int) int64 {
	score := x.gaps(t, k, it.busy) + wastedStep*int64(x.wasted(t, k, it.busy))
	if w := x.by.weigh; w > 0 {
		score += int64(x.by.prices[(t*len(x.m.lengths)+it.class)*x.m.steps+k]) * w / 4
	}
	return score
}

// beside is what the pauses to the sessions before and after one cost if it begins at a step, in points, against those without it.
func (x *search) beside(it *item, k int) (cost int) {
	m, s := x.m, x.s
	near := func(from, length, to int) {
		if to-from-length < m.spread {
			cost += m.d.Policy.Near
		}
	}
	for n, j := range x.by.before {
		start := int(s.at[j].start)
		if start < k {
			if n+1 == len(x.by.before) || int(s.at[x.by.before[n+1]].start) > k {
				near(start, m.items[j].length, k)
			}
			continue
		}
		near(k, it.length, start)
		if n > 0 {
			if b := x.by.before[n-1]; start-int(s.at[b].start)-m.items[b].length < m.spread {
				cost -= m.d.Policy.Near
			}
		}
		break
	}
	return cost
}

// workPrices writes down what the time of trainers costs at the best prices, by trainer, length and step.
func (d *dual) workPrices(out []micro) []micro {
	m := d.m
	grow(&out, len(m.hours)*len(m.lengths)*m.steps)
	if d.lines != nil {
		copy(out, d.lines.top)
		return out
	}
	for t := range m.hours {
		for c, length := range m.lengths {
			for k := range m.steps {
				sum := micro(0)
				for _, p := range d.top[t*m.steps+k : t*m.steps+min(k+length, m.steps)] {
					sum += p
				}
				out[(t*len(m.lengths)+c)*m.steps+k] = sum
			}
		}
	}
	return out
}
