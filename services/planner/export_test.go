package planner

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// StoredPlan is a plan with its wait list, as the database has it.
type StoredPlan struct {
	placements []Placement
	Waits      []Wait
}

// ReadStored reads a plan.
func ReadStored(ctx context.Context, pool *postgres.Pool, plan ids.PlanID) (StoredPlan, error) {
	var out StoredPlan
	var err error
	if out.placements, err = listPlacements(ctx, pool, plan); err != nil {
		return out, err
	}
	out.Waits, err = listWaits(ctx, pool, plan)
	return out, err
}

// Fits reports whether a request fits into a stored plan with every placement as it is, after a change of the inputs: it knows
// records and rules only, and nothing of how the change was found.
func (p StoredPlan) Fits(in Inputs, request ids.RequestID) (bool, error) {
	t, err := buildTask(p.narrowed(in, request))
	if err != nil {
		return false, err
	}
	dog := slices.IndexFunc(t.candidates, func(c candidate) bool { return c.Request.ID == request })
	verdicts, err := allocation.Judge(&t.problem, t.placementsOf(p.placements), dog, []allocation.Change{{}}, allocation.Options{Iterations: -1})
	if err != nil {
		return false, err
	}
	return verdicts[0].Kept == allocation.Found, nil
}

// narrowed leaves those placed no choice of site and day but the one they have, and leaves out who waits beside a request and its
// household, which makes building the month quick.
func (p StoredPlan) narrowed(in Inputs, request ids.RequestID) Inputs {
	at := map[ids.RequestID]Placement{}
	for _, one := range p.placements {
		at[one.RequestID] = one
	}
	asked := in.Cases[slices.IndexFunc(in.Cases, func(c enrollment.Case) bool { return c.Request.ID == request })].Request
	var cases []enrollment.Case
	for _, c := range in.Cases {
		one, placed := at[c.Request.ID]
		switch {
		case placed && one.Standing == StandingNew:
			c.Together = calendar.Span{From: one.Nights.From, To: one.Nights.From.AddDays(1)}
			c.Request.Sites = []enrollment.SiteChoice{{SiteID: one.SiteID}}
		case !placed && c.Request.ID != request && (asked.Household == "" || c.Request.Household != asked.Household):
			continue
		}
		cases = append(cases, c)
	}
	in.Cases = cases
	return in
}

// WithChange makes a change in the records: the window of a request and of its household, its sites, runs, places, shifts. less
// is taken off the minutes that are added.
func WithChange(in Inputs, request ids.RequestID, change Change, less int) (Inputs, error) {
	arrival := calendar.MustDate(change.Arrival)
	sites := map[string]ids.SiteID{}
	for _, s := range in.Sites {
		sites[s.Code] = s.ID
	}
	at := slices.IndexFunc(in.Cases, func(c enrollment.Case) bool { return c.Request.ID == request })
	household := in.Cases[at].Request.Household
	in.Cases = slices.Clone(in.Cases)
	for i := range in.Cases {
		c := &in.Cases[i]
		if c.Request.ID != request && (household == "" || c.Request.Household != household) {
			continue
		}
		switch change.Kind {
		case ChangeWindow:
			c.Request.Window = stretch(c.Request.Window, arrival)
			c.Together = calendar.Span{From: arrival, To: arrival.AddDays(1)}
		case ChangeSite:
			if !slices.ContainsFunc(c.Request.Sites, func(s enrollment.SiteChoice) bool { return s.SiteID == sites[change.Site] }) {
				c.Request.Sites = append(slices.Clone(c.Request.Sites), enrollment.SiteChoice{SiteID: sites[change.Site]})
			}
		}
	}
	for _, a := range change.Adds {
		if err := in.add(sites[a.Site], a, less); err != nil {
			return in, err
		}
	}
	return in, nil
}

func stretch(window calendar.Span, day calendar.Date) calendar.Span {
	if day.Before(window.From) {
		window.From = day
	}
	if !day.Before(window.To) {
		window.To = day.AddDays(1)
	}
	return window
}

func (in *Inputs) add(site ids.SiteID, a Added, less int) error {
	days := calendar.Span{From: calendar.MustDate(a.First), To: calendar.MustDate(a.Last).AddDays(1)}
	switch a.Resource {
	case UseRuns:
		for range a.Amount {
			if err := in.addRun(site, a.Unit, days); err != nil {
				return err
			}
		}
	case UseIntake, UseHandover:
		places := map[ids.SiteID][]facility.DayPlaces{}
		for id, list := range in.Places {
			places[id] = slices.Clone(list)
		}
		for i := range places[site] {
			if p := &places[site][i]; days.Contains(p.Day) && a.Resource == UseIntake {
				p.Intake += a.Amount
			} else if days.Contains(p.Day) {
				p.Handover += a.Amount
			}
		}
		in.Places = places
	case UseSiteMinutes:
		in.addHelper(site, days, a.Amount-less)
	default:
		in.addShift(site, a, days, less)
	}
	return nil
}

// addRun builds a run like the largest of its class there, in use for these nights only.
func (in *Inputs) addRun(site ids.SiteID, class string, nights calendar.Span) error {
	var like facility.Run
	for _, r := range in.Runs {
		if r.SiteID == site && string(r.Class()) == class && !r.Isolation && r.LengthMM*r.WidthMM > like.LengthMM*like.WidthMM {
			like = r
		}
	}
	if like.Code == "" {
		return fmt.Errorf("there is no run of class %s to build another like", class)
	}
	like.ID, like.Code = ids.RunID(ids.NewMint()()), fmt.Sprintf("new %d", len(in.Runs))
	like.Closures = []facility.Closure{{Days: calendar.Span{From: in.Horizon.From.AddDays(-60), To: nights.From}}, {Days: calendar.Span{From: nights.To, To: in.Horizon.To.AddDays(60)}}}
	in.Runs = append(slices.Clone(in.Runs), like)
	return nil
}

