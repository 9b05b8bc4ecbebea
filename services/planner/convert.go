package planner

import (
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

func planID(text string) (ids.PlanID, error) {
	id, err := ids.Parse[ids.PlanID](text)
	if err != nil {
		return id, apperr.InvalidField("plan_id", err.Error(), "take it from `longlead plan list`")
	}
	return id, nil
}

// draftFromProto reads what is asked for and fills in the defaults.
func draftFromProto(req *plannerv1.DraftPlanRequest) (Plan, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return Plan{}, err
	}
	plan := Plan{Month: month, SecondsLimit: int(req.GetSeconds()), Seed: req.GetSeed(), IterationsLimit: int(req.GetIterations())}
	if plan.SecondsLimit == 0 {
		plan.SecondsLimit = defaultSeconds
	}
	if plan.Seed == 0 {
		plan.Seed = defaultSeed
	}
	return plan, nil
}

var stateToProto = map[string]plannerv1.PlanState{
	StateDrafting:   plannerv1.PlanState_PLAN_STATE_DRAFTING,
	StateDraft:      plannerv1.PlanState_PLAN_STATE_DRAFT,
	StatePublished:  plannerv1.PlanState_PLAN_STATE_PUBLISHED,
	StateSuperseded: plannerv1.PlanState_PLAN_STATE_SUPERSEDED,
	StateCancelled:  plannerv1.PlanState_PLAN_STATE_CANCELLED,
	StateFailed:     plannerv1.PlanState_PLAN_STATE_FAILED,
}

func planToProto(p Plan) *plannerv1.Plan {
	out := &plannerv1.Plan{
		Id: p.ID.String(), Month: p.Month.String(), Number: int32(p.Number), State: stateToProto[p.State], Value: p.Value,
		GapPercent: p.GapPercent(), Requests: int32(p.Requests), Placed: int32(p.Placed), Seconds: p.Seconds, Seed: p.Seed,
		SolverVersion: p.SolverVersion, Fingerprint: p.Fingerprint, MadeBy: p.MadeBy, MadeAt: timestamppb.New(p.MadeAt), Failure: p.Failure, FinishAskedBy: p.FinishAskedBy,
	}
	if p.Bound != nil {
		out.Bound = *p.Bound
	}
	if p.PublishedAt != nil {
		out.PublishedAt = timestamppb.New(*p.PublishedAt)
	}
	return out
}

func policyToProto(policy Policy) []*plannerv1.PolicyTerm {
	var out []*plannerv1.PolicyTerm
	for _, t := range Terms() {
		points, ok := policy[t.Name]
		if ok {
			out = append(out, &plannerv1.PolicyTerm{Term: t.Name, Points: int32(points), About: t.About})
		}
	}
	return out
}

func (w *whole) toProto(withUses bool) *plannerv1.ReadPlanResponse {
	out := &plannerv1.ReadPlanResponse{Plan: planToProto(w.plan), Policy: policyToProto(w.plan.Policy), Cautions: w.plan.Cautions, Sites: totalsToProto(w.totals())}
	for i := range w.placements {
		out.Placements = append(out.Placements, w.names.placementToProto(&w.placements[i]))
	}
	for i := range w.waits {
		out.Waits = append(out.Waits, w.waitToProto(&w.waits[i]))
	}
	for _, d := range w.longDays {
		out.LongDays = append(out.LongDays, &plannerv1.LongDay{SiteCode: w.names.sites[d.SiteID], TrainerCode: w.names.trainers[d.TrainerID],
			Day: d.Day.String(), Quarters: int32(d.Quarters), Points: d.Points, Text: d.text(w.plan.Policy)})
	}
	if withUses {
		for _, u := range w.uses {
			out.Uses = append(out.Uses, &plannerv1.Use{SiteCode: w.names.sites[u.SiteID], Resource: u.Resource, Unit: u.Unit,
				Day: u.Day.String(), Used: int32(u.Used), Capacity: int32(u.Capacity), Price: u.Price})
		}
	}
	return out
}

func totalsToProto(totals []siteTotals) []*plannerv1.SiteTotals {
	var out []*plannerv1.SiteTotals
	for _, t := range totals {
		out = append(out, &plannerv1.SiteTotals{
			SiteCode: t.code, Requests: int32(t.requests), Placed: int32(t.placed), Waiting: int32(t.waiting),
			RunNightsUsed: t.runNights.used, RunNights: t.runNights.capacity,
			TrainerMinutesUsed: t.trainerMinutes.used, TrainerMinutes: t.trainerMinutes.capacity,
			IntakeUsed: t.intake.used, Intake: t.intake.capacity, HandoverUsed: t.out.used, Handover: t.out.capacity, Value: t.value,
			LongDays: int32(t.longDays), LongDayPoints: t.longDayPoints,
		})
	}
	return out
}

