package months

import (
	"errors"
	"io"
	"strconv"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/console/frame"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var progressPage = parse("progress.html")

// progressView is a search that runs, or one that came to nothing.
type progressView struct {
	Head  head
	Phase string
	Trace trace
	// Asked says who asked to stop and keep.
	Asked    string
	MayDraft bool
	every    int
}

// RefreshSeconds makes browsers without scripts look again while the search runs.
func (p progressView) RefreshSeconds() int { return p.every }

// startDraft starts a search and shows it.
func startDraft(v *frame.Visit) error {
	month, err := monthOf(v)
	if err != nil {
		return err
	}
	seconds, err := strconv.ParseInt(v.Form("seconds"), 10, 32)
	if err != nil {
		seconds = -1 // the call says what is allowed
	}
	reply, err := planner(v).DraftPlan(v.Context(), &plannerv1.DraftPlanRequest{Month: month.String(), Seconds: int32(seconds)})
	if trouble, ok := frame.Mendable(err); ok {
		return monthAs(v, month, trouble)
	}
	if err != nil {
		return err
	}
	return v.Done(path("/plan", reply.GetPlan().GetId(), "progress"), "")
}

// showProgress shows a search; once it is done, its plan.
func showProgress(v *frame.Visit) error {
	whole, err := readHead(v, v.Path("id"))
	if err != nil {
		return err
	}
	view := progressOf(whole.GetPlan(), "", nil, v.May(mayDraft))
	if view.Head.Readable() {
		return v.To(view.Head.Path)
	}
	return v.Show(progressPage, view)
}

func progressOf(p *plannerv1.Plan, phase string, seen []moment, draft bool) progressView {
	view := progressView{Head: headOf(p), Phase: phase, Asked: p.GetFinishAskedBy(), MayDraft: draft}
	if len(seen) == 0 {
		seen = []moment{momentOf(p, 0)}
	}
	view.Trace = traceOf(seen)
	if view.Head.Working {
		view.every = 2
	}
	return view
}

func momentOf(p *plannerv1.Plan, after time.Duration) moment {
	return moment{After: after, Value: p.GetValue(), Bound: p.GetBound(), Bounded: p.GetBound() != 0 || p.GetGapPercent() < 100}
}

// followDraft sends the progress of a search as it comes, and the browser on to the plan at the end.
func followDraft(v *frame.Visit) error {
	stream, err := planner(v).WatchDraft(v.Context(), &plannerv1.WatchDraftRequest{PlanId: v.Path("id")})
	if err != nil {
		return err
	}
	first, err := stream.Recv()
	if err != nil {
		return err
	}
	began, draft := time.Now(), v.May(mayDraft) // how long we have watched, whatever the clock of the school says
	events, seen := v.Events(), []moment{}
	for report := first; ; {
		plan := report.GetPlan()
		seen = append(seen, momentOf(plan, time.Since(began)))
		part, err := v.Render(progressPage, "progress", progressOf(plan, report.GetPhase(), seen, draft))
		if err != nil {
			return nil //nolint:nilerr // the answer has begun: the browser asks again
		}
		if events.Send("progress", part) != nil {
			return nil // the browser is gone
		}
		if report, err = stream.Recv(); err != nil {
			if errors.Is(err, io.EOF) {
				_ = events.Send("away", after(plan))
			} else if status.Code(err) == codes.NotFound {
				_ = events.Send("away", "/month")
			}
			return nil
		}
	}
}

// after is where to go when a search has ended.
func after(p *plannerv1.Plan) string {
	if h := headOf(p); h.Readable() {
		return h.Path
	}
	return path("/plan", p.GetId(), "progress")
}

// finishDraft stops a search and keeps the best plan that it has.
func finishDraft(v *frame.Visit) error {
	if _, err := planner(v).FinishDraft(v.Context(), &plannerv1.FinishDraftRequest{PlanId: v.Path("id")}); err != nil {
		return err
	}
	return v.Done(path("/plan", v.Path("id"), "progress"), "The search stops and keeps the best plan that it has found.")
}

// discardDraft stops a search and keeps nothing of it.
func discardDraft(v *frame.Visit) error {
	reply, err := planner(v).CancelDraft(v.Context(), &plannerv1.CancelDraftRequest{PlanId: v.Path("id")})
	if err != nil {
		return err
	}
	h := headOf(reply.GetPlan())
	return v.Done(path("/month", h.Month), "The search of plan "+strconv.Itoa(int(h.Number))+" was stopped and nothing of it kept.")
}
