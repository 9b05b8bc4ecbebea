package refsolve_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/refsolve"
	"github.com/longlead/longlead/services/slots"
)

// randomSlots is a problem of a day or two in which every rule and cost can matter.
func randomSlots(r *rand.Rand) *slots.Problem {
	const step = 15
	days, length := 1+r.IntN(2), (12+r.IntN(20))*step
	all := days * length
	span := func(longest int) slots.Span {
		from := r.IntN(all)
		return slots.Span{From: from, To: min(all, from+1+r.IntN(longest))}
	}
	some := func(n, points int) (out []slots.Choice) {
		for k := range n {
			if k == 0 || r.IntN(4) > 0 {
				out = append(out, slots.Choice{Of: k, Points: r.IntN(points)})
			}
		}
		return out
	}
	p := &slots.Problem{Step: step, Minutes: all, Pause: 5 * r.IntN(5)}
	for d := range days {
		p.Days = append(p.Days, slots.Day{Open: slots.Span{From: d*length + 10*r.IntN(3), To: (d+1)*length - 10*r.IntN(3)}, Places: 2 + r.IntN(6)})
	}
	for range 1 + r.IntN(4) {
		t := slots.Trainer{Free: []slots.Span{{From: r.IntN(60), To: all - r.IntN(60)}}}
		if r.IntN(4) == 0 {
			t.Free = []slots.Span{span(length), span(length), span(length)}
		}
		p.Trainers = append(p.Trainers, t)
	}
	for range 1 + r.IntN(2) {
		p.Areas = append(p.Areas, slots.Area{Room: 1 + r.IntN(2), Open: []slots.Span{{From: r.IntN(60), To: all}, span(90)}})
		g := slots.Gate{Spacing: 5 * r.IntN(10)}
		g.Passing = r.IntN(g.Spacing + 1)
		p.Gates = append(p.Gates, g)
	}
	for range r.IntN(4) {
		p.Fixed = append(p.Fixed, slots.Fixed{Span: span(90), Trainer: r.IntN(len(p.Trainers)+1) - 1, Area: r.IntN(len(p.Areas)+1) - 1, Gate: r.IntN(len(p.Gates)+1) - 1,
			Handover: r.IntN(2) == 0})
	}
	for range 3 + r.IntN(6) {
		v := slots.Visit{Minutes: 60 + 5*r.IntN(13), Trainers: some(len(p.Trainers), 12), Areas: some(len(p.Areas), 6), Gates: some(len(p.Gates), 4), Miss: 20 + r.IntN(60)}
		for range 1 + r.IntN(2) {
			from := r.IntN(all * 2 / 3)
			v.Windows = append(v.Windows, slots.Window{Span: slots.Span{From: from, To: min(all, from+v.Minutes+r.IntN(length))}, Points: r.IntN(12)})
		}
		if r.IntN(3) == 0 {
			v.Kept = slots.Kept{Slot: slots.Slot{Begin: step * r.IntN(all/step), Trainer: r.IntN(len(p.Trainers))}, Moved: r.IntN(20), Changed: r.IntN(9)}
		}
		p.Visits = append(p.Visits, v)
	}
	return p
}

// TestSlotsAgainstCPSAT checks that handovers are appointed as well as CP-SAT proves that they can be, with a bound that meets the value. The
// rules are written down twice, in Go and in Python.
func TestSlotsAgainstCPSAT(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 19))
	var problems []*slots.Problem
	for range 240 {
		problems = append(problems, randomSlots(r))
	}
	found, version := refsolve.SolveSlots(t, problems, 10)
	missing, visits, theirs, ours := 0, 0, 0, 0
	for n, p := range problems {
		plan, err := slots.Solve(p, slots.Options{})
		require.NoError(t, err, "problem %d", n)
		value, err := slots.Check(p, plan)
		require.NoError(t, err, "problem %d", n)
		require.NotNil(t, found[n].Value, "problem %d", n)
		require.Equal(t, *found[n].Bound, *found[n].Value, "problem %d is not proven by %s", n, version)
		require.Equal(t, *found[n].Value, value, "problem %d", n)
		require.Equal(t, plan.Bound, plan.Value, "problem %d is not proven by us", n)
		missing, visits = missing+len(plan.Missing), visits+len(p.Visits)
		theirs, ours = theirs+*found[n].Value, ours+value
	}
	require.Positive(t, missing)
	outside.Check(t, fmt.Sprintf("values of %d random problems of handover slots, equal each, in sum (%d of %d visits have no slot)", len(problems), missing, visits), version, theirs, ours)
}

// assignment is a matrix of costs as handovers: each row is a visit that any trainer may hold, each trainer has time for one.
func assignment(costs [][]int) *slots.Problem {
	whole := slots.Span{From: 0, To: 60}
	p := &slots.Problem{Step: 60, Minutes: 60, Days: []slots.Day{{Open: whole, Places: len(costs)}}, Areas: []slots.Area{{Room: len(costs), Open: []slots.Span{whole}}}, Gates: []slots.Gate{{}}}
	for range costs[0] {
		p.Trainers = append(p.Trainers, slots.Trainer{Free: []slots.Span{whole}})
	}
	for _, row := range costs {
		v := slots.Visit{Minutes: 60, Areas: []slots.Choice{{}}, Gates: []slots.Choice{{}}, Windows: []slots.Window{{Span: whole}}, Miss: 100_000}
		for t, c := range row {
			v.Trainers = append(v.Trainers, slots.Choice{Of: t, Points: c})
		}
		p.Visits = append(p.Visits, v)
	}
	return p
}

// least is what the cheapest assignment costs.
func least(t testing.TB, costs [][]int) int {
	t.Helper()
	p := assignment(costs)
	plan, err := slots.Solve(p, slots.Options{})
	require.NoError(t, err)
	value, err := slots.Check(p, plan)
	require.NoError(t, err)
	require.Equal(t, plan.Bound, value)
	require.Empty(t, plan.Missing)
	return p.Worth() - value
}

// TestPublishedAssignments has worked examples of the assignment problem.
func TestPublishedAssignments(t *testing.T) {
	t.Parallel()
	outside.Check(t, "example of an assignment, 3 by 3", "SciPy's documentation of linear_sum_assignment, Examples", 5, least(t, [][]int{{4, 1, 3}, {2, 0, 5}, {3, 2, 2}}))
	outside.Check(t, "worked example of the Hungarian method: three people and three chores", "Wikipedia, Hungarian algorithm, from memory", 15,
		least(t, [][]int{{8, 4, 7}, {5, 2, 3}, {9, 4, 8}}))
}

// TestAssignmentsAgainstSciPy compares random assignments, also with more trainers than visits and with many equal costs.
func TestAssignmentsAgainstSciPy(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(8, 1))
	var matrices [][][]int
	for range 60 {
		rows := 1 + r.IntN(30)
		m, most := make([][]int, rows), 1+r.IntN(100)
		columns := rows + r.IntN(5)
		for i := range m {
			for range columns {
				m[i] = append(m[i], r.IntN(most))
			}
		}
		matrices = append(matrices, m)
	}
	want, version := refsolve.SolveAssignments(t, matrices)
	var got []int
	for _, m := range matrices {
		got = append(got, least(t, m))
	}
	outside.Check(t, fmt.Sprintf("least cost of %d random assignments of up to 30 by 34", len(matrices)), version+" linear_sum_assignment", want, got)
}
