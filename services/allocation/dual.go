package allocation

import "math"

// dual lowers the price bound: the Lagrangian relaxation of all capacities, in which each unit takes its best option at the
// going prices. Its best value equals the bound of the linear relaxation. The method is the subgradient method with Polyak
// steps (Polyak 1969; Held, Wolfe and Crowder 1974) towards a target below the best bound, along a deflected direction
// (Camerini, Fratta and Maffioli 1975).
type dual struct {
	m       *model
	threads int
	t       *tariff // prices last evaluated
	bound   micro   // best bound
	price   []float64
	top     []float64 // prices of the best bound
	dir     []float64
	scale   []float64 // square of the typical use of one stay, by line
	use     []int64   // by cell
	pick    []choice  // by dog
	where   []int32   // by dog: the site of its pick, or -1
	sum     []micro   // by unit
	nets    []netting // by worker
	minutes []int64   // by trainer and day: minutes and cover minutes, for the site's lines
	cover   []int64
	load    []int64

	pace  pace
	level float64 // target gap as a share of size
	size  float64 // see typicalGain, for all dogs
	stall int
	last  float64 // bound last evaluated
	steps int
	cap   []float64 // highest price, by line
}

func newDual(m *model, typical float64, threads int) *dual {
	n := m.lines * m.stride
	d := &dual{m: m, threads: threads, t: newTariff(m), price: make([]float64, n), top: make([]float64, n),
		dir: make([]float64, n), scale: make([]float64, m.lines), use: make([]int64, n), pick: make([]choice, len(m.dogOf)), where: make([]int32, len(m.dogOf)),
		sum: make([]micro, m.units()), pace: thorough, cap: m.highestPrices(), nets: make([]netting, threads)}
	tn := len(m.trainerOf) * m.stride
	d.minutes, d.cover, d.load = make([]int64, tn), make([]int64, tn), make([]int64, tn)
	if m.units() > vastUnits {
		d.pace = hasty
	}
	d.level = d.pace.level
	for i := range d.nets {
		d.nets[i].t = d.t
	}
	d.setScale()
	d.bound = math.MaxInt64
	d.last = float64(d.evaluate())
	d.size = min(float64(d.bound), typical*float64(len(m.dogOf))*float64(int64(1)<<m.shift))
	return d
}

func (d *dual) setScale() {
	m := d.m
	for l := range d.scale {
		d.scale[l] = 1
	}
	sum, n := make([]float64, len(m.trainerOf)), make([]float64, len(m.trainerOf))
	for i := range m.trainers {
		t := &m.trainers[i]
		sum[t.trainer] += float64(t.minutes)
		n[t.trainer]++
	}
	for t, line := range m.workLine {
		if n[t] > 0 && sum[t] > n[t] {
			mean := sum[t] / n[t]
			d.scale[line] = mean * mean
			if site := m.minuteLine[m.trainerSite[t]]; site >= 0 {
				d.scale[site] = mean * mean
			}
		}
	}
	m.scaleEasy(d.scale)
}

// evaluate computes the bound at the tariff's cells, keeps them if it is the best, and counts the use of every cell.
func (d *dual) evaluate() micro {
	m := d.m
	d.t.sum(d.threads)
	parallel(d.threads, m.units(), 32, func(worker, from, to int) {
		for u := from; u < to; u++ {
			d.evaluateUnit(u, &d.nets[worker])
		}
	})
	bound, ok := d.t.capacityValue(m.capacity, d.threads)
	for _, s := range d.sum {
		bound += s
	}
	d.countUse()
	if ok && bound < d.bound {
		d.bound = bound
		copy(d.top, d.price)
	}
	return bound
}

// evaluateUnit finds what unit u leaves over at best, and the options that do it.
func (d *dual) evaluateUnit(u int, x *netting) {
	m := d.m
	dogs := m.members(u)
	net := x.of(int(dogs[0]))
	for _, dog := range dogs[1:] {
		sum := x.keep(net)
		for j, left := range x.of(int(dog)) {
			sum[j] += left
		}
		net = sum
	}
	var top micro
	row := int32(-1)
	for j, left := range net {
		if left > top {
			top, row = left, int32(j)
		}
	}
	d.sum[u] = top
	for _, dog := range dogs {
		d.pick[dog], d.where[dog] = noChoice, -1
		if row >= 0 {
			_, d.pick[dog] = d.t.best(m.dogFirst[dog] + row)
			d.where[dog] = m.groups[m.dogFirst[dog]+row].site
		}
	}
}

// countUse adds up what the picked options use, by differences along each line first. Each worker counts at sites of its own.
func (d *dual) countUse() {
	m := d.m
	clear(d.use)
	clear(d.minutes)
	clear(d.cover)
	clear(d.load)
	parallel(d.threads, len(m.siteOf), max(1, (len(m.siteOf)+d.threads-1)/d.threads), func(_, from, to int) {
		first, last := int32(from), int32(to)
		for dog, site := range d.where {
			if site >= first && site < last {
				d.countStay(d.pick[dog])
			}
		}
		for s := first; s < last; s++ {
			for line := m.runLine[s]; line < m.intakeLine[s]; line++ {
				accumulate(d.use[m.cell(line, 0):m.cell(line+1, 0)])
			}
		}
		for t, s := range m.trainerSite {
			if s >= first && s < last {
				d.spread(t)
			}
		}
	})
	if m.soft() {
		d.countEasy()
	}
}

