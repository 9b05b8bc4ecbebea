package slots_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

// TestMoreNeverMakesItWorse gives random problems one thing more, of each kind: the value is never less.
func TestMoreNeverMakesItWorse(t *testing.T) {
	t.Parallel()
	whole := func(p *slots.Problem) []slots.Span { return []slots.Span{{From: 0, To: p.Minutes}} }
	tests := []struct {
		name string
		more func(r *rand.Rand, p *slots.Problem)
	}{
		{"a trainer", func(r *rand.Rand, p *slots.Problem) {
			p.Trainers = append(p.Trainers, slots.Trainer{Free: whole(p)})
			for i := range p.Visits {
				p.Visits[i].Trainers = append(p.Visits[i].Trainers, slots.Choice{Of: len(p.Trainers) - 1, Points: r.IntN(9)})
			}
		}},
		{"an area", func(r *rand.Rand, p *slots.Problem) {
			p.Areas = append(p.Areas, slots.Area{Room: 1, Open: whole(p)})
			for i := range p.Visits {
				p.Visits[i].Areas = append(p.Visits[i].Areas, slots.Choice{Of: len(p.Areas) - 1, Points: r.IntN(9)})
			}
		}},
		{"a gate", func(r *rand.Rand, p *slots.Problem) {
			p.Gates = append(p.Gates, slots.Gate{Spacing: 15})
			for i := range p.Visits {
				p.Visits[i].Gates = append(p.Visits[i].Gates, slots.Choice{Of: len(p.Gates) - 1, Points: r.IntN(9)})
			}
		}},
		{"places", func(_ *rand.Rand, p *slots.Problem) {
			for n := range p.Days {
				p.Days[n].Places++
			}
		}},
		{"a window", func(r *rand.Rand, p *slots.Problem) {
			for i := range p.Visits {
				p.Visits[i].Windows = append(p.Visits[i].Windows, slots.Window{Span: whole(p)[0], Points: r.IntN(20)})
			}
		}},
		{"free time", func(r *rand.Rand, p *slots.Problem) {
			n := r.IntN(len(p.Trainers))
			p.Trainers[n].Free = append(p.Trainers[n].Free, whole(p)...)
		}},
		{"nearer at the gate", func(_ *rand.Rand, p *slots.Problem) {
			for n := range p.Gates {
				p.Gates[n] = slots.Gate{Spacing: p.Gates[n].Spacing / 2, Passing: p.Gates[n].Passing / 2}
			}
		}},
		{"nothing fixed", func(_ *rand.Rand, p *slots.Problem) { p.Fixed = nil }},
		{"no pause", func(_ *rand.Rand, p *slots.Problem) { p.Pause = 0 }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(5, 5))
			better := 0
			for range 60 {
				p := smallProblem(r, 2+r.IntN(5), 10)
				before := solve(t, p, slots.Options{})
				tt.more(r, p)
				after := solve(t, p, slots.Options{})
				require.GreaterOrEqual(t, after.Value, before.Value)
				if after.Value > before.Value {
					better++
				}
			}
			require.Positive(t, better, "it never made a difference")
		})
	}
}

// TestOrderDoesNotMatter numbers visits, trainers, areas and gates anew: the value stays, and the same problem gives the same plan twice.
func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(6, 6))
	for range 60 {
		p := smallProblem(r, 3+r.IntN(5), 12)
		plan := solve(t, p, slots.Options{})
		require.Equal(t, plan, solve(t, p, slots.Options{}))
		q := shuffled(r, p)
		require.Equal(t, plan.Value, solve(t, q, slots.Options{}).Value)
	}
}

// shuffled is the same problem with everything numbered anew.
func shuffled(r *rand.Rand, p *slots.Problem) *slots.Problem {
	q := *p
	renumber := func(n int) (to []int) { return r.Perm(n) }
	trainers, areas, gates := renumber(len(p.Trainers)), renumber(len(p.Areas)), renumber(len(p.Gates))
	at := func(to []int, n int) int {
		if n < 0 || n >= len(to) {
			return n
		}
		return to[n]
	}
	q.Trainers, q.Areas, q.Gates = make([]slots.Trainer, len(trainers)), make([]slots.Area, len(areas)), make([]slots.Gate, len(gates))
	for n, to := range trainers {
		q.Trainers[to] = p.Trainers[n]
	}
	for n, to := range areas {
		q.Areas[to] = p.Areas[n]
	}
	for n, to := range gates {
		q.Gates[to] = p.Gates[n]
	}
	q.Fixed = slices.Clone(p.Fixed)
	for n := range q.Fixed {
		f := &q.Fixed[n]
		f.Trainer, f.Area, f.Gate = at(trainers, f.Trainer), at(areas, f.Area), at(gates, f.Gate)
	}
	choices := func(list []slots.Choice, to []int) (out []slots.Choice) {
		for _, n := range r.Perm(len(list)) {
			out = append(out, slots.Choice{Of: to[list[n].Of], Points: list[n].Points})
		}
		return out
	}
	q.Visits = nil
	for _, n := range r.Perm(len(p.Visits)) {
		v := p.Visits[n]
		v.Trainers, v.Areas, v.Gates = choices(v.Trainers, trainers), choices(v.Areas, areas), choices(v.Gates, gates)
		v.OtherTrainers, v.OtherAreas = nil, nil
		v.Kept.Slot = slots.Slot{Begin: v.Kept.Slot.Begin, Trainer: at(trainers, v.Kept.Slot.Trainer), Area: at(areas, v.Kept.Slot.Area), Gate: at(gates, v.Kept.Slot.Gate)}
		q.Visits = append(q.Visits, v)
	}
	return &q
}

