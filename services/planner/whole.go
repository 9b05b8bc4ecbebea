package planner

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// whole is a plan with all its parts and the names of what they point to.
type whole struct {
	plan       Plan
	placements []Placement
	waits      []Wait
	longDays   []LongDay
	uses       []Use
	names      names
}

// names turns IDs into what people call things.
type names struct {
	sites    map[ids.SiteID]string
	runs     map[ids.RunID]facility.Run
	trainers map[ids.TrainerID]string
	cases    map[ids.RequestID]enrollment.Case
}

// readNames reads the names of all places and trainers, and of some requests.
func readNames(ctx context.Context, tx postgres.DB, requests []ids.RequestID) (names, error) {
	n := names{sites: map[ids.SiteID]string{}, runs: map[ids.RunID]facility.Run{}, trainers: map[ids.TrainerID]string{}, cases: map[ids.RequestID]enrollment.Case{}}
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return n, err
	}
	for _, s := range sites {
		n.sites[s.ID] = s.Code
	}
	runs, err := facility.ListRuns(ctx, tx)
	if err != nil {
		return n, err
	}
	for _, r := range runs {
		n.runs[r.ID] = r
	}
	trainers, err := roster.ListTrainers(ctx, tx)
	if err != nil {
		return n, err
	}
	for _, t := range trainers {
		n.trainers[t.ID] = t.Code
	}
	cases, err := enrollment.ListCasesByRequest(ctx, tx, requests)
	for _, c := range cases {
		n.cases[c.Request.ID] = c
	}
	return n, err
}

// readWhole reads a plan with its parts from one snapshot.
func (s *Server) readWhole(ctx context.Context, id ids.PlanID) (whole, error) {
	var w whole
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if w.plan, err = findPlan(ctx, tx, id, false); err != nil {
			return err
		}
		if w.placements, err = listPlacements(ctx, tx, id); err != nil {
			return err
		}
		if w.waits, err = listWaits(ctx, tx, id); err != nil {
			return err
		}
		if w.longDays, err = listLongDays(ctx, tx, id); err != nil {
			return err
		}
		if w.uses, err = listUses(ctx, tx, id); err != nil {
			return err
		}
		var requests []ids.RequestID
		for _, p := range w.placements {
			requests = append(requests, p.RequestID)
		}
		for _, wait := range w.waits {
			requests = append(requests, wait.RequestID)
		}
		w.names, err = readNames(ctx, tx, requests)
		return err
	})
	if err != nil {
		return whole{}, err
	}
	w.sort()
	return w, nil
}

// readOne reads a plan with what it says of one request and nothing of the others.
func (s *Server) readOne(ctx context.Context, id ids.PlanID, code string) (whole, error) {
	var w whole
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if w.plan, err = findPlan(ctx, tx, id, false); err != nil {
			return err
		}
		if w.placements, w.waits, err = findOfRequest(ctx, tx, id, code); err != nil {
			return err
		}
		var requests []ids.RequestID
		var runs []ids.RunID
		for _, p := range w.placements {
			requests, runs = append(requests, p.RequestID), append(runs, p.RunID)
		}
		for _, wait := range w.waits {
			requests = append(requests, wait.RequestID)
		}
		n, briefs, err := readBriefNames(ctx, tx, requests, runs)
		for _, b := range briefs {
			c := n.cases[b.ID]
			for _, site := range b.Sites {
				c.Request.Sites = append(c.Request.Sites, enrollment.SiteChoice{SiteID: site})
			}
			n.cases[b.ID] = c
		}
		w.names = n
		return err
	})
	return w, err
}