// addHelper hires somebody who may handle no dog alone but covers.
func (in *Inputs) addHelper(site ids.SiteID, days calendar.Span, minutes int) {
	helper := roster.Trainer{ID: ids.TrainerID(ids.NewMint()()), Code: fmt.Sprintf("HELPER%d", len(in.Trainers)), HomeSiteID: site}
	in.Trainers = append(slices.Clone(in.Trainers), helper)
	in.TrainerDays = slices.Clone(in.TrainerDays)
	for day := range days.Dates() {
		in.TrainerDays = append(in.TrainerDays, roster.TrainerDay{TrainerID: helper.ID, SiteID: site, Day: day, Minutes: minutes})
	}
}

func (in *Inputs) addShift(site ids.SiteID, a Added, days calendar.Span, less int) {
	in.TrainerDays = slices.Clone(in.TrainerDays)
	for i := range in.TrainerDays {
		d := &in.TrainerDays[i]
		who := slices.IndexFunc(in.Trainers, func(t roster.Trainer) bool { return t.ID == d.TrainerID })
		if d.SiteID != site || in.Trainers[who].Code != a.Unit || !days.Contains(d.Day) {
			continue
		}
		if a.Resource == UseTrainerMinutes {
			d.Minutes += a.Amount - less
		} else {
			d.Dogs += a.Amount
		}
	}
}

// ReasonsOfAll gives reasons to every request of a month in which a plan's runs are taken and none of the requests is placed.
func ReasonsOfAll(in Inputs) (int, error) {
	t, err := buildTask(in)
	if err != nil {
		return 0, err
	}
	s, err := allocation.Solve(&t.problem, allocation.Options{Iterations: 40})
	if err != nil {
		return 0, err
	}
	blocked, placed := allocation.Change{}, map[int]bool{}
	use := allocation.Usage(&t.problem, s.Placements)
	for site := range t.problem.Sites {
		for class := range t.problem.Sites[site].Runs {
			for k, n := range use.Sites[site].Runs[class].Used[:t.board.days-1] {
				blocked.Extras = append(blocked.Extras, allocation.Extra{Resource: allocation.Resource{Kind: allocation.RunNight, Site: site, Class: class, Trainer: -1, Day: k}, Amount: -n})
			}
		}
	}
	changed, err := blocked.Apply(&t.problem)
	if err != nil {
		return 0, err
	}
	t.problem = *changed
	waits, err := t.waits(ids.PlanID{}, nil, placed)
	return len(waits), err
}

// Tried is what a preview of a pin found on a month, and what solving anew from scratch says.
type Tried struct {
	Refused             error
	Placed              bool
	GainLeast, GainMost int64
	Before, After       int64
	Bound               int64
	// Anew is the month solved from scratch with the pin, without the points for it; AnewBound bounds that.
	Anew, AnewBound int64
	AnewPlaced      bool
	// Best is the month solved from scratch without the pin.
	Best, BestBound int64
	Smallest        *int64
}

// TryPin previews a pin of a case of a month after a short search, and solves both months from scratch with a longer one.
func TryPin(ctx context.Context, in Inputs, pin Pin) (*Tried, error) {
	t, err := buildTask(in)
	if err != nil {
		return nil, err
	}
	short, err := allocation.Solve(&t.problem, allocation.Options{Seed: 1, Iterations: 60})
	if err != nil {
		return nil, err
	}
	out := &Tried{Bound: short.Bound}
	plan := &Plan{Month: in.Month, Seed: 1}
	p, err := newPreview(plan, &opened{task: t, solution: short}, in.withPin(pin), pin.RequestID, true)
	if err != nil {
		out.Refused = err
		return out, nil
	}
	found, err := p.solve(ctx, 300*time.Millisecond)
	if err != nil {
		return nil, err
	}
	out.Placed, out.GainLeast, out.GainMost, out.Before, out.After = found.placed != nil, found.gainLeast, found.gainMost, found.before, found.after
	if found.smallest != nil {
		out.Smallest = &found.smallest.points
	}
	long := allocation.Options{Seed: 7, Limit: time.Second, Threads: 2}
	anew, err := allocation.Solve(&p.task.problem, long)
	if err != nil {
		return nil, err
	}
	bonus := p.bonus(anew.Placements)
	out.Anew, out.AnewBound, out.AnewPlaced = anew.Value-bonus, anew.Bound-bonus, bonus > 0
	best, err := allocation.Solve(&t.problem, long)
	out.Best, out.BestBound = best.Value, best.Bound
	return out, err
}

// PagesOf is a server that answers the calls that only read pieces of plans.
func PagesOf(pool *postgres.Pool) *Server { return &Server{deps: Deps{Pool: pool}} }

// KeepLoad writes what pages read of a plan's uses.
func KeepLoad(ctx context.Context, pool *postgres.Pool, plan ids.PlanID, month calendar.Span) error {
	return postgres.InTx(ctx, pool, func(tx postgres.Tx) error { return keepLoad(ctx, tx, plan, month) })
}
