package allocation

// softDays counts, within the pricing of one trainer, what the soft level of its days costs. Stays have paid the level's price x for every unit,
// and the bound counts x*b for the level b. What is missing from the true cost p*max(0, use-b) is, day by day and never below zero:
//
//	x*(b-use)      where less than b is used: sure once the search has gone past the day
//	(p-x)*(use-b)  where more is used: sure at once, since use only grows
//
// With it the trainer's best schedule is worth the same at any price x between 0 and p; without it, it would be an upper bound only.
type softDays struct {
	on    bool
	units []int32 // by working day: the level, less what is used
	level []int32
	price []micro // x
	extra []micro // p-x
	slack micro   // sum of x*b
}

// begin reads a trainer's level and its prices; prices of nothing where t is nil.
func (d *softDays) begin(c *calendar, m *model, t *tariff) {
	d.on, d.slack = false, 0
	line := m.easy.load[c.trainer]
	if line < 0 {
		return
	}
	d.on = true
	over := micro(m.over(line)) << m.shift
	d.level, d.price, d.extra = d.level[:0], d.price[:0], d.extra[:0]
	for k := range m.stride {
		if !m.works[int(c.trainer)*m.stride+k] {
			continue
		}
		at, price := m.cell(line, k), micro(0)
		if t != nil {
			price = t.cell[at]
		}
		d.level, d.price, d.extra = append(d.level, m.capacity[at]), append(d.price, price), append(d.extra, over-price)
		d.slack += price * micro(m.capacity[at])
	}
	grow(&d.units, len(d.level))
	d.clear()
}

// paid is what a stay pays for units of the level. It may be worth taking as long as it leaves something over before that, for room below the
// level is paid for anyway.
func (d *softDays) paid(s *calendarStay) (sum micro) {
	for k := s.from; k < s.until; k++ {
		sum += d.price[k]
	}
	return sum * micro(s.load)
}

// clear forgets what is used.
func (d *softDays) clear() {
	if d.on {
		copy(d.units, d.level)
	}
}

func (d *softDays) use(it *item, times int32) {
	for k := it.from; k < it.until; k++ {
		d.units[k] -= times * it.load
	}
}

// lost is all that is missing for a schedule: items by index.
func (d *softDays) lost(items []item, schedule []int32) (sum micro) {
	if !d.on {
		return 0
	}
	d.clear()
	for _, i := range schedule {
		d.use(&items[i], 1)
	}
	for k, left := range d.units {
		sum += micro(max(0, left))*d.price[k] + micro(max(0, -left))*d.extra[k]
	}
	d.clear()
	return sum
}

// add counts what an item adds at a spot, before it is taken.
func (d *softDays) add(at *spot, it *item) {
	for k := it.from; k < it.until; k++ {
		below := max(0, min(d.units[k], it.load))
		at.slack -= micro(below) * d.price[k]
		at.value -= micro(it.load-below) * d.extra[k]
	}
}

// pass makes the room that is left on the days before a day sure to stay empty.
func (d *softDays) pass(at *spot, day int) {
	for k := at.day; k < day; k++ {
		empty := micro(max(0, d.units[k])) * d.price[k]
		at.value, at.slack = at.value-empty, at.slack-empty
	}
}
