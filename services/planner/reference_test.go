package planner

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/internal/outside"
	"github.com/longlead/longlead/services/refsolve"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/workload"
)

// randomMonth makes the inputs of a small month in which everything is short: one or two sites, few runs and trainers, a
// promise or two from before, and perhaps a household.
func randomMonth(seed uint64) Inputs {
	r := rand.New(rand.NewPCG(seed, 3))
	mint := ids.SequenceMint(uint32(seed))
	in := Inputs{Month: calendar.MustMonth("2027-03"), Places: map[ids.SiteID][]facility.DayPlaces{}, Policy: DefaultPolicy()}
	in.Horizon = calendar.Span{From: in.Month.First(), To: in.Month.Last().AddDays(24)}
	for s := range 1 + r.IntN(2) {
		site := facility.Site{ID: ids.SiteID(mint()), Code: fmt.Sprintf("S%d", s), Zone: "America/Denver", RabiesWaitingDays: 28, FloorPercent: 100 + 50*r.IntN(3), CleanDownDays: r.IntN(3)}
		in.Sites = append(in.Sites, site)
		addPlace(r, mint, &in, site)
	}
	program := enrollment.Program{ID: ids.ProgramID(mint()), Code: "P", Nights: 14 + 7*r.IntN(2), SessionsADay: 2 + r.IntN(2), SessionMinutes: 15 + 5*r.IntN(2),
		Goals: map[workload.Skill]int{workload.Heel: 1 + r.IntN(2)}}
	for i := range 6 + r.IntN(4) {
		in.Cases = append(in.Cases, randomCase(r, mint, in, program, i))
	}
	if r.IntN(2) == 0 {
		pairUp(&in)
	}
	return in
}

func addPlace(r *rand.Rand, mint ids.Mint, in *Inputs, site facility.Site) {
	for i := range 2 + r.IntN(2) {
		run := facility.Run{ID: ids.RunID(mint()), SiteID: site.ID, Code: fmt.Sprintf("A%d", i), LengthMM: 1500 + 700*r.IntN(3), WidthMM: 1200, HeightMM: 2000}
		if r.IntN(3) == 0 {
			from := in.Month.First().AddDays(r.IntN(25))
			run.Closures = []facility.Closure{{RunID: run.ID, Days: calendar.Span{From: from, To: from.AddDays(1 + r.IntN(6))}}}
		}
		in.Runs = append(in.Runs, run)
	}
	for day := range in.Horizon.Dates() {
		places := facility.DayPlaces{Day: day, Intake: r.IntN(3), Handover: 1 + r.IntN(2)}
		if day.Weekday() == time.Sunday {
			places = facility.DayPlaces{Day: day}
		}
		in.Places[site.ID] = append(in.Places[site.ID], places)
	}
	// Two trainers at least, with days off that differ: without anybody to cover, no dog can stay.
	for i := range 2 + r.IntN(2) {
		trainer := roster.Trainer{ID: ids.TrainerID(mint()), Code: fmt.Sprintf("%s-T%d", site.Code, i), HomeSiteID: site.ID, MinutesADay: 180 + 30*r.IntN(6), MostDogs: 2 + r.IntN(2),
			CareClasses: []string{"open", "guarded"}, Skills: map[string]int{"heel": 1 + r.IntN(3), "nerves": 2, "reactivity": 2}}
		in.Trainers = append(in.Trainers, trainer)
		off := 3 * i
		for day := range in.Horizon.Dates() {
			if w := int(day.Weekday()); w != off && w != (off+1)%7 {
				in.TrainerDays = append(in.TrainerDays, roster.TrainerDay{TrainerID: trainer.ID, SiteID: site.ID, Day: day, Minutes: trainer.MinutesADay, Dogs: trainer.MostDogs})
			}
		}
	}
}

