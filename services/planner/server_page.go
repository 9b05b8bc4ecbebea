package planner

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// plannedRows is how many rows a page has unless it says otherwise.
const plannedRows = 50

// ReadPlanHead reads a plan without its requests.
func (s *Server) ReadPlanHead(ctx context.Context, req *plannerv1.ReadPlanHeadRequest) (*plannerv1.ReadPlanHeadResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	var h head
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		h, err = readHead(ctx, tx, id)
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &plannerv1.ReadPlanHeadResponse{Plan: planToProto(h.plan), Sites: totalsToProto(h.totals), Policy: policyToProto(h.plan.Policy), Cautions: h.plan.Cautions}
	if req.GetWithWorkRules() {
		findings, err := s.workRuleCautions(ctx, h.plan.Month)
		if err != nil {
			return nil, err
		}
		out.Cautions = append(out.Cautions, findings...)
	}
	return out, nil
}

var plannedKinds = map[plannerv1.PlannedKind]string{
	plannerv1.PlannedKind_PLANNED_KIND_PLACED:  plannedPlaced,
	plannerv1.PlannedKind_PLANNED_KIND_WAITING: plannedWaiting,
	plannerv1.PlannedKind_PLANNED_KIND_MOVED:   plannedMoved,
	plannerv1.PlannedKind_PLANNED_KIND_DROPPED: plannedDropped,
}

// ListPlanned lists one page of a plan's requests.
func (s *Server) ListPlanned(ctx context.Context, req *plannerv1.ListPlannedRequest) (*plannerv1.ListPlannedResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	var out *plannerv1.ListPlannedResponse
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		out, err = readPlanned(ctx, tx, id, req)
		return err
	})
	return out, err
}

// readPlanned reads one page of a plan's requests.
func readPlanned(ctx context.Context, tx postgres.Tx, id ids.PlanID, req *plannerv1.ListPlannedRequest) (*plannerv1.ListPlannedResponse, error) {
	if _, err := findPlan(ctx, tx, id, false); err != nil {
		return nil, err
	}
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return nil, err
	}
	filter, err := readFilter(ctx, tx, id, req, sites)
	if err != nil {
		return nil, err
	}
	totals, err := countPlanned(ctx, tx, filter)
	if err != nil {
		return nil, err
	}
	order := make([]ids.SiteID, len(sites))
	for i, site := range sites {
		order[i] = site.ID
	}
	rows, err := listPlanned(ctx, tx, filter, order, int(cmp.Or(req.GetLimit(), plannedRows)), int(req.GetOffset()))
	if err != nil {
		return nil, err
	}
	return plannedToProto(ctx, tx, rows, totals)
}

// readFilter turns what is asked for into a filter; enrollment knows names and wishes.
func readFilter(ctx context.Context, tx postgres.Tx, id ids.PlanID, req *plannerv1.ListPlannedRequest, sites []facility.Site) (plannedFilter, error) {
	find := strings.TrimSpace(req.GetFind())
	f := plannedFilter{plan: id, which: plannedKinds[req.GetWhich()], byText: find != ""}
	if req.GetSiteCode() != "" {
		site, err := siteByCode(sites, req.GetSiteCode())
		if err != nil {
			return f, err
		}
		f.site = site.ID
	}
	if !f.byText && f.site.IsZero() {
		return f, nil
	}
	placed, waiting, err := listRequestsOf(ctx, tx, id)
	if err != nil {
		return f, err
	}
	f.named, f.accepting, err = enrollment.Pick(ctx, tx, append(placed, waiting...), find, f.site)
	return f, err
}

func siteByCode(sites []facility.Site, code string) (facility.Site, error) {
	at := slices.IndexFunc(sites, func(s facility.Site) bool { return s.Code == code })
	if at < 0 {
		return facility.Site{}, apperr.NotFoundf("SITE_UNKNOWN", "there is no site with the code %q: `longlead export sites` lists them", code)
	}
	return sites[at], nil
}

func plannedToProto(ctx context.Context, tx postgres.Tx, rows []planned, totals plannedTotals) (*plannerv1.ListPlannedResponse, error) {
	requests, runs := make([]ids.RequestID, len(rows)), make([]ids.RunID, 0, len(rows))
	for i, r := range rows {
		requests[i] = r.RequestID
		if r.Placed {
			runs = append(runs, r.RunID)
		}
	}
	n, briefs, err := readBriefNames(ctx, tx, requests, runs)
	if err != nil {
		return nil, err
	}
	known := make(map[ids.RequestID]enrollment.Brief, len(briefs))
	for _, b := range briefs {
		known[b.ID] = b
	}
	out := &plannerv1.ListPlannedResponse{Totals: &plannerv1.PlannedTotals{All: int32(totals.All), Placed: int32(totals.Placed), Waiting: int32(totals.Waiting),
		Hard: int32(totals.Hard), Moved: int32(totals.Moved), Matching: int32(totals.Matching),
		Fresh: int32(totals.Fresh), Kept: int32(totals.Kept), Dropped: int32(totals.Dropped), Standing: int32(totals.Standing)}}
	for _, r := range rows {
		out.Rows = append(out.Rows, n.plannedToProto(r, known[r.RequestID]))
	}
	return out, nil
}

