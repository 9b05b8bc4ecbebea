package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestMemory: a state is dominated only once it was met with as much, also after the table has grown; a new search knows nothing, and forgets what a first one would.
func TestMemory(t *testing.T) {
	key := func(i int) (k stateKey) {
		k.add(uint64(i))
		return k
	}
	var m memory
	m.forget()
	const states = 20_000
	for i := range states {
		require.False(t, m.dominated(key(i), micro(i)), "never met")
	}
	require.Greater(t, len(m.slots), leastMemory)
	require.LessOrEqual(t, len(m.slots), mostMemory)
	known := 0
	for i := range states {
		if m.dominated(key(i), micro(i)) {
			known++
		}
	}
	require.Greater(t, known, states/2, "few are overwritten in a table of more than twice as many slots")
	last := key(states - 1)
	require.True(t, m.dominated(last, states-2), "with less than before")
	require.False(t, m.dominated(last, states), "with more")
	require.True(t, m.dominated(last, states))
	m.forget()
	require.False(t, m.dominated(last, 0), "another search")

	var first memory
	first.forget()
	m.forget()
	for i := range 3 * states {
		at, value := key(i*i%states), micro(i%7)
		require.Equal(t, first.dominated(at, value), m.dominated(at, value))
	}
}
