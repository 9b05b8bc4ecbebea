package months

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var (
	monthPage = parse("month.html")
	emptyPage = parse("empty.html")
)

// head is a plan as every page about it begins: what it is, and its three figures.
type head struct {
	ID, Month, Path    string
	Number             int32
	State              string
	MadeBy, MadeAt     string
	Value, Bound, Left int64
	Bounded            bool
	Gap                float64
	Placed, Requests   int32
	Waiting            int32
	Failure            string
	// Promised says that its stays are promises, Open that it can still become so, Working that it is searched for.
	Promised, Open, Working bool
}

var stateWords = map[plannerv1.PlanState]string{
	plannerv1.PlanState_PLAN_STATE_DRAFTING: "being searched for", plannerv1.PlanState_PLAN_STATE_DRAFT: "draft",
	plannerv1.PlanState_PLAN_STATE_PUBLISHED: "published", plannerv1.PlanState_PLAN_STATE_SUPERSEDED: "replaced by a later one",
	plannerv1.PlanState_PLAN_STATE_CANCELLED: "discarded", plannerv1.PlanState_PLAN_STATE_FAILED: "failed",
}

func headOf(p *plannerv1.Plan) head {
	state := p.GetState()
	h := head{
		ID: p.GetId(), Month: p.GetMonth(), Path: path("/plan", p.GetId()), Number: p.GetNumber(), State: stateWords[state], MadeBy: p.GetMadeBy(),
		Value: p.GetValue(), Bound: p.GetBound(), Gap: p.GetGapPercent(), Placed: p.GetPlaced(), Requests: p.GetRequests(), Failure: p.GetFailure(),
		Waiting: p.GetRequests() - p.GetPlaced(), Bounded: p.GetBound() != 0 || p.GetGapPercent() < 100,
		Promised: state == plannerv1.PlanState_PLAN_STATE_PUBLISHED, Open: state == plannerv1.PlanState_PLAN_STATE_DRAFT,
		Working: state == plannerv1.PlanState_PLAN_STATE_DRAFTING,
	}
	h.Left = max(0, h.Bound-h.Value)
	if p.GetMadeAt() != nil {
		h.MadeAt = p.GetMadeAt().AsTime().Format("2 Jan 15:04")
	}
	return h
}

// Readable says that the plan has parts to look at.
func (h head) Readable() bool {
	return !h.Working && (h.Promised || h.Open || h.State == "replaced by a later one")
}

// monthView is a month with the plan in hand.
type monthView struct {
	Head  head
	Load  load
	Binds []binding
	Hard  int32
	Moved int32
	// Pins hold requests to places.
	Pins []pinRow
	// Working are plans that are searched for now, Others those that can be compared with.
	Working, Others []head
	Cautions        []string
	Policy          []*plannerv1.PolicyTerm
	MayDraft        bool
	MayPublish      bool
	Before, After   string
	Trouble         *frame.Trouble
}

// pinRow is a request that is held to a place.
type pinRow struct{ Code, Dog, Path, Where, By, Note string }

// emptyView is a month that nothing was planned of.
type emptyView struct {
	Month, Before, After string
	Working, Gone        []head
	MayDraft             bool
	Trouble              *frame.Trouble
}

// toMonth sends to the month to plan next: the one after today's, or the later one that the newest plan is for.
func toMonth(v *frame.Visit) error {
	now := v.Now()
	month, err := calendar.NewMonth(now.Year(), now.Month())
	if err != nil {
		return err
	}
	next := month.Next().String()
	all, err := plansOf(v, "")
	if err != nil {
		return err
	}
	if len(all) > 0 {
		next = max(next, all[0].Month) // months are written so that the later one sorts behind
	}
	return v.To(path("/month", next))
}

// monthOf reads the month of the address.
func monthOf(v *frame.Visit) (calendar.Month, error) {
	month, err := calendar.ParseMonth(v.Path("month"))
	if err != nil {
		return month, apperr.NotFoundf("MONTH_UNKNOWN", "A month is written like 2027-03; %q is none.", v.Path("month"))
	}
	return month, nil
}

// showMonth shows the plan in hand: the newest that is a draft or promised.
func showMonth(v *frame.Visit) error {
	month, err := monthOf(v)
	if err != nil {
		return err
	}
	return monthAs(v, month, nil)
}