// sort brings the parts into the order that people read: by site, day and code.
func (w *whole) sort() {
	slices.SortFunc(w.placements, func(a, b Placement) int {
		return firstOf(compareText(w.names.sites[a.SiteID], w.names.sites[b.SiteID]), a.Nights.From.Compare(b.Nights.From),
			compareText(w.code(a.RequestID), w.code(b.RequestID)))
	})
	slices.SortFunc(w.waits, func(a, b Wait) int { return compareText(w.code(a.RequestID), w.code(b.RequestID)) })
	slices.SortFunc(w.longDays, func(a, b LongDay) int {
		return firstOf(compareText(w.names.sites[a.SiteID], w.names.sites[b.SiteID]), compareText(w.names.trainers[a.TrainerID], w.names.trainers[b.TrainerID]),
			a.Day.Compare(b.Day))
	})
	slices.SortFunc(w.uses, func(a, b Use) int {
		return firstOf(compareText(w.names.sites[a.SiteID], w.names.sites[b.SiteID]), compareText(a.Resource, b.Resource),
			compareText(a.Unit, b.Unit), a.Day.Compare(b.Day))
	})
}

func (w *whole) code(id ids.RequestID) string { return w.names.cases[id].Request.Code }

func compareText(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

func firstOf(orders ...int) int {
	for _, o := range orders {
		if o != 0 {
			return o
		}
	}
	return 0
}

// totals sums the plan up by site, in the order of codes.
func (w *whole) totals() []siteTotals {
	at := map[ids.SiteID]*siteTotals{}
	for id, code := range w.names.sites {
		at[id] = &siteTotals{code: code}
	}
	for _, p := range w.placements {
		at[p.SiteID].placed++
		at[p.SiteID].value += p.Value
		w.countRequest(at, p.RequestID, false)
	}
	for _, wait := range w.waits {
		w.countRequest(at, wait.RequestID, true)
	}
	for _, d := range w.longDays {
		at[d.SiteID].value += d.Points
		at[d.SiteID].longDays++
		at[d.SiteID].longDayPoints += d.Points
	}
	span := w.plan.Month.Span()
	for _, u := range w.uses {
		if span.Contains(u.Day) {
			at[u.SiteID].use(useSum{SiteID: u.SiteID, Resource: u.Resource, Used: int64(u.Used), Capacity: int64(u.Capacity)})
		}
	}
	return byCode(at)
}

// byCode lists totals in the order of the sites' codes.
func byCode(at map[ids.SiteID]*siteTotals) []siteTotals {
	out := make([]siteTotals, 0, len(at))
	for _, t := range at {
		out = append(out, *t)
	}
	slices.SortFunc(out, func(a, b siteTotals) int { return compareText(a.code, b.code) })
	return out
}

func (w *whole) countRequest(at map[ids.SiteID]*siteTotals, id ids.RequestID, waits bool) {
	for _, accepted := range w.names.cases[id].Request.Sites {
		t := at[accepted.SiteID]
		if t == nil {
			continue
		}
		t.requests++
		if waits {
			t.waiting++
		}
	}
}

// siteTotals is a plan summed up for one site; see SiteTotals in the proto.
type siteTotals struct {
	code                                   string
	requests, placed, waiting              int
	runNights, trainerMinutes, intake, out ratio
	// value is the points of placements and of long days; the latter alone stand in longDayPoints.
	value, longDayPoints int64
	longDays             int
}

type ratio struct{ used, capacity int64 }

func (r *ratio) add(u useSum) { r.used, r.capacity = r.used+u.Used, r.capacity+u.Capacity }

func (t *siteTotals) use(u useSum) {
	switch u.Resource {
	case UseRuns:
		t.runNights.add(u)
	case UseTrainerMinutes:
		t.trainerMinutes.add(u)
	case UseIntake:
		t.intake.add(u)
	case UseHandover:
		t.out.add(u)
	}
}

// find returns the placement or the wait of a request, or NotFound.
func (w *whole) find(code string) (*Placement, *Wait, error) {
	for i := range w.placements {
		if w.code(w.placements[i].RequestID) == code {
			return &w.placements[i], nil, nil
		}
	}
	for i := range w.waits {
		if w.code(w.waits[i].RequestID) == code {
			return nil, &w.waits[i], nil
		}
	}
	return nil, nil, apperr.NotFoundf("REQUEST_NOT_IN_PLAN", "plan %d of %s did not consider a request %q: its window does not touch the month, it was withdrawn, or there is no such request", w.plan.Number, w.plan.Month, code)
}
