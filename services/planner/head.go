package planner

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
)

// What a page needs of a plan is read in pieces, each with a number of statements that does not depend on the number of requests.

// head is a plan without its requests.
type head struct {
	plan   Plan
	totals []siteTotals
}

// readHead reads a plan and its totals by site, inside a transaction of the caller, which must be one snapshot.
func readHead(ctx context.Context, tx postgres.Tx, id ids.PlanID) (h head, err error) {
	if h.plan, err = findPlan(ctx, tx, id, false); err != nil {
		return h, err
	}
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return h, err
	}
	at := map[ids.SiteID]*siteTotals{}
	for _, s := range sites {
		at[s.ID] = &siteTotals{code: s.Code}
	}
	for _, add := range []func(context.Context, postgres.Tx, Plan, map[ids.SiteID]*siteTotals) error{addRequests, addPoints, addUses} {
		if err := add(ctx, tx, h.plan, at); err != nil {
			return h, err
		}
	}
	h.totals = byCode(at)
	return h, nil
}

// addRequests counts the requests whose owners accept each site.
func addRequests(ctx context.Context, tx postgres.Tx, plan Plan, at map[ids.SiteID]*siteTotals) error {
	placed, waiting, err := listRequestsOf(ctx, tx, plan.ID)
	if err != nil {
		return err
	}
	all, waits, err := enrollment.CountBySite(ctx, tx, placed, waiting)
	for site, t := range at {
		t.requests, t.waiting = all[site], waits[site]
	}
	return err
}

// addPoints adds placements and long days up.
func addPoints(ctx context.Context, tx postgres.Tx, plan Plan, at map[ids.SiteID]*siteTotals) error {
	placed, err := sumPlacements(ctx, tx, plan.ID)
	if err != nil {
		return err
	}
	for _, s := range placed {
		at[s.SiteID].placed, at[s.SiteID].value = s.Number, s.Value
	}
	long, err := sumLongDays(ctx, tx, plan.ID)
	for _, s := range long {
		t := at[s.SiteID]
		t.longDays, t.longDayPoints, t.value = s.Number, s.Value, t.value+s.Value
	}
	return err
}

// addUses adds what is used in the month up.
func addUses(ctx context.Context, tx postgres.Tx, plan Plan, at map[ids.SiteID]*siteTotals) error {
	uses, err := sumUses(ctx, tx, plan.ID)
	for _, u := range uses {
		at[u.SiteID].use(u)
	}
	return err
}

// readBriefNames reads the names of all sites and trainers, and of these requests and runs, in a few statements. Of a request it knows
// the code, the dog's name and the sites.
func readBriefNames(ctx context.Context, tx postgres.Tx, requests []ids.RequestID, runs []ids.RunID) (names, []enrollment.Brief, error) {
	n := names{sites: map[ids.SiteID]string{}, runs: map[ids.RunID]facility.Run{}, trainers: map[ids.TrainerID]string{}, cases: map[ids.RequestID]enrollment.Case{}}
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return n, nil, err
	}
	for _, s := range sites {
		n.sites[s.ID] = s.Code
	}
	found, err := facility.ListRunsByID(ctx, tx, runs)
	if err != nil {
		return n, nil, err
	}
	for _, r := range found {
		n.runs[r.ID] = r
	}
	trainers, err := roster.TrainerCodes(ctx, tx)
	if err != nil {
		return n, nil, err
	}
	for code, id := range trainers {
		n.trainers[ids.TrainerID(id)] = code
	}
	briefs, err := enrollment.ListBriefs(ctx, tx, requests)
	for _, b := range briefs {
		n.cases[b.ID] = enrollment.Case{Request: enrollment.Request{ID: b.ID, Code: b.Code, Window: b.Window}, Dog: enrollment.Dog{Code: b.DogCode, Name: b.DogName}}
	}
	return n, briefs, err
}

// comparison is what differs between two plans of a month.
type comparison struct {
	first, second head
	count         differing
	// requests are those of the page, by code.
	requests      []ids.RequestID
	before, after []Placement
	names         names
}

// readComparison compares two plans, from one snapshot.
func (s *Server) readComparison(ctx context.Context, first, second ids.PlanID, limit, offset int) (c comparison, err error) {
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		c, err = compareTx(ctx, tx, first, second, limit, offset)
		return err
	})
	return c, err
}

func compareTx(ctx context.Context, tx postgres.Tx, first, second ids.PlanID, limit, offset int) (c comparison, err error) {
	if c.first, err = readHead(ctx, tx, first); err != nil {
		return c, err
	}
	if c.second, err = readHead(ctx, tx, second); err != nil {
		return c, err
	}
	if err = oneMonth(c.first.plan.Month, c.second.plan.Month); err != nil {
		return c, err
	}
	if c.count, err = countDiffering(ctx, tx, first, second); err != nil {
		return c, err
	}
	if c.requests, err = listDiffering(ctx, tx, first, second, limit, offset); err != nil {
		return c, err
	}
	if c.before, err = listPlacementsOf(ctx, tx, first, c.requests); err != nil {
		return c, err
	}
	if c.after, err = listPlacementsOf(ctx, tx, second, c.requests); err != nil {
		return c, err
	}
	var runs []ids.RunID
	for _, list := range [][]Placement{c.before, c.after} {
		for i := range list {
			runs = append(runs, list[i].RunID)
		}
	}
	c.names, _, err = readBriefNames(ctx, tx, c.requests, runs)
	return c, err
}

func oneMonth(first, second calendar.Month) error {
	if first == second {
		return nil
	}
	return apperr.InvalidField("other_plan_id", "is a plan of "+second.String()+" and the other one of "+first.String(), "name two plans of one month")
}
