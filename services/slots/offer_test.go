package slots_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

// with is a plan in which one visit has another slot.
func with(plan *slots.Plan, visit int, s slots.Slot) *slots.Plan {
	q := &slots.Plan{Slots: slices.Clone(plan.Slots)}
	q.Slots[visit] = s
	for i, x := range q.Slots {
		if x == slots.None {
			q.Missing = append(q.Missing, slots.Missing{Visit: i})
		}
	}
	return q
}

// TestAlternatives checks that every other slot offered fits the plan, at another time than the present one and the other offers, and that where
// none is offered none fits.
func TestAlternatives(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4, 4))
	offered, without := 0, 0
	for range 120 {
		p := smallProblem(r, 1+r.IntN(5), 12)
		plan := solve(t, p, slots.Options{})
		for i := range p.Visits {
			others, err := slots.Alternatives(p, plan, i, 3)
			require.NoError(t, err)
			require.LessOrEqual(t, len(others), 3)
			begins := map[int]bool{plan.Slots[i].Begin: true}
			for _, s := range others {
				require.False(t, begins[s.Begin])
				begins[s.Begin] = true
				_, err := slots.Check(p, with(plan, i, s))
				require.NoError(t, err)
			}
			offered += len(others)
			if len(others) < 3 {
				without++
				require.Equal(t, len(others), countOthers(p, plan, i))
			}
		}
	}
	require.Positive(t, offered)
	require.Positive(t, without)
}

// countOthers counts the beginnings, other than the present one, at which some slot of a visit passes Check.
func countOthers(p *slots.Problem, plan *slots.Plan, i int) (count int) {
	v := p.Visits[i]
	fits := func(begin int) bool {
		for _, tr := range v.Trainers {
			for _, a := range v.Areas {
				for _, g := range v.Gates {
					if _, err := slots.Check(p, with(plan, i, slots.Slot{Begin: begin, Trainer: tr.Of, Area: a.Of, Gate: g.Of})); err == nil {
						return true
					}
				}
			}
		}
		return false
	}
	for begin := 0; begin < p.Minutes; begin += p.Step {
		if begin != plan.Slots[i].Begin && fits(begin) {
			count++
		}
	}
	return count
}

// TestReasons has a problem for each reason, and what would help.
func TestReasons(t *testing.T) {
	t.Parallel()
	day := slots.Span{From: 540, To: 1020}
	one := func() *slots.Problem {
		choice := []slots.Choice{{}}
		return &slots.Problem{Step: 15, Minutes: 1440, Days: []slots.Day{{Open: day, Places: 3}}, Trainers: []slots.Trainer{{Free: []slots.Span{day}}, {Free: []slots.Span{day}}},
			Areas: []slots.Area{{Room: 1, Open: []slots.Span{day}}}, Gates: []slots.Gate{{Spacing: 30, Passing: 15}},
			Visits: []slots.Visit{{Minutes: 90, Least: 60, OtherTrainers: []int{1}, Trainers: choice, Areas: choice, Gates: choice, Windows: []slots.Window{{Span: slots.Span{From: 600, To: 720}}}, Miss: 100}}}
	}
	tests := []struct {
		name   string
		change func(p *slots.Problem)
		reason slots.Reason
		alone  bool
		first  string // remedy
	}{
		{"window too short", func(p *slots.Problem) { p.Visits[0].Windows[0].To = 675 }, slots.NoTime, true, "make the visit 15 minutes shorter"},
		{"no windows", func(p *slots.Problem) { p.Visits[0].Windows = nil }, slots.NoTime, true, ""},
		{"no place", func(p *slots.Problem) { p.Days[0].Places = 0 }, slots.NoPlace, true, "one more handover place on day 0"},
		{"trainer away", func(p *slots.Problem) { p.Trainers[0].Free[0].From = 660 }, slots.NoTrainer, true, "make the visit 30 minutes shorter"},
		{"trainer taken", func(p *slots.Problem) {
			p.Visits[0].Least = 0
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 660, To: 700}, Trainer: 0, Area: -1, Gate: -1}}
		}, slots.NoTrainer, true, "the owner could come from minute 570 to 720 (30 minutes more)"},
		{"area closed", func(p *slots.Problem) { p.Areas[0].Open[0].To = 630; p.Visits[0].Least = 0 }, slots.NoArea, true, "the owner could come from minute 540 to 720 (60 minutes more)"},
		{"gate taken", func(p *slots.Problem) {
			p.Visits[0].Windows[0].To = 690
			p.Visits[0].Least = 0
			p.Fixed = []slots.Fixed{{Span: slots.Span{From: 610, To: 640}, Trainer: -1, Area: -1, Gate: 0}}
		}, slots.NoGate, true, "the owner could come from minute 600 to 750 (60 minutes more)"},
		{"too dear", func(p *slots.Problem) { p.Visits[0].Windows[0].Points = 101 }, slots.NotWorthIt, true, ""},
		{"another visit", func(p *slots.Problem) {
			p.Visits = append(p.Visits, p.Visits[0])
			p.Visits[0].Miss = 99
		}, slots.NoTrainer, false, "the owner could come from minute 600 to 795 (75 minutes more)"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p := one()
			tt.change(p)
			plan := solve(t, p, slots.Options{})
			require.NotEmpty(t, plan.Missing)
			require.Equal(t, slots.Missing{Visit: 0, Reason: tt.reason, Alone: tt.alone}, plan.Missing[0])
			remedies, err := slots.Remedies(p, plan, 0)
			require.NoError(t, err)
			for _, r := range remedies {
				t.Log(r, r.Slot, r.Moved)
			}
			if tt.first == "" {
				require.Empty(t, remedies)
				return
			}
			require.Equal(t, tt.first, remedies[0].String())
		})
	}
}

// TestNobodyUnasked: a trainer who may not handle a dog is never proposed, even where nothing else would help.
func TestNobodyUnasked(t *testing.T) {
	t.Parallel()
	p, _ := twoVisits()
	p.Visits = p.Visits[:1]
	p.Visits[0].Trainers, p.Visits[0].Areas = p.Visits[0].Trainers[:1], p.Visits[0].Areas[:1]
	p.Fixed = []slots.Fixed{{Span: p.Days[0].Open, Trainer: 0, Area: -1, Gate: -1}}
	plan := solve(t, p, slots.Options{})
	remedies, err := slots.Remedies(p, plan, 0)
	require.NoError(t, err)
	require.Empty(t, remedies)
	p.Visits[0].OtherTrainers = []int{1}
	remedies, err = slots.Remedies(p, plan, 0)
	require.NoError(t, err)
	require.Len(t, remedies, 1)
	require.Equal(t, "let trainer 1 hold it", remedies[0].String())
}
