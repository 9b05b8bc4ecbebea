package dayblocks_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/dayblocks"
)

// FuzzSolve gives the solver any day that can be written down: it says what is wrong with it, or plans it with no rule broken.
func FuzzSolve(f *testing.F) {
	for seed := range uint64(3) {
		data, err := json.Marshal(siteDay(seed, 2, 4))
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add([]byte(`{"Step":5,"Minutes":60,"Trainers":[{}],"Areas":[{"Dogs":1}],"Dogs":[{"Sessions":[{"Minutes":5}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var d dayblocks.Day
		if json.Unmarshal(data, &d) != nil || len(d.Dogs) > 12 || len(d.Trainers) > 4 {
			return
		}
		p, err := dayblocks.Solve(&d, dayblocks.Options{Moves: 50})
		if err != nil {
			require.ErrorIs(t, err, dayblocks.ErrInvalid)
			return
		}
		value, err := dayblocks.Check(&d, p)
		require.NoError(t, err)
		require.Equal(t, value, p.Value)
		require.GreaterOrEqual(t, p.Bound, p.Value)
	})
}
