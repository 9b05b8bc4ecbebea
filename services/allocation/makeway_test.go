package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestLanesAgainstLists: what is left, and what is lacking, is what plain lists of days say.
func TestLanesAgainstLists(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		days := rapid.IntRange(1, 70).Draw(t, "days")
		most := rapid.SampledFrom([]int32{0, 1, 30, 1<<15 - 1, 1 << 15, 1<<31 - 1}).Draw(t, "most")
		l := newLanes(days, most)
		row := make([]uint64, l.words)
		list := make([]int32, days)
		for k := range list {
			list[k] = rapid.Int32Range(0, most).Draw(t, "number")
			l.set(row, k, uint64(list[k]))
		}
		a := rapid.IntRange(0, days-1).Draw(t, "from")
		e := rapid.IntRange(a+1, days).Draw(t, "to")
		for k := range list {
			require.Equal(t, list[k], l.at(row, k), "day %d", k)
		}
		seen := make([]bool, days)
		for w := l.first(a); w <= l.last(e); w++ {
			for by := range uint(1) << l.shift {
				if l.span(w, a, e)>>(by*l.bits)&1 == 1 {
					seen[l.day(w, int(by*l.bits))] = true
				}
			}
		}
		for k := range seen {
			require.Equal(t, a <= k && k < e, seen[k], "day %d", k)
		}
	})
}

// TestMakeWayAgainstTrying: whoever is asked to go makes room, and nobody is asked where nobody would have to, or two where one would do.
func TestMakeWayAgainstTrying(t *testing.T) {
	met, moves := [mostEjected + 2]int{}, 0
	for seed := range uint64(4) {
		p, err := Generate("T", seed+1)
		require.NoError(t, err)
		p.Together = [][]int{{0, 1}, {2, 3, 4}}
		if seed%2 == 1 {
			for i := range p.Sites {
				for range p.Days {
					p.Sites[i].Minutes = append(p.Sites[i].Minutes, 420)
				}
			}
		}
		_, g := ranked(p, 0)
		m := g.m
		s := newState(m)
		x := newSearcher(s, g, newSiteUnits(m), m.typicalGain(), newRandom(seed, 1))
		x.temperature = 0.05 * m.typicalGain()
		for range 300 {
			x.quickBatch()
		}
		for range 3000 {
			x.quickBatch()
			dog := int32(x.rnd.below(len(m.dogOf)))
			next, found := x.propose(dog)
			if !found || s.at[dog] == next {
				continue
			}
			moves++
			x.move++
			way := x.makeWay(dog, next)
			one := fitsWithout(s, dog, next)
			switch {
			case one == 0:
				require.True(t, way)
				require.Empty(t, x.ejected)
			case one == 1:
				require.True(t, way)
				require.Len(t, x.ejected, 1)
			case way:
				require.Len(t, x.ejected, 2)
			}
			if !way {
				met[mostEjected+1]++
				continue
			}
			met[len(x.ejected)]++
			require.True(t, fitsLess(s, next, append([]int32{dog}, x.ejected...)...))
		}
	}
	t.Logf("%d moves; nobody, one, two had to go, or nobody was found: %v", moves, met)
	for n, times := range met {
		require.NotZero(t, times, "moves of kind %d", n)
	}
}

// fitsLess reports whether an option fits once some dogs are out of the plan, which is left as it was.
func fitsLess(s *state, c choice, dogs ...int32) bool {
	var at []choice
	for _, d := range dogs {
		at = append(at, s.at[d])
		if s.at[d].group >= 0 {
			s.remove(d)
		}
	}
	fits := s.fits(c)
	for i, d := range dogs {
		if at[i].group >= 0 {
			s.place(d, at[i])
		}
	}
	return fits
}

// fitsWithout is how many dogs beside d, 0 or 1, have to go for its option to fit; 2 if that is not enough. Households stay.
func fitsWithout(s *state, d int32, c choice) int {
	if fitsLess(s, c, d) {
		return 0
	}
	for b := range s.at {
		u := s.m.unitOf[b]
		if int32(b) != d && s.at[b].group >= 0 && len(s.m.members(int(u))) == 1 && fitsLess(s, c, d, int32(b)) {
			return 1
		}
	}
	return 2
}
