package allocation

import (
	"cmp"
	"slices"
)

// share is how much of a stay the programme takes.
type share struct {
	trainer, stay int32
	run           int16
	weight        float64
}

// add puts a schedule into the pool; it returns -1 if it is empty or known.
func (w *master) add(c column) int {
	if len(c.stays) == 0 || w.known[c.key()] {
		return -1
	}
	w.known[c.key()] = true
	w.lay(&c)
	w.pool = append(w.pool, c)
	return len(w.pool) - 1
}

// trim forgets columns that have not been of use for long, when there are many.
func (w *master) trim() {
	most := w.poolMost()
	if w.diving || len(w.pool) <= most {
		return
	}
	idle := make([]int, len(w.pool))
	for i := range w.pool {
		idle[i] = w.pool[i].idle
	}
	slices.Sort(idle)
	limit := idle[most*3/4]
	w.forget(func(c *column) bool { return c.idle > limit })
}

// poolMost is about how many columns are worth keeping.
func (w *master) poolMost() int { return 4*(w.first+len(w.s.m.dogOf)) + 1000 }

// crowded reports whether dives have left so many columns that the pool should be trimmed.
func (w *master) crowded() bool { return len(w.pool) > 3*w.poolMost() }

// forget drops columns from the pool.
func (w *master) forget(drop func(c *column) bool) {
	kept := w.pool[:0]
	where := map[int32]int32{}
	w.known = map[stateKey]bool{}
	for i := range w.pool {
		if c := w.pool[i]; !drop(&c) {
			where[int32(i)] = int32(len(kept))
			w.known[c.key()] = true
			kept = append(kept, c)
		}
	}
	clear(w.pool[len(kept):])
	w.pool = kept
	last := w.last[:0]
	for _, i := range w.last {
		if to, in := where[i]; in {
			last = append(last, to)
		}
	}
	w.last = last
}

// allowed reports whether a column keeps the restrictions in force.
func (w *master) allowed(c *column) bool {
	s := w.s
	cal := s.cal[c.trainer]
	for i, at := range c.stays {
		g := &s.m.groups[cal.stays[at].group]
		if cal.banned != nil && cal.banned[at] || s.noRun[g.dog]>>(s.m.groupRuns(g)[c.runs[i]].line-s.m.runLine[g.site])&1 != 0 {
			return false
		}
	}
	return true
}

// only is a column with some of the stays of another, not laid out yet.
func (c *column) only(keep func(i int) bool) column {
	left := column{trainer: c.trainer}
	for i, at := range c.stays {
		if keep(i) {
			left.stays, left.runs = append(left.stays, at), append(left.runs, c.runs[i])
		}
	}
	return left
}

// shorten adds a column without the stays that the restrictions in force forbid; -1 if it is empty or known.
func (w *master) shorten(c *column) int32 {
	left := c.only(func(i int) bool {
		one := column{trainer: c.trainer, stays: c.stays[i : i+1], runs: c.runs[i : i+1]}
		return w.allowed(&one)
	})
	at := w.add(left)
	if at >= 0 {
		w.pool[at].short = true
	}
	return int32(at)
}

// each calls f for every schedule that the programme takes some of.
func (w *master) each(f func(c *column, x float64)) {
	for j, col := range w.prog.cols {
		if x := w.prog.take[j]; w.used[col] >= 0 && x > 1e-6 {
			f(&w.pool[w.used[col]], x)
		}
	}
}

// weigh writes how much the programme takes of every stay into the weights that plans are proposed from.
func (w *master) weigh() {
	for t := range w.s.weight {
		clear(w.s.weight[t])
	}
	for _, x := range w.shares() {
		w.s.weight[x.trainer][x.stay] = float32(x.weight)
		w.s.bestRun[w.s.cal[x.trainer].stays[x.stay].group] = x.run
	}
}

// shares lists the stays that the programme takes of, heaviest first. Runs are not told apart: the heavier one stands for both.
func (w *master) shares() []share {
	type key struct{ trainer, stay int32 }
	sum := map[key]share{}
	top := map[key]float64{}
	w.each(func(c *column, x float64) {
		for i, st := range c.stays {
			k := key{c.trainer, st}
			old := sum[k]
			if x > top[k] {
				top[k] = x
				old.run = c.runs[i]
			}
			sum[k] = share{c.trainer, st, old.run, old.weight + x}
		}
	})
	out := make([]share, 0, len(sum))
	for _, x := range sum {
		out = append(out, x)
	}
	slices.SortFunc(out, func(a, b share) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.trainer, b.trainer), cmp.Compare(a.stay, b.stay))
	})
	return out
}
