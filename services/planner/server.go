package planner

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

const (
	defaultSeconds = 10
	defaultSeed    = 1
	// watchEvery is how often WatchDraft looks for news.
	watchEvery = 200 * time.Millisecond
)

// Deps is what a Server needs; all fields are required but Areas.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	Jobs *jobs.Client
	// Caller names who makes a call.
	Caller func(context.Context) string
	// Sites tells the roster of the sites, for the check of work rules that goes with a plan.
	Sites roster.Sites
	// Areas tells which dogs were in which area, for the list of those near an ill one; without it areas are left out.
	Areas Areas
}

// Server answers PlannerService, MendService and StandingService.
type Server struct {
	plannerv1.UnsafePlannerServiceServer
	plannerv1.UnsafeMendServiceServer
	plannerv1.UnsafeStandingServiceServer
	deps Deps
}

var _ plannerv1.PlannerServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Jobs == nil || d.Caller == nil || d.Sites == nil {
		panic("planner.NewServer: every dependency but Areas is required")
	}
	return &Server{deps: d}
}

// now is the instant of a call, at the precision of the database.
func (s *Server) now() time.Time { return s.deps.Now().UTC().Truncate(time.Microsecond) }

func (s *Server) author(ctx context.Context) author {
	return author{by: s.deps.Caller(ctx), at: s.now(), mint: s.deps.Mint}
}

// DraftPlan stores the draft and its job together: there is never one without the other.
func (s *Server) DraftPlan(ctx context.Context, req *plannerv1.DraftPlanRequest) (*plannerv1.DraftPlanResponse, error) {
	plan, err := draftFromProto(req)
	if err != nil {
		return nil, err
	}
	plan.ID, plan.MadeAt, plan.MadeBy, plan.SolverVersion = ids.PlanID(s.deps.Mint()), s.now(), s.deps.Caller(ctx), SolverVersion
	var stored Plan
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if stored, err = insertDraft(ctx, tx, plan); err != nil {
			return err
		}
		return enqueue(ctx, tx, s.deps.Jobs, plan.ID)
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.DraftPlanResponse{Plan: planToProto(stored)}, nil
}

// WatchDraft looks at the plan's row again and again: that works whichever machine the worker is on.
func (s *Server) WatchDraft(req *plannerv1.WatchDraftRequest, stream grpc.ServerStreamingServer[plannerv1.WatchDraftResponse]) error {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return err
	}
	ticker := time.NewTicker(watchEvery)
	defer ticker.Stop()
	for {
		plan, err := findPlan(stream.Context(), s.deps.Pool, id, false)
		if err != nil {
			return err
		}
		if err := stream.Send(&plannerv1.WatchDraftResponse{Plan: planToProto(plan), Phase: plan.Phase}); err != nil {
			return err
		}
		if plan.State != StateDrafting {
			return nil
		}
		select {
		case <-stream.Context().Done():
			return stream.Context().Err()
		case <-ticker.C:
		}
	}
}

// CancelDraft ends a draft; its worker notices within reportEvery.
func (s *Server) CancelDraft(ctx context.Context, req *plannerv1.CancelDraftRequest) (*plannerv1.CancelDraftResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	var plan Plan
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if plan, err = findPlan(ctx, tx, id, true); err != nil {
			return err
		}
		if plan.State != StateDrafting {
			return apperr.Preconditionf("NOT_DRAFTING", "plan %d of %s is not being drafted, it is %s: nothing was cancelled", plan.Number, plan.Month, plan.State)
		}
		if _, err := endDraft(ctx, tx, id, StateCancelled, ""); err != nil {
			return err
		}
		if plan.JobID != nil {
			if _, err := s.deps.Jobs.CancelTx(ctx, tx, *plan.JobID); err != nil && apperr.KindOf(err) != apperr.NotFound {
				return fmt.Errorf("cancel the job of plan %s: %w", id, err)
			}
		}
		plan, err = findPlan(ctx, tx, id, false)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.CancelDraftResponse{Plan: planToProto(plan)}, nil
}

// ReadPlan reads a plan with its parts.
func (s *Server) ReadPlan(ctx context.Context, req *plannerv1.ReadPlanRequest) (*plannerv1.ReadPlanResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	whole, err := s.readWhole(ctx, id)
	if err != nil {
		return nil, err
	}
	out := whole.toProto(req.GetWithUses())
	findings, err := s.workRuleCautions(ctx, whole.plan.Month)
	if err != nil {
		return nil, err
	}
	out.Cautions = append(out.Cautions, findings...)
	return out, nil
}

