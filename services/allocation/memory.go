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

// memory remembers the best value with which states were met. It is a table of fixed size in which newer states overwrite older ones:
// forgetting one only costs time.
type memory struct {
	slots []memorySlot
	round uint32
}

type memorySlot struct {
	key   stateKey
	value micro
	round uint32
}

const memorySize = 1 << 14

func (m *memory) forget() {
	if m.slots == nil {
		m.slots = make([]memorySlot, memorySize)
	}
	if m.round++; m.round == 0 {
		clear(m.slots)
		m.round = 1
	}
}

// dominated reports whether the state was met with at least this value, and notes it otherwise.
func (m *memory) dominated(key stateKey, value micro) bool {
	slot := &m.slots[key.a&(memorySize-1)]
	if slot.round == m.round && slot.key == key {
		if slot.value >= value {
			return true
		}
		slot.value = value
		return false
	}
	*slot = memorySlot{key, value, m.round}
	return false
}
