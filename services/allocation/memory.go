package allocation

// stateKey is a 128-bit fingerprint of a set: sums of well-mixed words, so that the order of adding does not matter. With at most
// a few million states compared in one search, the chance that two different ones share a fingerprint is below 10^-24.
type stateKey struct{ a, b uint64 }

func (k *stateKey) add(x uint64) {
	z := (x + 0x9e3779b97f4a7c15) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>29) * 0x94d049bb133111eb
	k.a += z ^ z>>32
	z = (x + 0xd1b54a32d192ed03) * 0xaef17502108ef2d9
	z = (z ^ z>>31) * 0xd6e8feb86659fd93
	k.b += z ^ z>>32
}

// memory remembers the best value with which states were met. It is a table in which newer states overwrite older ones: forgetting one only costs
// time. In each search it begins small and grows with what is put into it, so that what is forgotten does not depend on searches before, which
// another worker may have done.
type memory struct {
	slots []memorySlot
	mask  uint64 // slots in use, less one
	round uint32
	put   int // states noted in this round
}

type memorySlot struct {
	key   stateKey
	value micro
	round uint32
}

// The most is about as many states as a close search of a trainer of 30 dogs comes to; with a quarter of it proofs took longer.
const (
	leastMemory = 1 << 10
	mostMemory  = 1 << 16
)

func (m *memory) forget() {
	if m.slots == nil {
		m.slots = make([]memorySlot, leastMemory)
	}
	m.mask, m.put = leastMemory-1, 0
	if m.round++; m.round == 0 {
		clear(m.slots)
		m.round = 1
	}
}

// dominated reports whether the state was met with at least this value, and notes it otherwise.
func (m *memory) dominated(key stateKey, value micro) bool {
	slot := m.slot(key)
	if slot.round == m.round && slot.key == key {
		if slot.value >= value {
			return true
		}
		slot.value = value
		return false
	}
	*slot = memorySlot{key, value, m.round}
	if m.put++; m.put > int(m.mask)/2 && m.mask+1 < mostMemory {
		m.grow()
	}
	return false
}

func (m *memory) slot(key stateKey) *memorySlot { return &m.slots[key.a&m.mask] }

// grow takes four times as many slots into use.
func (m *memory) grow() {
	before := m.mask + 1
	m.mask = 4*before - 1
	if more := int(m.mask) + 1 - len(m.slots); more > 0 {
		m.slots = append(m.slots, make([]memorySlot, more)...)
	}
	for i := range before {
		if s := m.slots[i]; s.round == m.round && s.key.a&m.mask != i {
			*m.slot(s.key) = s
			m.slots[i].round = 0
		}
	}
}

// tableStore keeps the tables of later windows while one trainer is priced: about every third time that the search comes into a window, it
// has been there before with the same stays still present. Each window has slots of its own, and a new table takes the place of an older
// one in its slot, which no step of the search on the way to this window still needs.
type tableStore struct {
	first []micro   // of the first window, at the outset
	slots []oneSlot // by window and slot
	each  int       // slots of a window, a power of two
	round uint32
}

type oneSlot struct {
	key   stateKey
	round uint32
	table []micro
}

// Bytes are what the tables of one worker may take, about; with at least a few slots for each window.
const (
	tableBytes = 8 << 20
	leastSlots = 4
	mostSlots  = 256
)

// begin forgets all tables: prices and calendar are new.
func (t *tableStore) begin(x *pricer) {
	longest := 1
	for w := range x.c.ends {
		longest = max(longest, int(x.c.ends[w])-x.c.windowStart(w))
	}
	t.each = mostSlots
	for t.each > leastSlots && t.each*len(x.c.ends)*longest*x.size*8 > tableBytes {
		t.each /= 2
	}
	grow(&t.slots, t.each*len(x.c.ends))
	if t.round++; t.round == 0 {
		clear(t.slots[:cap(t.slots)])
		t.round = 1
	}
}

// outset is the table of the first window, whatever is in the slots.
func (t *tableStore) outset(x *pricer) []micro {
	grow(&t.first, int(x.c.ends[0])*x.size)
	return t.first
}

// enterWindow makes the table of a window valid that the search comes into on a working day with the stays named by present.
func (x *pricer) enterWindow(w, day int, present stateKey) {
	t := &x.tables
	slot := &t.slots[w*t.each+int(present.a)&(t.each-1)]
	if slot.round != t.round || slot.key != present {
		slot.key, slot.round = present, t.round
		grow(&slot.table, (int(x.c.ends[w])-x.c.windowStart(w))*x.size)
		x.windowTable(w, day, slot.table, x.left, x.hand)
	}
	x.windows[w] = slot.table
}