// monthAs shows a month, with what was wrong in the form that was sent.
func monthAs(v *frame.Visit, month calendar.Month, trouble *frame.Trouble) error {
	plans, err := plansOf(v, month.String())
	if err != nil {
		return err
	}
	status := http.StatusOK
	if trouble != nil {
		status = trouble.Status
	}
	in := slices.IndexFunc(plans, func(h head) bool { return h.Open || h.Promised })
	if in < 0 {
		e := emptyView{Month: month.String(), Before: month.Prev().String(), After: month.Next().String(), MayDraft: v.May(mayDraft), Trouble: trouble}
		for _, h := range plans {
			if h.Working {
				e.Working = append(e.Working, h)
			} else {
				e.Gone = append(e.Gone, h)
			}
		}
		return v.ShowAs(status, emptyPage, e)
	}
	whole, err := readHead(v, plans[in].ID)
	if err != nil {
		return err
	}
	return planAs(v, status, whole, plans, trouble)
}

func plansOf(v *frame.Visit, month string) ([]head, error) {
	reply, err := planner(v).ListPlans(v.Context(), &plannerv1.ListPlansRequest{Month: month})
	if err != nil {
		return nil, err
	}
	heads := make([]head, len(reply.GetPlans()))
	for i, p := range reply.GetPlans() {
		heads[i] = headOf(p)
	}
	return heads, nil
}

// showPlan shows one plan, whichever is in hand.
func showPlan(v *frame.Visit) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	h := headOf(whole.GetPlan())
	if !h.Readable() {
		return v.To(h.Path + "/progress")
	}
	plans, err := plansOf(v, h.Month)
	if err != nil {
		return err
	}
	return planAs(v, http.StatusOK, whole, plans, nil)
}

// readHead reads a plan with its totals.
func readHead(v *frame.Visit, id string) (*plannerv1.ReadPlanHeadResponse, error) {
	return planner(v).ReadPlanHead(v.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: id})
}

// planAs shows a plan with its load; plans are all of its month.
func planAs(v *frame.Visit, status int, whole *plannerv1.ReadPlanHeadResponse, plans []head, trouble *frame.Trouble) error {
	h := headOf(whole.GetPlan())
	weeks, err := planner(v).ReadLoad(v.Context(), &plannerv1.ReadLoadRequest{PlanId: h.ID, By: plannerv1.LoadBy_LOAD_BY_WEEK})
	if err != nil {
		return err
	}
	counts, err := planner(v).ListPlanned(v.Context(), &plannerv1.ListPlannedRequest{PlanId: h.ID, Limit: 1})
	if err != nil {
		return err
	}
	pins, err := planner(v).ListPins(v.Context(), &plannerv1.ListPinsRequest{Month: h.Month})
	if err != nil {
		return err
	}
	names, _, err := siteNames(v)
	if err != nil {
		return err
	}
	month, err := calendar.ParseMonth(h.Month)
	if err != nil {
		return fmt.Errorf("the month of a plan: %w", err)
	}
	view := monthView{
		Head: h, Load: loadOf(weeks, whole.GetSites(), names, h.Path, !h.Promised, v.Query("order") == "code"), Binds: bindings(weeks, h.Path, 6),
		Hard: counts.GetTotals().GetHard(), Moved: counts.GetTotals().GetMoved(), Cautions: whole.GetCautions(), Policy: whole.GetPolicy(), MayDraft: v.May(mayDraft), MayPublish: v.May(mayPublish),
		Before: month.Prev().String(), After: month.Next().String(), Trouble: trouble,
	}
	for _, p := range pins.GetPins() {
		view.Pins = append(view.Pins, pinRow{Code: p.GetRequestCode(), Dog: p.GetDogName(), Path: path(h.Path+"/request", p.GetRequestCode()), Where: pinWords(p.GetAt()), By: p.GetMadeBy(), Note: p.GetNote()})
	}
	for _, other := range plans {
		switch {
		case other.Working:
			view.Working = append(view.Working, other)
		case other.ID != h.ID && other.Readable():
			view.Others = append(view.Others, other)
		}
	}
	return v.ShowAs(status, monthPage, view)
}

// chooseOther sends on to the comparison with the plan that was chosen in a form.
func chooseOther(v *frame.Visit) error {
	other := v.Query("with")
	if other == "" {
		return v.To(path("/plan", v.Path("id")))
	}
	return v.To("/plan/" + url.PathEscape(v.Path("id")) + "/compare/" + url.PathEscape(other))
}