// workRuleCautions sums up where the month's shifts break the work rules.
func (s *Server) workRuleCautions(ctx context.Context, month calendar.Month) ([]string, error) {
	var cautions []string
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		findings, err := roster.CheckMonth(ctx, tx, s.deps.Sites, month)
		cautions = nil
		for _, f := range findings {
			cautions = append(cautions, fmt.Sprintf("%s on %s: %s; measured %s, asked for %s (%s; not legal advice)", f.Trainer, f.Day, f.Rule, f.Measured, f.Required, f.Citation))
		}
		return err
	})
	return cautions, err
}

// ListPlans lists plans.
func (s *Server) ListPlans(ctx context.Context, req *plannerv1.ListPlansRequest) (*plannerv1.ListPlansResponse, error) {
	var month calendar.Month
	if req.GetMonth() != "" {
		var err error
		if month, err = rpc.Month(req.GetMonth()); err != nil {
			return nil, err
		}
	}
	plans, err := listPlans(ctx, s.deps.Pool, month)
	if err != nil {
		return nil, err
	}
	out := &plannerv1.ListPlansResponse{}
	for _, p := range plans {
		out.Plans = append(out.Plans, planToProto(p))
	}
	return out, nil
}

// ComparePlans compares two plans of one month.
func (s *Server) ComparePlans(ctx context.Context, req *plannerv1.ComparePlansRequest) (*plannerv1.ComparePlansResponse, error) {
	firstID, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	secondID, err := planID(req.GetOtherPlanId())
	if err != nil {
		return nil, err
	}
	c, err := s.readComparison(ctx, firstID, secondID, int(req.GetLimit()), int(req.GetOffset()))
	if err != nil {
		return nil, err
	}
	return c.toProto(), nil
}

// ExplainRequest says why a request was placed as it was, or why it waits.
func (s *Server) ExplainRequest(ctx context.Context, req *plannerv1.ExplainRequestRequest) (*plannerv1.ExplainRequestResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	read := func(ctx context.Context, id ids.PlanID) (whole, error) {
		return s.readOne(ctx, id, req.GetRequestCode())
	}
	if req.GetSeconds() > 0 {
		read = s.readWhole // solving anew needs all of the plan
	}
	whole, err := read(ctx, id)
	if err != nil {
		return nil, err
	}
	out, err := whole.explain(req.GetRequestCode())
	if err == nil && req.GetSeconds() > 0 {
		err = s.weighAnew(ctx, &whole, req, out)
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

// PublishPlan publishes.
func (s *Server) PublishPlan(ctx context.Context, req *plannerv1.PublishPlanRequest) (*plannerv1.PublishPlanResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	var result Published
	who := s.author(ctx)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		result, err = publish(ctx, tx, id, who)
		return err
	}, postgres.Serializable())
	if err != nil {
		return nil, err
	}
	return &plannerv1.PublishPlanResponse{Plan: planToProto(result.Plan), NewStays: int32(result.New), KeptStays: int32(result.Kept),
		MovedStays: int32(result.Moved), DroppedStays: int32(result.Dropped)}, nil
}

// ReadPolicy reads the policy.
func (s *Server) ReadPolicy(ctx context.Context, _ *plannerv1.ReadPolicyRequest) (*plannerv1.ReadPolicyResponse, error) {
	policy, err := readPolicy(ctx, s.deps.Pool)
	if err != nil {
		return nil, err
	}
	return &plannerv1.ReadPolicyResponse{Terms: policyToProto(policy)}, nil
}

// SetPolicy changes terms of the policy.
func (s *Server) SetPolicy(ctx context.Context, req *plannerv1.SetPolicyRequest) (*plannerv1.SetPolicyResponse, error) {
	changes := Policy{}
	for _, t := range req.GetTerms() {
		changes[t.GetTerm()] = int(t.GetPoints())
	}
	var policy Policy
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		before, err := readPolicy(ctx, tx)
		if err != nil {
			return err
		}
		if policy, err = before.With(changes); err != nil {
			return err
		}
		return putPolicy(ctx, tx, changes)
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.SetPolicyResponse{Terms: policyToProto(policy)}, nil
}

// ListStays lists the promises that touch a month.
func (s *Server) ListStays(ctx context.Context, req *plannerv1.ListStaysRequest) (*plannerv1.ListStaysResponse, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return nil, err
	}
	var (
		stays []Stay
		names names
	)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if stays, err = listLiveStays(ctx, tx, month.Span()); err != nil {
			return err
		}
		requests := make([]ids.RequestID, len(stays))
		for i, stay := range stays {
			requests[i] = stay.RequestID
		}
		names, err = readNames(ctx, tx, requests)
		return err
	})
	if err != nil {
		return nil, err
	}
	return names.staysToProto(stays, month, req.GetSiteCode()), nil
}