func (n names) plannedToProto(r planned, b enrollment.Brief) *plannerv1.Planned {
	out := &plannerv1.Planned{RequestCode: b.Code, DogCode: b.DogCode, DogName: b.DogName, Placed: r.Placed, Pinned: r.Pinned,
		WindowFirst: b.Window.From.String(), WindowLast: b.Window.To.AddDays(-1).String()}
	for _, site := range b.Sites {
		out.SiteCodes = append(out.SiteCodes, n.sites[site])
	}
	slices.Sort(out.SiteCodes)
	if !r.Placed {
		out.Hard, out.Reason, out.Remedy = r.Hard, r.Reason, r.Remedy
		return out
	}
	run := n.runs[r.RunID]
	out.SiteCode, out.RunCode, out.RunClass, out.TrainerCode = n.sites[r.SiteID], run.Code, string(run.Class()), n.trainers[r.TrainerID]
	out.Arrival, out.Graduation, out.Points, out.Standing = r.Arrival.String(), r.Graduation.String(), r.Value, r.Standing
	return out
}

// ReadLoad reads a plan's load by week or day.
func (s *Server) ReadLoad(ctx context.Context, req *plannerv1.ReadLoadRequest) (*plannerv1.ReadLoadResponse, error) {
	find, err := planOrMonth(req)
	if err != nil {
		return nil, err
	}
	var out *plannerv1.ReadLoadResponse
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		plan, err := find(ctx, tx)
		if err != nil {
			return err
		}
		out, err = readLoad(ctx, tx, plan, req)
		return err
	})
	return out, err
}

// readLoad reads the load of a plan.
func readLoad(ctx context.Context, tx postgres.Tx, plan Plan, req *plannerv1.ReadLoadRequest) (*plannerv1.ReadLoadResponse, error) {
	sites, err := facility.ListSites(ctx, tx)
	if err != nil {
		return nil, err
	}
	var only ids.SiteID
	if req.GetSiteCode() != "" {
		site, err := siteByCode(sites, req.GetSiteCode())
		if err != nil {
			return nil, err
		}
		only = site.ID
	}
	lines, err := listLoad(ctx, tx, plan.ID, only)
	if err != nil {
		return nil, err
	}
	by := newSpans(plan.Month, req.GetBy() == plannerv1.LoadBy_LOAD_BY_DAY)
	return loadToProto(plan, sites, by, by.loads(lines, sites)), nil
}

// planOrMonth says how the plan that is meant is found.
func planOrMonth(req *plannerv1.ReadLoadRequest) (func(context.Context, postgres.Tx) (Plan, error), error) {
	if req.GetPlanId() != "" {
		id, err := planID(req.GetPlanId())
		return func(ctx context.Context, tx postgres.Tx) (Plan, error) { return findPlan(ctx, tx, id, false) }, err
	}
	if req.GetMonth() == "" {
		return nil, apperr.InvalidField("plan_id", "names no plan, and no month is named either", "name a plan, or a month for the plan that is published")
	}
	month, err := rpc.Month(req.GetMonth())
	return func(ctx context.Context, tx postgres.Tx) (Plan, error) { return findPublished(ctx, tx, month) }, err
}

// loadToProto writes loads with their spans.
func loadToProto(plan Plan, sites []facility.Site, by spans, loads []load) *plannerv1.ReadLoadResponse {
	out := &plannerv1.ReadLoadResponse{PlanId: plan.ID.String()}
	for _, days := range by.days {
		out.FirstDays, out.Days = append(out.FirstDays, days.From.String()), append(out.Days, int32(days.Nights()))
	}
	codes := map[ids.SiteID]string{}
	for _, s := range sites {
		codes[s.ID] = s.Code
	}
	for _, l := range loads {
		out.Lines = append(out.Lines, &plannerv1.LoadLine{SiteCode: codes[l.site], Resource: l.resource, Unit: l.unit,
			Used: l.used, Capacity: l.capacity, FullDays: l.full, Price: l.price})
	}
	return out
}
