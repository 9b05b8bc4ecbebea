package ids

import (
	"encoding/binary"
	"sync"

	"github.com/google/uuid"
)

// Mint makes a new identifier at each call. It is handed to whatever creates rows, so that tests can hand in a predictable
// one. A Mint is safe for concurrent use.
type Mint func() uuid.UUID

// NewMint returns the mint for real work: UUID version 7, which starts with the time and so keeps new rows together. It
// panics if the machine has no random numbers to give, as nothing sensible can follow.
func NewMint() Mint {
	return func() uuid.UUID { return uuid.Must(uuid.NewV7()) }
}

// SequenceMint returns a mint that repeats the same rising series of identifiers for the same seed, for goldens and tests.
// They have the shape of version 7 but say nothing about time. Series of different seeds never meet. Never use it for rows
// that live: two processes with the same seed mint the same identifiers.
func SequenceMint(seed uint32) Mint {
	var mu sync.Mutex
	var count uint64
	return func() uuid.UUID {
		mu.Lock()
		count++
		n := count
		mu.Unlock()
		return sequenceUUID(seed, n)
	}
}

// sequenceUUID lays out seed (32 bits) and count (62 bits) around the version and variant bits of RFC 9562.
func sequenceUUID(seed uint32, n uint64) uuid.UUID {
	var u uuid.UUID
	binary.BigEndian.PutUint32(u[0:4], seed)
	u[6] = 0x70
	binary.BigEndian.PutUint64(u[8:16], n&(1<<62-1)|1<<63)
	return u
}
