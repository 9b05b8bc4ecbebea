package allocation

import "math"

// How the schedule bound takes over from the price bound: which cells are priced, and at what prices it begins.

// newSchedules starts from the best prices of the resource bound: a dog's price is what it could leave over.
func newSchedules(d *dual) *schedules {
	m := d.m
	s := &schedules{m: m, threads: d.threads, cal: newCalendars(m), t: newTariff(m), link: make([]micro, len(m.groups)),
		net: make([]micro, len(m.groups)), bestRun: make([]int16, len(m.groups)), result: make([]priced, len(m.trainerOf)),
		dogPrice: make([]micro, len(m.dogOf)), use: make([]int64, len(m.capacity)), count: make([]int32, len(m.dogOf)),
		noRun: make([]uint64, len(m.dogOf)),
		must:  make([]bool, len(m.dogOf)), keep: 0.9, bound: d.bound, level: min(0.01, 0.06/math.Sqrt(float64(len(m.dogOf)))), size: d.size,
		cap: float64(m.priceCap() << m.shift), steps: 5, limit: 3000}
	for t := range s.cal {
		s.turn = append(s.turn, int32(t))
	}
	for range d.threads {
		s.pricers = append(s.pricers, &pricer{m: m})
	}
	s.listCells(d)
	t := d.settle()
	s.shareOut(t)
	for dog := range m.dogOf {
		s.price = append(s.price, float64(s.dogSurplus(t, dog)))
		s.scale = append(s.scale, 1)
	}
	for range s.price {
		s.highest = append(s.highest, s.cap)
	}
	for _, i := range s.cells {
		s.price = append(s.price, d.top[i])
		s.scale = append(s.scale, d.scale[i/m.stride])
		s.highest = append(s.highest, d.cap[i/m.stride])
	}
	s.takeInnerPrices(d)
	for _, c := range s.cal {
		s.weight = append(s.weight, make([]float32, len(c.stays)))
	}
	s.top, s.dir = make([]float64, len(s.price)), make([]float64, len(s.price))
	copy(s.top, s.price)
	return s
}

// listCells finds the cells of sites that any stay can use.
func (s *schedules) listCells(d *dual) {
	m := s.m
	for site := range m.siteOf {
		last := m.handLine[site]
		if m.minuteLine[site] >= 0 {
			last = m.minuteLine[site]
		}
		for i := m.cell(m.runLine[site], 0); i < m.cell(last+1, 0); i++ {
			if m.capacity[i] > 0 {
				s.cells = append(s.cells, i)
			}
		}
	}
	s.cells = append(s.cells, m.easyCells()...)
	m.fixLoads(s.t, d.top)
}

// shareOut evens out, in every row of a household's groups, what its dogs leave over at the given prices. The transfers add up to
// nothing in each row, so that a household that comes whole is worth the same; but now its dogs can be relaxed into dogs that come
// alone without loosening the bound at these prices.
func (s *schedules) shareOut(t *tariff) {
	m := s.m
	for u := range m.units() {
		dogs := m.members(u)
		if len(dogs) < 2 {
			continue
		}
		for j := range int32(m.dogGroups(int(dogs[0]))) {
			var sum micro
			for _, d := range dogs {
				left, _ := t.best(m.dogFirst[d] + j)
				sum += left
			}
			share, passed := sum/micro(len(dogs)), micro(0)
			for i, d := range dogs {
				left, _ := t.best(m.dogFirst[d] + j)
				s.link[m.dogFirst[d]+j] = share - left
				passed += share - left
				if i == len(dogs)-1 {
					s.link[m.dogFirst[d]+j] -= passed // exact to the last bit
				}
			}
		}
	}
}

func (s *schedules) dogSurplus(t *tariff, dog int) micro {
	var top micro
	for g := s.m.dogFirst[dog]; g < s.m.dogFirst[dog+1]; g++ {
		left, _ := t.best(g)
		top = max(top, left+s.link[g])
	}
	return top
}

// takeInnerPrices starts the trainers' own prices from the resource bound's. What days after the last arrival cost goes onto the day of
// the last arrival.
func (s *schedules) takeInnerPrices(d *dual) {
	m := s.m
	for t, c := range s.cal {
		minute, dog := make([]micro, len(c.minutes)+1), make([]micro, len(c.minutes)+1)
		for k := range m.nights {
			if m.works[t*m.stride+k] {
				at := max(0, min(int(c.day[k]), len(c.minutes)-1))
				minute[at] += micro(d.top[m.cell(m.workLine[t], k)])
				dog[at] += micro(d.top[m.cell(m.dogLine[t], k)])
			}
		}
		for k := range c.minutes {
			c.linear(k, minute[k], dog[k])
		}
	}
}
