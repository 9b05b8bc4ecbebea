package planner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// inputsChanged is the reason of a refusal because a plan is out of date.
const inputsChanged = "INPUTS_CHANGED"

// opened is a stored plan with the problem that it solves, for asking it more.
type opened struct {
	task     *task
	solution allocation.Solution
}

// reopen builds the problem of a stored plan again and finds the plan's placements in it. It refuses with Precondition when what
// the plan was made from has changed, since whatever it found would then be about another month.
func (s *Server) reopen(ctx context.Context, w *whole) (*opened, error) {
	if w.plan.State == StateDrafting || w.plan.Bound == nil {
		return nil, apperr.Preconditionf("NOT_DRAFTED", "plan %d of %s is %s: there is nothing to solve from", w.plan.Number, w.plan.Month, w.plan.State)
	}
	in, err := ReadInputs(ctx, s.deps.Pool, w.plan.Month)
	if err != nil {
		return nil, err
	}
	print, err := in.Fingerprint()
	if err != nil {
		return nil, err
	}
	if print != w.plan.Fingerprint {
		return nil, apperr.Preconditionf(inputsChanged, "records, promises or held places have changed since plan %d of %s was drafted, so it cannot be solved with again: draft the month anew", w.plan.Number, w.plan.Month)
	}
	t, err := buildTask(in)
	if err != nil {
		return nil, err
	}
	o := &opened{task: t, solution: allocation.Solution{Bound: *w.plan.Bound, Placements: t.placementsOf(w.placements), Prices: t.pricesOf(w.uses)}}
	if o.solution.Value, err = allocation.Check(&t.problem, o.solution.Placements); err != nil {
		return nil, fmt.Errorf("the stored plan %s breaks a rule of its own inputs: %w", w.plan.ID, err)
	}
	if o.solution.Value != w.plan.Value {
		return nil, fmt.Errorf("the stored plan %s is worth %d by its own inputs and not %d", w.plan.ID, o.solution.Value, w.plan.Value)
	}
	return o, nil
}

// placementsOf turns stored placements into those of the problem; requests that stood before are none of it.
func (t *task) placementsOf(stored []Placement) []allocation.Placement {
	dogs := map[ids.RequestID]int{}
	for dog := range t.candidates {
		dogs[t.candidates[dog].Request.ID] = dog
	}
	var out []allocation.Placement
	for _, p := range stored {
		dog, open := dogs[p.RequestID]
		if !open {
			continue
		}
		site := t.board.siteAt[p.SiteID]
		group := slices.IndexFunc(t.board.sites[site].groups, func(g runGroup) bool {
			return slices.ContainsFunc(g.runs, func(r facility.Run) bool { return r.ID == p.RunID })
		})
		trainer := slices.IndexFunc(t.board.trainers, func(e trainerBoard) bool { return e.site == site && e.trainer.ID == p.TrainerID })
		out = append(out, allocation.Placement{Dog: dog, Site: site, Arrival: t.board.day(p.Nights.From), Run: group, Trainer: trainer})
	}
	slices.SortFunc(out, func(a, b allocation.Placement) int { return a.Dog - b.Dog })
	return out
}

// pricesOf turns stored prices into those of the problem. Groups of one class share the class's.
func (t *task) pricesOf(uses []Use) allocation.Prices {
	stored := map[useKey][]float64{}
	for _, u := range uses {
		k := useKey{t.board.siteAt[u.SiteID], u.Resource, u.Unit}
		if stored[k] == nil {
			stored[k] = make([]float64, t.board.days)
		}
		stored[k][t.board.day(u.Day)] = u.Price
	}
	of := func(k useKey) []float64 {
		if list := stored[k]; list != nil {
			return list
		}
		return make([]float64, t.board.days)
	}
	var out allocation.Prices
	for i := range t.board.sites {
		site := allocation.SitePrices{Intake: of(useKey{i, UseIntake, ""}), Handover: of(useKey{i, UseHandover, ""}), Minutes: of(useKey{i, UseSiteMinutes, ""})}
		for _, g := range t.board.sites[i].groups {
			site.Runs = append(site.Runs, of(useKey{i, UseRuns, string(g.class)}))
		}
		out.Sites = append(out.Sites, site)
	}
	for i := range t.board.trainers {
		e := &t.board.trainers[i]
		out.Trainers = append(out.Trainers, allocation.TrainerPrices{Minutes: of(useKey{e.site, UseTrainerMinutes, e.trainer.Code}), Dogs: of(useKey{e.site, UseTrainerDogs, e.trainer.Code})})
	}
	return out
}

// solveFor are the options of a search that a caller waits for.
func solveFor(ctx context.Context, plan *Plan, limit time.Duration) allocation.Options {
	return allocation.Options{Seed: uint64(plan.Seed), Threads: solveThreads, Limit: limit, Cancel: ctx.Done()}
}

// weighing is what solving a month anew says of a request that waits; see Weighing in the proto.
type weighing struct {
	withEverybody       string
	noPlace             bool
	lostLeast, lostMost int64
	best                *Displaced
	change              *Change
	gainLeast, gainMost int64
	gainFound           int64
}

// findingWords name what was found out.
var findingWords = map[allocation.Finding]string{allocation.Found: "found", allocation.Impossible: "impossible", allocation.NotFound: "not found"}

// weighAnew solves for a request that waits: with everybody kept, with it forced in, and with the smallest change. Each takes a third
// of the time.
func (o *opened) weighAnew(ctx context.Context, plan *Plan, request ids.RequestID, limit time.Duration) (*weighing, error) {
	t := o.task
	dog := slices.IndexFunc(t.candidates, func(c candidate) bool { return c.Request.ID == request })
	w, err := allocation.NewWeigher(&t.problem, o.solution.Placements)
	if err != nil {
		return nil, err
	}
	each := solveFor(ctx, plan, limit/3)
	out := &weighing{}
	found, _, err := allocation.Rearrange(&t.problem, o.solution.Placements, dog, each)
	if err != nil {
		return nil, err
	}
	out.withEverybody = findingWords[found]
	start, err := w.Displace(dog)
	if err != nil {
		return nil, err
	}
	if out.noPlace = start == nil; !out.noPlace {
		forced, err := allocation.ForceIn(&t.problem, o.solution, dog, start.Plan, each)
		if err != nil {
			return nil, err
		}
		out.lostLeast, out.lostMost, out.best = forced.LostLeast, forced.LostMost, t.displaced(dog, &forced.Displacement)
	}
	admissions, err := w.Admissions(dog, t.offers(w.Household(dog)))
	if err != nil || len(admissions) == 0 {
		return out, err
	}
	return out, o.solveWith(out, dog, &admissions[0], each)
}

// solveWith solves the month with a change made.
func (o *opened) solveWith(out *weighing, dog int, a *allocation.Admission, options allocation.Options) error {
	changed, err := a.Change.Apply(&o.task.problem)
	if err != nil {
		return err
	}
	options.Warm = slices.Concat(o.solution.Placements, a.Placements)
	after, err := allocation.Solve(changed, options)
	if err != nil {
		return err
	}
	change := o.task.change(dog, a)
	out.change, out.gainFound = &change, after.Value-o.solution.Value
	out.gainLeast, out.gainMost = allocation.GainBetween(o.solution, after)
	return nil
}
