package slots_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/slots"
)

// solve solves a problem, checks the plan and its value, and returns it.
func solve(t testing.TB, p *slots.Problem, o slots.Options) *slots.Plan {
	t.Helper()
	plan, err := slots.Solve(p, o)
	require.NoError(t, err)
	value, err := slots.Check(p, plan)
	require.NoError(t, err)
	require.Equal(t, value, plan.Value)
	require.GreaterOrEqual(t, plan.Bound, plan.Value)
	return plan
}

// bruteForce finds the best value by trying every slot of every visit, keeping what Check accepts.
func bruteForce(p *slots.Problem) int {
	best := 0
	plan := &slots.Plan{Slots: make([]slots.Slot, len(p.Visits))}
	for i := range plan.Slots {
		plan.Slots[i] = slots.None
	}
	var try func(i int)
	try = func(i int) {
		plan.Missing = nil
		for n, s := range plan.Slots {
			if s == slots.None {
				plan.Missing = append(plan.Missing, slots.Missing{Visit: n})
			}
		}
		value, err := slots.Check(p, plan)
		if err != nil {
			return
		}
		best = max(best, value)
		if i == len(p.Visits) {
			return
		}
		for begin := 0; begin < p.Minutes; begin += p.Step {
			for _, tr := range p.Visits[i].Trainers {
				for _, a := range p.Visits[i].Areas {
					for _, g := range p.Visits[i].Gates {
						plan.Slots[i] = slots.Slot{Begin: begin, Trainer: tr.Of, Area: a.Of, Gate: g.Of}
						try(i + 1)
					}
				}
			}
		}
		plan.Slots[i] = slots.None
		if i+1 <= len(p.Visits) {
			try(i + 1)
		}
	}
	try(0)
	return best
}

// TestAgainstEveryPlan compares with all plans there are, on small problems.
func TestAgainstEveryPlan(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	missing := 0
	for range 150 {
		p := smallProblem(r, 1+r.IntN(3), 5)
		plan := solve(t, p, slots.Options{})
		require.Equal(t, bruteForce(p), plan.Value)
		require.Equal(t, plan.Value, plan.Bound)
		missing += len(plan.Missing)
	}
	require.Positive(t, missing)
}

// TestProvesSmallProblems says that problems of a few visits are proven.
func TestProvesSmallProblems(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 2))
	for range 300 {
		p := smallProblem(r, 2+r.IntN(7), 12)
		plan := solve(t, p, slots.Options{})
		require.Equal(t, plan.Value, plan.Bound)
	}
}

// TestSiteMonth appoints the handovers of a month at a site with up to eight a day.
func TestSiteMonth(t *testing.T) {
	t.Parallel()
	p := siteMonth(1, 30, 6)
	plan := solve(t, p, slots.Options{})
	t.Logf("value %d, bound %d, %d of %d missing", plan.Value, plan.Bound, len(plan.Missing), len(p.Visits))
	require.LessOrEqual(t, plan.Bound-plan.Value, plan.Bound/100)
}
