package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestFindEnough: the search for an option that must count for so much finds the best-ranked of all that fit if nothing is asked for, passes over
// none that counts for enough, and says when it passed over any.
func TestFindEnough(t *testing.T) {
	found, passed := 0, 0
	for seed := range uint64(4) {
		p, err := Generate("T", seed+1)
		require.NoError(t, err)
		_, g := ranked(p, 50)
		m := g.m
		s := newState(m)
		x := newSearcher(s, g, newSiteUnits(m), m.typicalGain(), newRandom(seed, 1))
		x.temperature = 0.05 * m.typicalGain()
		for range 1000 {
			x.quickBatch()
			dog := int32(x.rnd.below(len(m.dogOf)))
			if s.at[dog].group >= 0 {
				s.remove(dog)
			}
			x.charge = x.rnd.unit()
			need := least{float32(x.rnd.unit()) * 1.1 * g.most[dog], float32(x.charge)}
			best, enough := noChoice, false
			for _, c := range m.options(dog) {
				if s.fits(c) {
					enough = enough || x.points(c) >= float64(need.points)+1e-3
					if best == noChoice || g.score(c) > g.score(best) {
						best = c
					}
				}
			}
			var picks [1]choice
			free := g.find(s, int(m.unitOf[dog]), picks[:], nil, x.rnd, 0, false, anyWorth)
			require.Equal(t, best.group >= 0, free.row >= 0)
			require.False(t, free.poor)
			if free.row >= 0 {
				require.InDelta(t, g.score(best), g.score(picks[0]), 1e-3)
			}
			o := g.find(s, int(m.unitOf[dog]), picks[:], nil, x.rnd, 0, false, need)
			switch {
			case o.row >= 0:
				found++
				require.True(t, s.fits(picks[0]))
			case free.row >= 0:
				passed++
				require.True(t, o.poor)
				require.False(t, enough)
			}
		}
	}
	t.Logf("%d found, %d passed over", found, passed)
	require.NotZero(t, found)
	require.NotZero(t, passed)
}

// options lists all options of a dog.
func (m *model) options(d int32) (out []choice) {
	for i := m.dogFirst[d]; i < m.dogFirst[d+1]; i++ {
		for r := range int16(m.groups[i].nRuns) {
			for t := range int16(m.groups[i].nTrainers) {
				out = append(out, choice{i, r, t})
			}
		}
	}
	return out
}
