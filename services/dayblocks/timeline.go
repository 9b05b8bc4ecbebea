package dayblocks

// timelines makes the bound of the dual stronger: a trainer's time has no longer a price by the step, of which a block pays what it lasts, but
// every start of a block of each length has one; and what a trainer can earn by them is found for its day as a whole, with its breaks,
// by going through the steps. So blocks that only fit in parts no longer count: three and a half in the time between two breaks are three.
//
// The prices begin where those by the step have come to, at which the bound is at least as high.
type timelines struct {
	lengths []int
	class   []int32 // by item: its length
	price   []micro // by trainer, length and step
	top     []micro
	use     []int32 // blocks chosen by dogs, less those of the trainers' best days
	way     []float64
	run     []int16 // by trainer and step: steps free in a row from there
	best    []micro // scratch: by step and set of breaks
	by      []int16 // what was chosen there: a length, a break (from breaksFrom on), or idle
}

const (
	idle       = -1
	breaksFrom = 1000
	impossible = -infinite
)

// startTimelines goes over from prices by the step to prices by the start.
func (d *dual) startTimelines() {
	m := d.m
	l := &timelines{class: make([]int32, len(m.items))}
	for i := range m.sessions() {
		at := -1
		for c, n := range l.lengths {
			if n == m.items[i].busy {
				at = c
			}
		}
		if at < 0 {
			at = len(l.lengths)
			l.lengths = append(l.lengths, m.items[i].busy)
		}
		l.class[i] = int32(at)
	}
	n := len(m.hours) * len(l.lengths) * m.steps
	l.price, l.top, l.use, l.way = make([]micro, n), make([]micro, n), make([]int32, n), make([]float64, n)
	l.run = make([]int16, len(m.hours)*m.steps)
	copy(d.price, d.top)
	d.evaluate()
	for t := range m.hours {
		for k := m.steps - 1; k >= 0; k-- {
			if m.hours[t].has(k) {
				l.run[t*m.steps+k] = 1
				if k+1 < m.steps {
					l.run[t*m.steps+k] += l.run[t*m.steps+k+1]
				}
			}
			for c, length := range l.lengths {
				if k+length <= m.steps {
					l.price[l.at(m, t, c, k)] = d.paid(t, k, length)
				}
			}
		}
	}
	copy(l.top, l.price)
	d.lines = l
	d.level, d.stalled, d.fresh = levelAgain, 0, true
}

// at is where the price of a start is.
func (l *timelines) at(m *model, trainer, class, k int) int {
	return (trainer*len(l.lengths)+class)*m.steps + k
}

// earn is the most that a trainer's day can earn; it takes the starts of that day off the use.
func (l *timelines) earn(m *model, t int) micro {
	breaks := m.d.Trainers[t].Breaks
	first := m.breaksOf(t)
	sets := 1 << len(breaks)
	grow(&l.best, (m.steps+1)*sets)
	grow(&l.by, (m.steps+1)*sets)
	for set := range sets {
		l.best[m.steps*sets+set] = impossible
	}
	l.best[m.steps*sets+sets-1] = 0
	for k := m.steps - 1; k >= 0; k-- {
		run := int(l.run[t*m.steps+k])
		for set := range sets {
			low, by := l.best[(k+1)*sets+set], int16(idle)
			for c, length := range l.lengths {
				if length <= run {
					if p := l.price[l.at(m, t, c, k)]; p > 0 && p+l.best[(k+length)*sets+set] > low {
						low, by = p+l.best[(k+length)*sets+set], int16(c)
					}
				}
			}
			for b := range breaks {
				it := &m.items[first+b]
				if set>>b&1 == 0 && it.busy <= run && it.within.has(k) && l.best[(k+it.busy)*sets+(set|1<<b)] > low {
					low, by = l.best[(k+it.busy)*sets+(set|1<<b)], int16(breaksFrom+b)
				}
			}
			l.best[k*sets+set], l.by[k*sets+set] = low, by
		}
	}
	earned := l.best[0]
	if earned <= impossible/2 {
		return 0 // the breaks do not fit: no plan at all
	}
	for k, set := 0, 0; k < m.steps; {
		switch by := int(l.by[k*sets+set]); {
		case by == idle:
			k++
		case by >= breaksFrom:
			k, set = k+m.items[first+by-breaksFrom].busy, set|1<<(by-breaksFrom)
		default:
			l.use[l.at(m, t, by, k)]--
			k += l.lengths[by]
		}
	}
	return earned
}

// breaksOf is the first item that is a break of a trainer; they follow each other.
func (m *model) breaksOf(t int) int {
	i := m.sessions()
	for x := range t {
		i += len(m.d.Trainers[x].Breaks)
	}
	return i
}

func grow[T any](v *[]T, n int) {
	if cap(*v) < n {
		*v = make([]T, n)
	}
	*v = (*v)[:n]
}
