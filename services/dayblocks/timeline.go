package dayblocks

// timelines makes the bound of the dual stronger: a trainer's time has no longer a price by the step, of which a block pays what it lasts, but
// every start of a block of each length has one; and what a trainer can earn by them is found for its day as a whole, with its breaks,
// by going through the steps. So blocks that only fit in parts no longer count: three and a half in the time between two breaks are three.
//
// The prices begin where those by the step have come to, at which the bound is at least as high.
type timelines struct {
	price        []micro // by trainer, length and step
	top          []micro
	use          []int32 // blocks chosen by dogs, less those of the trainers' best days
	way          []float64
	turn         []float64
	excess, pull []float64 // scratch: by step; pull is of all steps before
	run          []int16   // by trainer and step: steps free in a row from there
	hours        []hours   // by trainer
	best         []micro   // scratch: by step, set of breaks and phase
	by           []int16   // what was chosen there: a length and the next phase, a break (from breaksFrom on), or idle
}

// hours are the steps [from, to) between which a trainer's day lies.
type hours struct{ from, to int }

const (
	idle       = -1
	breaksFrom = 4000
	impossible = -infinite
)

// startTimelines goes over from prices by the step to prices by the start.
func (d *dual) startTimelines() {
	m := d.m
	l := &timelines{}
	n := len(m.hours) * len(m.lengths) * m.steps
	l.price, l.top, l.use = make([]micro, n), make([]micro, n), make([]int32, n)
	l.way, l.turn, l.excess, l.pull = make([]float64, n), make([]float64, n), make([]float64, m.steps+1), make([]float64, m.steps+1)
	l.run = make([]int16, len(m.hours)*m.steps)
	copy(d.price, d.top)
	d.evaluate()
	for t := range m.hours {
		day := hours{from: m.steps}
		for k := m.steps - 1; k >= 0; k-- {
			if m.hours[t].has(k) {
				day = hours{k, max(day.to, k+1)}
				l.run[t*m.steps+k] = 1
				if k+1 < m.steps {
					l.run[t*m.steps+k] += l.run[t*m.steps+k+1]
				}
			}
			for c, length := range m.lengths {
				if k+length <= m.steps {
					l.price[l.at(m, t, c, k)] = d.paid(t, k, length)
				}
			}
		}
		l.hours = append(l.hours, hours{min(day.from, day.to), day.to})
	}
	copy(l.top, l.price)
	d.lines = l
	d.level, d.stalled, d.fresh = levelFirst, 0, true
}

// at is where the price of a start is.
func (l *timelines) at(m *model, trainer, class, k int) int {
	return (trainer*len(m.lengths)+class)*m.steps + k
}

// Phases of a trainer's day: its first block is still to come, blocks are behind and before it, its last block is over. Only in the middle
// one does waiting cost anything; where it never does, that is the only one.
const (
	notYet = iota
	working
	over
	phases
)

// earn is the most that a trainer's day can earn, less what it waits; it takes the starts of that day off the use.
func (l *timelines) earn(m *model, t int) micro {
	breaks := m.d.Trainers[t].Breaks
	first := m.breaksOf(t)
	sets := 1 << len(breaks)
	begin, end := notYet, over
	if m.d.Policy.Idle == 0 {
		begin, end = working, working
	}
	day := l.hours[t]
	grow(&l.best, (m.steps+1)*sets*phases)
	grow(&l.by, (m.steps+1)*sets*phases)
	at := func(k, set, phase int) int { return (k*sets+set)*phases + phase }
	for set := range sets {
		for phase := range phases {
			l.best[at(day.to, set, phase)] = impossible
		}
	}
	l.best[at(day.to, sets-1, begin)], l.best[at(day.to, sets-1, end)] = 0, 0
	for k := day.to - 1; k >= day.from; k-- {
		run := int(l.run[t*m.steps+k])
		wait := micro(0)
		if run > 0 {
			wait = micro(m.d.Policy.Idle) * unit
		}
		for set := range sets {
			for phase := begin; phase <= end; phase++ {
				low, by := l.best[at(k+1, set, phase)], int16(idle)
				if phase == working {
					low -= wait
				}
				for b := range breaks {
					it := &m.items[first+b]
					if set>>b&1 == 0 && it.busy <= run && it.within.has(k) && l.best[at(k+it.busy, set|1<<b, phase)] > low {
						low, by = l.best[at(k+it.busy, set|1<<b, phase)], int16(breaksFrom+b)
					}
				}
				for c, length := range m.lengths {
					if length > run || phase == over {
						continue
					}
					p := l.price[l.at(m, t, c, k)]
					for next := working; next <= end; next++ {
						if v := p + l.best[at(k+length, set, next)]; v > low {
							low, by = v, int16(c*phases+next)
						}
					}
				}
				l.best[at(k, set, phase)], l.by[at(k, set, phase)] = low, by
			}
		}
	}
	earned := l.best[at(day.from, 0, begin)]
	if earned <= impossible/2 {
		return 0 // the breaks do not fit: no plan at all
	}
	for k, set, phase := day.from, 0, begin; k < day.to; {
		switch by := int(l.by[at(k, set, phase)]); {
		case by == idle:
			k++
		case by >= breaksFrom:
			k, set = k+m.items[first+by-breaksFrom].busy, set|1<<(by-breaksFrom)
		default:
			l.use[l.at(m, t, by/phases, k)]--
			k, phase = k+m.lengths[by/phases], by%phases
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
