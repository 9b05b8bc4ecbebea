package allocation

// lanes keeps a trainer's numbers of many days in few words, several days to a word, so that all days of a stay are compared or changed
// in a handful of steps. The highest bit of each lane stays free: it tells where a subtraction would have gone below nothing.
type lanes struct {
	bits, shift uint   // width of a lane; a word holds 1<<shift of them
	words       int    // of one trainer
	ones, high  uint64 // 1, and the free bit, in each lane
}

// newLanes lays out lanes for some days and for numbers up to most, at most 2^31-1.
func newLanes(days int, most int32) lanes {
	l := lanes{bits: 16, shift: 2, ones: 0x0001_0001_0001_0001}
	if most >= 1<<15 {
		l = lanes{bits: 32, shift: 1, ones: 0x0000_0001_0000_0001}
	}
	l.high = l.ones << (l.bits - 1)
	l.words = (days + 1<<l.shift - 1) >> l.shift
	return l
}

// most is the highest number a lane can hold.
func (l *lanes) most() uint64 { return 1<<(l.bits-1) - 1 }

// span has the lanes of the days [a, e) that are in word w, which must be from first(a) to last(e).
func (l *lanes) span(w, a, e int) uint64 {
	mask := ^uint64(0)
	if from := a - w<<l.shift; from > 0 {
		mask <<= uint(from) * l.bits
	}
	if to := (w+1)<<l.shift - e; to > 0 {
		mask &= ^uint64(0) >> (uint(to) * l.bits)
	}
	return mask
}

func (l *lanes) first(a int) int { return a >> l.shift }
func (l *lanes) last(e int) int  { return (e - 1) >> l.shift }

// day is the day of a bit of word w, and at the number of a day in a row of words.
func (l *lanes) day(w, bit int) int { return w<<l.shift + bit>>(6-l.shift) }

func (l *lanes) at(row []uint64, day int) int32 {
	return int32(row[day>>l.shift] >> (uint(day&(1<<l.shift-1)) * l.bits) & l.most())
}

func (l *lanes) set(row []uint64, day int, n uint64) {
	by := uint(day&(1<<l.shift-1)) * l.bits
	row[day>>l.shift] = row[day>>l.shift]&^(l.most()<<by) | n<<by
}
