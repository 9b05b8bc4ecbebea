package allocation

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestTriedRules checks what trying a rule says of the programme against one begun anew with the rule in force: a trial knows fewer columns, so it
// is worth no more; and neither is worth more than the programme without the rule. Some trial must lose something.
func TestTriedRules(t *testing.T) {
	t.Parallel()
	never := func() bool { return false }
	lost := 0
	for seed := range uint64(2) {
		for _, s := range partsPriced(t, "X", seed+1) {
			require.True(t, s.evaluate(never))
			w := newMaster(s, seed)
			for range 20 {
				s.step(0, never)
				w.gather()
			}
			w.begin(s.bound, s.top)
			require.True(t, w.generate(20, 0, never))
			b := newBranching(w, func(*state) {})
			b.apply(b.root)
			base := w.value()
			for _, one := range b.evenest() {
				for _, not := range []bool{false, true} {
					one.not = not
					tried := w.try(one, never)
					w.free()
					for _, c := range s.cal {
						c.lift()
					}
					b.enforce(one)
					anew := newMaster(s, seed)
					anew.pool = append(anew.pool, w.pool...)
					anew.begin(s.bound, s.top)
					anew.prog.solve(100_000, never)
					require.LessOrEqual(t, tried, anew.value()+1e-3, "seed %d: %+v", seed, one)
					require.LessOrEqual(t, anew.value(), base+1e-3, "seed %d: %+v", seed, one)
					if tried < base-0.5 {
						lost++
					}
					w.free()
				}
			}
		}
	}
	require.Positive(t, lost)
}

// TestRulesSplit checks that every stay is forbidden on at most one side of a rule about it, and on exactly one by every rule that
// splits what a dog may have; stays of others are never forbidden.
func TestRulesSplit(t *testing.T) {
	t.Parallel()
	p, err := Generate("Y", 1)
	require.NoError(t, err)
	r := &run{p: p, threads: 1}
	r.prepare()
	m := r.parts[0].m
	cal := newCalendars(m)
	seen := map[ruleKind]int{}
	for trainer, c := range cal {
		for i := range c.stays {
			st := &c.stays[i]
			d := m.groups[st.group].dog
			row := st.group - m.dogFirst[d]
			for _, one := range []rule{
				{kind: byTrainer, key: int32(trainer)}, {kind: byTrainer, key: int32(trainer) + 1}, {kind: byRow, key: row}, {kind: byRow, key: row - 1},
				{kind: byRun, key: 1}, {kind: byComing},
			} {
				one.unit, one.dog = m.unitOf[d], d
				opposite := one
				opposite.not = true
				forbids := one.forbids(m, int32(trainer), st, 1)
				if one.kind != byComing {
					require.NotEqual(t, forbids, opposite.forbids(m, int32(trainer), st, 1), "%+v", one)
				} else {
					require.False(t, forbids)
					require.True(t, opposite.forbids(m, int32(trainer), st, 1))
				}
				other := one
				other.dog, other.unit = d+1, m.unitOf[d]+1
				require.False(t, other.forbids(m, int32(trainer), st, 1))
				seen[one.kind]++
			}
		}
	}
	require.Len(t, seen, 4)
}