func (n names) placementToProto(p *Placement) *plannerv1.Placement {
	c := n.cases[p.RequestID]
	run := n.runs[p.RunID]
	out := &plannerv1.Placement{
		RequestCode: c.Request.Code, DogName: c.Dog.Name, SiteCode: n.sites[p.SiteID], RunCode: run.Code, RunClass: string(run.Class()),
		TrainerCode: n.trainers[p.TrainerID], Arrival: p.Nights.From.String(), Graduation: p.Nights.To.String(), Value: p.Value,
		MinutesADay: int32(p.Minutes), Standing: p.Standing,
	}
	for _, points := range p.Points {
		out.Points = append(out.Points, &plannerv1.Points{Term: points.Term, Points: points.Points, Text: points.Text})
	}
	return out
}

func (w *whole) waitToProto(wait *Wait) *plannerv1.Wait {
	c := w.names.cases[wait.RequestID]
	out := &plannerv1.Wait{RequestCode: c.Request.Code, DogName: c.Dog.Name, Hard: wait.Hard, Reason: wait.Reason, Remedy: wait.Remedy,
		Changes: changesToProto(wait.Refusals.Changes), Displaced: wait.Refusals.Displaced.toProto()}
	for _, accepted := range c.Request.Sites {
		out.SiteCodes = append(out.SiteCodes, w.names.sites[accepted.SiteID])
	}
	return out
}

// explain says why a request was placed as it was, or why it waits.
func (w *whole) explain(code string) (*plannerv1.ExplainRequestResponse, error) {
	placement, wait, err := w.find(code)
	if err != nil {
		return nil, err
	}
	if placement != nil {
		return &plannerv1.ExplainRequestResponse{Placement: w.names.placementToProto(placement)}, nil
	}
	out := &plannerv1.ExplainRequestResponse{Wait: w.waitToProto(wait), OpenChoices: int32(wait.Refusals.OpenChoices)}
	for _, r := range wait.Refusals.List {
		out.Refusals = append(out.Refusals, &plannerv1.Refusal{SiteCode: r.Site, FirstDay: r.First, LastDay: r.Last, Reason: r.Reason,
			Remedy: r.Remedy, Hard: r.Hard, HeldBy: r.HeldBy})
	}
	return out, nil
}

// toProto lists the requests of the page that two plans treat differently.
func (c comparison) toProto() *plannerv1.ComparePlansResponse {
	out := &plannerv1.ComparePlansResponse{First: planToProto(c.first.plan), Second: planToProto(c.second.plan),
		FirstSites: totalsToProto(c.first.totals), SecondSites: totalsToProto(c.second.totals),
		Differing: int32(c.count.All), FirstOnly: int32(c.count.FirstOnly), SecondOnly: int32(c.count.SecondOnly)}
	in := func(placements []Placement) map[ids.RequestID]*plannerv1.Placement {
		placed := map[ids.RequestID]*plannerv1.Placement{}
		for i := range placements {
			placed[placements[i].RequestID] = c.names.placementToProto(&placements[i])
		}
		return placed
	}
	a, b := in(c.before), in(c.after)
	for _, id := range c.requests {
		about := c.names.cases[id]
		out.Differences = append(out.Differences, &plannerv1.Difference{RequestCode: about.Request.Code, DogName: about.Dog.Name,
			First: a[id], Second: b[id], Changes: changesBetween(a[id], b[id])})
	}
	return out
}

func changesBetween(a, b *plannerv1.Placement) []string {
	switch {
	case a == nil:
		return []string{"placed in the second only"}
	case b == nil:
		return []string{"placed in the first only"}
	}
	var changes []string
	note := func(what, x, y string) {
		if x != y {
			changes = append(changes, what)
		}
	}
	note("site", a.GetSiteCode(), b.GetSiteCode())
	note("arrival", a.GetArrival(), b.GetArrival())
	note("trainer", a.GetTrainerCode(), b.GetTrainerCode())
	note("run", a.GetRunCode(), b.GetRunCode())
	return changes
}

func (n names) staysToProto(stays []Stay, month calendar.Month, site string) *plannerv1.ListStaysResponse {
	out := &plannerv1.ListStaysResponse{}
	for _, s := range stays {
		// The query looks a little further back than the month; a stay that ended on its first day does not touch it.
		if !s.Nights.Overlaps(month.Span()) || (site != "" && n.sites[s.SiteID] != site) {
			continue
		}
		out.Stays = append(out.Stays, n.stayToProto(s))
	}
	slices.SortFunc(out.Stays, func(a, b *plannerv1.Stay) int {
		return firstOf(compareText(a.SiteCode, b.SiteCode), compareText(a.RunCode, b.RunCode), compareText(a.Arrival, b.Arrival))
	})
	return out
}
