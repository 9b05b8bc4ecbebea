package months

import (
	"fmt"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var promisePage = parse("promise.html")

// promiseView is what publishing a plan would promise.
type promiseView struct {
	Head     head
	Totals   *plannerv1.PlannedTotals
	Moved    []row
	Dropped  []row
	Cautions []string
	Trouble  *frame.Trouble
	// OutOfDate says that the inputs have changed since: the way out is a new draft.
	OutOfDate bool
}

// showPromise shows what publishing promises.
func showPromise(v *frame.Visit) error { return promiseAs(v, nil) }

// promiseAs shows it, with why publishing was refused.
func promiseAs(v *frame.Visit, trouble *frame.Trouble) error {
	whole, err := planner(v).ReadPlanHead(v.Context(), &plannerv1.ReadPlanHeadRequest{PlanId: v.Path("id"), WithWorkRules: true})
	if err != nil {
		return err
	}
	view := promiseView{Head: headOf(whole.GetPlan()), Cautions: whole.GetCautions(), Trouble: trouble}
	moved, err := planner(v).ListPlanned(v.Context(), &plannerv1.ListPlannedRequest{PlanId: view.Head.ID, Which: plannerv1.PlannedKind_PLANNED_KIND_MOVED, Limit: pageRows})
	if err != nil {
		return err
	}
	dropped, err := planner(v).ListPlanned(v.Context(), &plannerv1.ListPlannedRequest{PlanId: view.Head.ID, Which: plannerv1.PlannedKind_PLANNED_KIND_DROPPED, Limit: pageRows})
	if err != nil {
		return err
	}
	view.Totals = moved.GetTotals()
	for _, p := range dropped.GetRows() {
		view.Dropped = append(view.Dropped, rowOf(p, view.Head))
	}
	for _, p := range moved.GetRows() {
		view.Moved = append(view.Moved, rowOf(p, view.Head))
	}
	if trouble == nil {
		return v.Show(promisePage, view)
	}
	view.OutOfDate = trouble.Reason == "INPUTS_CHANGED"
	return v.ShowAs(trouble.Status, promisePage, view)
}

// publishPlan makes a plan's stays promises.
func publishPlan(v *frame.Visit) error {
	reply, err := planner(v).PublishPlan(v.Context(), &plannerv1.PublishPlanRequest{PlanId: v.Path("id")})
	if trouble, ok := frame.Mendable(err); ok {
		return promiseAs(v, trouble)
	}
	if err != nil {
		return err
	}
	h := headOf(reply.GetPlan())
	return v.Done(path("/month", h.Month), fmt.Sprintf("Plan %d is published: %s promised anew, %d kept, %d moved, %d given up.",
		h.Number, frame.Count(reply.GetNewStays(), "stay", "stays"), reply.GetKeptStays(), reply.GetMovedStays(), reply.GetDroppedStays()))
}
