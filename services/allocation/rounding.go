package allocation

import (
	"cmp"
	"slices"
)

// votes remembers what each dog chose in the last price steps. Prices swing about the best ones, and so do the choices, but how often an
// option was chosen comes near its share in the linear relaxation (the volume algorithm, Barahona and Anbil 2000). A plan that gives
// dogs what they chose most, most wanted first, starts nearer to the bound than one that ranks options at one set of prices.
type votes struct {
	ring [][]choice // by step, then dog
	next int
}

// voteSteps is how many price steps are remembered.
const voteSteps = 32

// note remembers one step's choices.
func (v *votes) note(pick []choice) {
	if len(v.ring) < voteSteps {
		v.ring = append(v.ring, slices.Clone(pick))
		return
	}
	copy(v.ring[v.next], pick)
	v.next = (v.next + 1) % voteSteps
}

// ballot is a dog's most chosen option, and how often it was chosen.
type ballot struct {
	dog   int32
	count int32
	at    choice
	score float32
}

// place gives dogs that are alone what they chose most, as far as it fits, the most chosen options first.
func (v *votes) place(s *state, g *guide, stop func() bool) {
	m := s.m
	var list []ballot
	counts := map[choice]int32{}
	for u := range m.units() {
		dogs := m.members(u)
		if len(dogs) > 1 || s.at[dogs[0]].group >= 0 {
			continue
		}
		clear(counts)
		for _, pick := range v.ring {
			if c := pick[dogs[0]]; c.group >= 0 {
				counts[c]++
			}
		}
		for c, n := range counts {
			list = append(list, ballot{dogs[0], n, c, g.score(c)})
		}
	}
	slices.SortFunc(list, func(a, b ballot) int {
		return cmp.Or(cmp.Compare(b.count, a.count), cmp.Compare(b.score, a.score), cmp.Compare(a.dog, b.dog), cmp.Compare(a.at.group, b.at.group),
			cmp.Compare(a.at.run, b.at.run), cmp.Compare(a.at.trainer, b.at.trainer))
	})
	for i := range list {
		if i%64 == 0 && stop() {
			return
		}
		if b := &list[i]; s.at[b.dog].group < 0 && s.fits(b.at) {
			s.place(b.dog, b.at)
		}
	}
}

// score is what an option leaves over at the guide's prices, in points.
func (g *guide) score(c choice) float32 {
	return g.base[c.group] - g.run[int(g.runAt[c.group])+int(c.run)] - g.trainer[int(g.trAt[c.group])+int(c.trainer)]
}