func (d *dual) countStay(c choice) {
	m := d.m
	g := &m.groups[c.group]
	a, e := int(g.arrive), int(g.leave)
	d.use[m.cell(m.intakeLine[g.site], a)]++
	d.use[m.cell(m.handLine[g.site], e)]++
	run := m.cell(m.runs[g.runFrom+int32(c.run)].line, 0)
	d.use[run+a]++
	d.use[run+int(g.vacate)]--
	t := &m.trainers[g.trainerFrom+int32(c.trainer)]
	at, days := int(t.trainer)*m.stride, m.cell(m.dogLine[t.trainer], 0)
	d.minutes[at+a] += int64(t.minutes)
	d.minutes[at+e] -= int64(t.minutes)
	d.cover[at+a] += int64(t.cover)
	d.cover[at+e] -= int64(t.cover)
	d.use[days+a]++
	d.use[days+e]--
	d.load[at+a] += int64(t.load)
	d.load[at+e] -= int64(t.load)
}

func accumulate(v []int64) {
	var sum int64
	for k := range v {
		sum += v[k]
		v[k] = sum
	}
}

// spread turns a trainer's differences into use by day, on working days only, and adds it to the site's minutes.
func (d *dual) spread(t int) {
	m := d.m
	at := t * m.stride
	accumulate(d.minutes[at : at+m.stride])
	accumulate(d.cover[at : at+m.stride])
	days := d.use[m.cell(m.dogLine[t], 0):m.cell(m.dogLine[t]+1, 0)]
	accumulate(days)
	own := d.use[m.cell(m.workLine[t], 0):]
	site := m.minuteLine[m.trainerSite[t]]
	for k := range m.stride {
		here := d.cover[at+k]
		if m.works[at+k] {
			here = d.minutes[at+k]
			own[k] = here
		} else {
			days[k] = 0
		}
		if site >= 0 {
			d.use[m.cell(site, k)] += here
		}
	}
}

// step moves the prices once along the deflected subgradient and evaluates them.
func (d *dual) step(value micro) micro {
	d.steps++
	m := d.m
	chunks := (m.lines + lineChunk - 1) / lineChunk
	norms := make([]float64, chunks)
	parallel(d.threads, chunks, 1, func(_, from, to int) {
		for c := from; c < to; c++ {
			norms[c] = d.turn(c*lineChunk, min(m.lines, (c+1)*lineChunk))
		}
	})
	var norm float64
	for _, x := range norms {
		norm += x
	}
	if norm == 0 {
		d.level = 0
		return d.bound
	}
	now := d.last
	target := max(float64(d.bound)-d.level*d.size, float64(value))
	size := (now - target) / norm
	parallel(d.threads, m.lines, lineChunk, func(_, from, to int) {
		for l := from; l < to; l++ {
			by := size / d.scale[l]
			for i := l * m.stride; i < (l+1)*m.stride; i++ {
				d.price[i] = min(max(0, d.price[i]+by*d.dir[i]), d.cap[l])
				d.t.cell[i] = micro(d.price[i])
			}
		}
	})
	before := d.bound
	got := d.evaluate()
	d.last = float64(got)
	if float64(before-d.bound) > d.size*(d.pace.least+d.pace.relief*d.level) {
		d.stall = 0
	} else if d.stall++; d.stall >= d.pace.patient {
		d.restart()
	}
	return got
}

// lineChunk is how many lines are worked on as one piece.
const lineChunk = 256

// turn brings the direction of some lines up to date and returns the square of its length there.
func (d *dual) turn(from, to int) (norm float64) {
	m := d.m
	for l := from; l < to; l++ {
		inv := 1 / d.scale[l]
		for i := l * m.stride; i < (l+1)*m.stride; i++ {
			g := float64(d.use[i] - int64(m.capacity[i]))
			if g < 0 && d.price[i] == 0 {
				g = 0 // a free resource with room stays free
			}
			d.dir[i] = d.pace.deflect*d.dir[i] + g
			if d.dir[i] < 0 && d.price[i] == 0 {
				d.dir[i] = 0
			}
			norm += d.dir[i] * d.dir[i] * inv
		}
	}
	return norm
}

// restart goes back to the best prices with a nearer target.
func (d *dual) restart() {
	d.stall = 0
	d.level *= d.pace.nearer
	copy(d.price, d.top)
	clear(d.dir)
	for i := range d.price {
		d.t.cell[i] = micro(d.price[i])
	}
	d.last = float64(d.evaluate())
}

// resume undoes settle before the next step.
func (d *dual) resume() {
	for i := range d.price {
		d.t.cell[i] = micro(d.price[i])
	}
}

// settle puts the best prices back into the tariff, so that it can be used.
func (d *dual) settle() *tariff {
	for i := range d.top {
		d.t.cell[i] = micro(d.top[i])
	}
	d.t.sum(d.threads)
	return d.t
}

// converged says that further steps would change the bound by next to nothing.
func (d *dual) converged() bool { return d.level < 2e-5 }
