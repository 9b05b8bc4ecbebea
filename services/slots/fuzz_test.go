package slots_test

import (
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

// FuzzSolve gives the solver any problem that can be written down: it says what is wrong with it, or appoints the visits with no rule broken, and
// offers other slots that fit.
func FuzzSolve(f *testing.F) {
	r := rand.New(rand.NewPCG(2, 3))
	for range 4 {
		data, err := json.Marshal(smallProblem(r, 3, 8))
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add([]byte(`{"Step":1,"Minutes":9,"Days":[{"Open":{"To":9},"Places":1}],"Visits":[{"Minutes":1}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		var p slots.Problem
		if json.Unmarshal(data, &p) != nil || len(p.Visits) > 6 || len(p.Trainers) > 4 || len(p.Areas) > 4 || len(p.Gates) > 3 || p.Minutes > 3000 {
			return
		}
		plan, err := slots.Solve(&p, slots.Options{Nodes: 20})
		if err != nil {
			require.ErrorIs(t, err, slots.ErrInvalid)
			return
		}
		value, err := slots.Check(&p, plan)
		require.NoError(t, err)
		require.Equal(t, value, plan.Value)
		require.GreaterOrEqual(t, plan.Bound, plan.Value)
		for i := range p.Visits {
			others, err := slots.Alternatives(&p, plan, i, 2)
			require.NoError(t, err)
			for _, s := range others {
				_, err := slots.Check(&p, with(plan, i, s))
				require.NoError(t, err)
			}
		}
	})
}