func randomCase(r *rand.Rand, mint ids.Mint, in Inputs, program enrollment.Program, i int) enrollment.Case {
	first := in.Month.First().AddDays(r.IntN(20))
	c := enrollment.Case{
		Request: enrollment.Request{ID: ids.RequestID(mint()), Code: fmt.Sprintf("R%02d", i), Priority: 1 + r.IntN(5), Deposit: r.IntN(2) == 0, AskedOn: in.Month.First().AddDays(-r.IntN(60)),
			Window: calendar.Span{From: first, To: first.AddDays(3 + r.IntN(9))}, Wished: first.AddDays(r.IntN(3)), State: enrollment.StateOpen},
		Dog:     enrollment.Dog{ID: ids.DogID(mint()), Sex: enrollment.Spayed, Born: calendar.MustDate("2024-05-01"), LengthMM: 500 + r.IntN(500), HeightMM: 400 + r.IntN(300), WeightG: 20000},
		Program: program, Answers: map[workload.Question]int{},
	}
	for _, s := range in.Sites {
		if r.IntN(4) > 0 || len(in.Sites) == 1 {
			c.Request.Sites = append(c.Request.Sites, enrollment.SiteChoice{SiteID: s.ID, TravelMinutes: r.IntN(90)})
		}
	}
	c.Together = c.Request.Window
	return c
}

// pairUp makes a household of the first two requests, with windows that overlap.
func pairUp(in *Inputs) {
	a, b := &in.Cases[0], &in.Cases[1]
	b.Request.Window, b.Request.Wished = a.Request.Window, a.Request.Wished
	a.Request.Household, b.Request.Household = "H", "H"
	a.Together, b.Together = a.Request.Window, a.Request.Window
}

// TestOutsideOptimumOfSmallMonths plans small months to proven optimality and asks a general solver for its own optimum of
// the same month.
func TestOutsideOptimumOfSmallMonths(t *testing.T) {
	t.Parallel()
	var ours, theirs int64
	version, placed := "", 0
	for seed := range uint64(12) {
		task, err := buildTask(randomMonth(seed))
		require.NoError(t, err)
		solution, err := allocation.Solve(&task.problem, allocation.Options{Seed: seed, Threads: 1, Limit: 20 * time.Second})
		require.NoError(t, err)
		require.Equal(t, allocation.Optimal, solution.Status, "month %d: value %d, bound %d", seed, solution.Value, solution.Bound)
		_, err = newOutcome(task, solution, ids.PlanID{})
		require.NoError(t, err, "month %d has physical runs for all", seed)
		reference := refsolve.Solve(t, &task.problem, refsolve.HiGHS, 60*time.Second)
		require.True(t, reference.Optimal)
		require.Equal(t, reference.Value, solution.Value, "month %d", seed)
		ours, theirs, version, placed = ours+solution.Value, theirs+reference.Value, reference.Version, placed+len(solution.Placements)
	}
	require.Greater(t, placed, 20, "the months are not empty")
	outside.Check(t, "points of 12 random months planned to the optimum", version, theirs, ours)
}

// TestRunsFitTheNumbers gives physical runs to many solved months: whenever the numbers by group hold, runs can be given, and
// no run is given twice on a night, with clean-down, closures and earlier promises considered.
func TestRunsFitTheNumbers(t *testing.T) {
	t.Parallel()
	for seed := range uint64(60) {
		in := randomMonth(1000 + seed)
		task, err := buildTask(in)
		require.NoError(t, err)
		solution, err := allocation.Solve(&task.problem, allocation.Options{Seed: seed, Threads: 1, Iterations: 20, Limit: 5 * time.Second})
		require.NoError(t, err)
		out, err := newOutcome(task, solution, ids.PlanID{})
		require.NoError(t, err, "month %d", seed)
		require.NotNil(t, out.cautions, "month %d: a month without cautions can be kept", seed)
		taken := map[string]bool{}
		for _, p := range out.placements {
			clean := 0
			for _, s := range in.Sites {
				if s.ID == p.SiteID {
					clean = s.CleanDownDays
				}
			}
			for d := p.Nights.From; d.Before(p.Nights.To.AddDays(clean)); d = d.AddDays(1) {
				key := p.RunID.String() + d.String()
				require.False(t, taken[key], "month %d: run taken twice on %s", seed, d)
				taken[key] = true
				for _, run := range in.Runs {
					if run.ID == p.RunID && d.Before(in.Horizon.To) {
						require.False(t, run.ClosedOn(d), "month %d: run closed on %s", seed, d)
					}
				}
			}
		}
	}
}
