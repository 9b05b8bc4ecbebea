package allocation

import "sync"

// tariff is a price for every cell, with the prefix sums that make the price of a stay a few subtractions. The array of
// line l starts at l*stride; entry k of a prefix sum is the total of the days before k.
type tariff struct {
	m    *model
	cell []micro // price of each cell
	pre  []micro // prefix sums, by line
	// By trainer: prefix sums of the price of a minute on working days (the trainer's and the site's together), and of a
	// site minute on days off.
	minute, cover []micro
	load          []micro // the same of a unit of the trainers' soft levels; nil if nobody has one
	day           []dayPrice
}

func newTariff(m *model) *tariff {
	n := m.lines * m.stride
	t := len(m.trainerOf) * m.stride
	out := &tariff{m: m, cell: make([]micro, n), pre: make([]micro, n), minute: make([]micro, t), cover: make([]micro, t), day: make([]dayPrice, t)}
	if m.soft() {
		out.load = make([]micro, t)
	}
	return out
}

// sum brings the prefix sums up to date with the cells.
func (t *tariff) sum(threads int) {
	m := t.m
	parallel(threads, m.lines, 256, func(_, from, to int) {
		for l := from; l < to; l++ {
			prefix(t.pre[l*m.stride:(l+1)*m.stride], t.cell[l*m.stride:(l+1)*m.stride])
		}
	})
	parallel(threads, len(m.trainerOf), 128, func(_, from, to int) {
		for tr := from; tr < to; tr++ {
			t.sumTrainer(tr)
			if t.load != nil {
				t.sumEasy(tr)
			}
		}
	})
}

func prefix(pre, cell []micro) {
	var sum micro
	for k := range pre {
		pre[k] = sum
		sum += cell[k]
	}
}

func (t *tariff) sumTrainer(tr int) {
	m := t.m
	own := t.cell[m.cell(m.workLine[tr], 0):m.cell(m.workLine[tr]+1, 0)]
	var site []micro
	if line := m.minuteLine[m.trainerSite[tr]]; line >= 0 {
		site = t.cell[m.cell(line, 0):m.cell(line+1, 0)]
	}
	easy := m.easy.minute[m.trainerSite[tr]]
	minute, cover, works := t.minute[tr*m.stride:], t.cover[tr*m.stride:], m.works[tr*m.stride:]
	dogs, day := t.pre[m.cell(m.dogLine[tr], 0):], t.day[tr*m.stride:]
	var on, off micro
	for k := range m.stride {
		minute[k], cover[k] = on, off
		day[k] = dayPrice{on, dogs[k]}
		var s micro
		if site != nil {
			s = site[k]
		}
		if easy >= 0 {
			s += t.cell[m.cell(easy, k)]
		}
		if works[k] {
			on += own[k] + s
		} else {
			off += s
		}
	}
}

// base is a group's value less the price of its intake and handover places.
func (t *tariff) base(g *group) micro {
	m := t.m
	left := micro(g.value)<<m.shift - t.cell[m.cell(m.intakeLine[g.site], int(g.arrive))] - t.cell[m.cell(m.handLine[g.site], int(g.leave))]
	if m.soft() {
		left -= t.easyPlaces(g)
	}
	return left
}

// run is the price and penalty of a run for a group's nights.
func (t *tariff) run(g *group, r *runChoice) micro {
	at := int(r.line) * t.m.stride
	return micro(r.penalty)<<t.m.shift + t.pre[at+int(g.vacate)] - t.pre[at+int(g.arrive)]
}

// trainer is the price and penalty of a trainer for a group's days.
func (t *tariff) trainer(g *group, c *trainerChoice) micro {
	m := t.m
	at, day := int(c.trainer)*m.stride, int(m.dogLine[c.trainer])*m.stride
	a, e := int(g.arrive), int(g.leave)
	cost := micro(c.penalty)<<m.shift + micro(c.minutes)*(t.minute[at+e]-t.minute[at+a]) + t.pre[day+e] - t.pre[day+a]
	if c.cover != 0 {
		cost += micro(c.cover) * (t.cover[at+e] - t.cover[at+a])
	}
	if c.load != 0 {
		cost += micro(c.load) * (t.load[at+e] - t.load[at+a])
	}
	return cost
}

// best is a group's best option at these prices and what it then leaves over.
func (t *tariff) best(at int32) (micro, choice) {
	g := &t.m.groups[at]
	c := choice{group: at}
	run, tr := micro(1)<<62, micro(1)<<62
	for i, list := 0, t.m.groupRuns(g); i < len(list); i++ {
		if x := t.run(g, &list[i]); x < run {
			run, c.run = x, int16(i)
		}
	}
	for i, list := 0, t.m.groupTrainers(g); i < len(list); i++ {
		if x := t.trainer(g, &list[i]); x < tr {
			tr, c.trainer = x, int16(i)
		}
	}
	return t.base(g) - run - tr, c
}

// surplus is the most that unit u can leave over at these prices, at least 0, and the row of its groups that does it (-1:
// staying away).
func (t *tariff) surplus(u int) (micro, int32) {
	m := t.m
	dogs := m.members(u)
	n := m.dogGroups(int(dogs[0]))
	var top micro
	row := int32(-1)
	for j := range n {
		var sum micro
		for _, d := range dogs {
			x, _ := t.best(m.dogFirst[d] + int32(j))
			sum += x
		}
		if sum > top {
			top, row = sum, int32(j)
		}
	}
	return top, row
}

// capacityValue is the price of everything there is: the part of the bound that does not depend on the dogs. ok is false if it
// does not fit into 62 bits.
func (t *tariff) capacityValue(capacity []int32, threads int) (sum micro, ok bool) {
	const piece = 16_384
	n := (len(t.cell) + piece - 1) / piece
	sums, roughs := make([]micro, n), make([]float64, n)
	parallel(threads, n, 1, func(_, from, to int) {
		for i := from; i < to; i++ {
			for j := i * piece; j < min(len(t.cell), (i+1)*piece); j++ {
				if c := t.cell[j]; c != 0 {
					roughs[i] += float64(c) * float64(capacity[j])
					sums[i] += c * micro(capacity[j])
				}
			}
		}
	})
	var rough float64
	for i := range n {
		rough += roughs[i]
		sum += sums[i]
	}
	return sum, rough < 1<<61
}

// roundDown turns a bound from above, in micro, into the whole points that no plan's value can exceed.
func (m *model) roundDown(x micro) int64 { return x >> m.shift }

// parallel runs f over [0, n) in chunks on up to threads goroutines. worker numbers the goroutine. The split into chunks depends
// on nothing but n and grain, so that results gathered by index are the same for any number of threads.
func parallel(threads, n, grain int, f func(worker, from, to int)) {
	chunks := (n + grain - 1) / grain
	if threads > chunks {
		threads = chunks
	}
	if threads <= 1 {
		if n > 0 {
			f(0, 0, n)
		}
		return
	}
	var wg sync.WaitGroup
	for w := range threads {
		wg.Go(func() {
			for c := w; c < chunks; c += threads {
				f(w, c*grain, min(n, (c+1)*grain))
			}
		})
	}
	wg.Wait()
}