// TestFewestMoves takes a plan, takes a trainer away for a while, and asks for a plan that keeps as many beginnings as can be: as many as the best
// of all plans that miss no more keeps.
func TestFewestMoves(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(9, 9))
	moved := 0
	for range 80 {
		p := smallProblem(r, 2+r.IntN(2), 6)
		for i := range p.Visits { // nothing matters but to have a slot
			v := &p.Visits[i]
			v.Miss, v.Kept = 100, slots.Kept{}
			for _, list := range [][]slots.Choice{v.Trainers, v.Areas, v.Gates} {
				for n := range list {
					list[n].Points = 0
				}
			}
			for n := range v.Windows {
				v.Windows[n].Points = 0
			}
		}
		plan := solve(t, p, slots.Options{})
		for i := range p.Visits {
			p.Visits[i].Kept = slots.Kept{Slot: plan.Slots[i], Moved: 10, Changed: 1}
		}
		require.Equal(t, plan.Slots, solve(t, p, slots.Options{}).Slots, "what can stay stays")
		from := r.IntN(p.Minutes)
		p.Fixed = append(p.Fixed, slots.Fixed{Span: slots.Span{From: from, To: min(p.Minutes, from+60)}, Trainer: r.IntN(len(p.Trainers)), Area: -1, Gate: -1})
		after := solve(t, p, slots.Options{})
		require.Equal(t, bruteForce(p), after.Value)
		for i := range p.Visits {
			if plan.Slots[i] != slots.None && after.Slots[i] != slots.None && after.Slots[i].Begin != plan.Slots[i].Begin {
				moved++
			}
		}
	}
	require.Positive(t, moved)
}

// TestStopped checks that a search that is cut short returns a plan that holds, with a bound that holds.
func TestStopped(t *testing.T) {
	t.Parallel()
	p := siteMonth(1, 1, 12)
	gone := make(chan struct{})
	close(gone)
	long := solve(t, p, slots.Options{Nodes: 200})
	for _, o := range []slots.Options{{Nodes: 1}, {Nodes: 5}, {Nodes: 40}, {Limit: time.Microsecond}, {Limit: 20 * time.Millisecond}, {Cancel: gone}} {
		short := solve(t, p, o)
		require.GreaterOrEqual(t, short.Bound, long.Value)
		require.GreaterOrEqual(t, long.Bound, short.Value)
		require.Positive(t, short.Value)
	}
}

// TestRemediesHelp makes each change that is proposed: the visit then has the slot that was said, beside all others where none had to move, and a
// plan that misses no more than before where some had to.
func TestRemediesHelp(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(12, 12))
	kinds, moved := map[slots.Change]int{}, 0
	for range 60 {
		p := smallProblem(r, 3+r.IntN(4), 12)
		plan := solve(t, p, slots.Options{})
		for _, m := range plan.Missing {
			remedies, err := slots.Remedies(p, plan, m.Visit)
			require.NoError(t, err)
			require.True(t, slices.IsSortedFunc(remedies, func(a, b slots.Remedy) int { return int(a.Change) - int(b.Change) }))
			for _, x := range remedies {
				kinds[x.Change]++
				if x.Change == slots.OtherTrainer {
					require.Contains(t, p.Visits[m.Visit].OtherTrainers, x.Of)
				}
				q := apply(p, m.Visit, x)
				_, err := slots.Check(q, with(plan, m.Visit, x.Slot))
				if x.Moved == 0 {
					require.NoError(t, err, x)
					continue
				}
				moved++
				require.Error(t, err, "no visit would have to move")
				for i := range q.Visits { // all that had a slot must have one
					q.Visits[i].Miss = 1000
					if plan.Slots[i] == slots.None && i != m.Visit {
						q.Visits[i].Miss = 0
					}
				}
				require.Len(t, mattering(q, solve(t, q, slots.Options{})), 0, x)
			}
		}
	}
	require.Len(t, kinds, 7, "each kind of change helps somewhere")
	require.Positive(t, moved)
	t.Log(kinds, moved)
}

// mattering lists the missing visits that cost something.
func mattering(p *slots.Problem, plan *slots.Plan) (out []int) {
	for _, m := range plan.Missing {
		if p.Visits[m.Visit].Miss > 0 {
			out = append(out, m.Visit)
		}
	}
	return out
}

// apply makes a change.
func apply(p *slots.Problem, visit int, x slots.Remedy) *slots.Problem {
	q := *p
	q.Visits, q.Trainers, q.Days, q.Gates = slices.Clone(p.Visits), slices.Clone(p.Trainers), slices.Clone(p.Days), slices.Clone(p.Gates)
	v := &q.Visits[visit]
	switch x.Change {
	case slots.Shorter:
		v.Minutes -= x.Minutes
	case slots.Wider:
		v.Windows = append(slices.Clone(v.Windows), slots.Window{Span: x.Span})
	case slots.FreeTrainer:
		q.Trainers[x.Of].Free = append(slices.Clone(q.Trainers[x.Of].Free), x.Span)
	case slots.OtherTrainer:
		v.Trainers, v.OtherTrainers = append(slices.Clone(v.Trainers), slots.Choice{Of: x.Of}), nil
	case slots.OtherArea:
		v.Areas, v.OtherAreas = append(slices.Clone(v.Areas), slots.Choice{Of: x.Of}), nil
	case slots.MorePlaces:
		q.Days[x.Of].Places++
	case slots.Nearer:
		g := q.Gates[x.Of]
		q.Gates[x.Of] = slots.Gate{Spacing: g.Spacing - x.Minutes, Passing: min(g.Passing, g.Spacing-x.Minutes)}
	}
	return &q
}
