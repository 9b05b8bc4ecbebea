package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestKnapsackTree proves small assignments by branching alone and compares with every assignment there is; dogs may also stay away. Plans come from
// leaves and from polishing what the weights propose.
func TestKnapsackTree(t *testing.T) {
	t.Parallel()
	never := func() bool { return false }
	rnd := newRandom(8, 8)
	branched := 0
	for n := range 120 {
		p := randomAssignment(rnd)
		require.NoError(t, p.Validate())
		value, bound := int64(0), int64(0)
		for _, part := range components(p) {
			m := newModel(p, part, 1)
			require.True(t, m.oneDay(), "problem %d", n)
			d := newDual(m, m.typicalGain(), 1)
			for range 20 {
				d.step(0)
			}
			s := newSchedules(d)
			require.True(t, s.evaluate(never))
			for range 5 {
				s.step(0, never)
			}
			best := int64(0)
			b := newKnapsackTree(s, func(plan *state) { best = max(best, plan.value) })
			guide := newGuide(m)
			guide.updateCalendars(s)
			plan := newState(m)
			for !b.done() && m.roundDown(b.bound()) > best {
				b.step(micro(best)<<m.shift, never)
				s.propose(plan, guide, never)
				b.polisher.polish(plan, never)
				anew := newState(m)
				for d, c := range plan.at {
					if c.group >= 0 {
						require.True(t, anew.fits(c))
						anew.place(int32(d), c)
					}
				}
				require.Equal(t, anew.value, plan.value)
				best = max(best, plan.value)
			}
			value += best
			bound += max(best, m.roundDown(b.bound()))
			branched += b.nodes
		}
		want := everyAssignment(p, 0, make([]int, len(p.Trainers)))
		require.Equal(t, want, value, "problem %d", n)
		require.Equal(t, want, bound, "problem %d", n)
	}
	t.Logf("%d nodes", branched)
	require.Greater(t, branched, 100)
}

// randomAssignment is a problem of one day, small enough to try everything; dogs may stay away.
func randomAssignment(rnd *random) *Problem {
	agents, jobs := 2+rnd.below(2), 3+rnd.below(5)
	p := &Problem{Days: 2, Sites: []Site{{Name: "one", Runs: []RunClass{{Class: "M", Capacity: []int{jobs}}}, Intake: []int{jobs}, Handover: []int{0, jobs}}}}
	for range agents {
		p.Trainers = append(p.Trainers, Trainer{Works: []bool{true}, Minutes: []int{8 + rnd.below(20)}, Dogs: []int{jobs}})
	}
	for range jobs {
		g := Group{Value: 20 + rnd.below(60), Runs: []RunOption{{}}}
		for a := range agents {
			if rnd.below(5) > 0 {
				g.Trainers = append(g.Trainers, TrainerOption{Trainer: a, Penalty: rnd.below(20), Minutes: 1 + rnd.below(12)})
			}
		}
		if len(g.Trainers) > 0 {
			p.Dogs = append(p.Dogs, Dog{Nights: 1, Placements: []Group{g}})
		}
	}
	return p
}

// everyAssignment tries all, from a dog on.
func everyAssignment(p *Problem, dog int, used []int) int64 {
	if dog == len(p.Dogs) {
		return 0
	}
	best := everyAssignment(p, dog+1, used)
	g := &p.Dogs[dog].Placements[0]
	for _, o := range g.Trainers {
		if used[o.Trainer]+o.Minutes <= p.Trainers[o.Trainer].Minutes[0] {
			used[o.Trainer] += o.Minutes
			best = max(best, int64(g.Value-o.Penalty)+everyAssignment(p, dog+1, used))
			used[o.Trainer] -= o.Minutes
		}
	}
	return best
}
