package planner

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// FinishDraft asks for the best plan found so far; the worker, or those of the regions, notice within reportEvery, whichever machine
// they are on. A draft that waits for a worker is then made in the time that its first plan needs.
func (s *Server) FinishDraft(ctx context.Context, req *plannerv1.FinishDraftRequest) (*plannerv1.FinishDraftResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	var plan Plan
	who := s.author(ctx)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if plan, err = findPlan(ctx, tx, id, true); err != nil {
			return err
		}
		switch plan.State {
		case StateDrafting:
		case StateCancelled, StateFailed:
			return apperr.Preconditionf("NOTHING_TO_KEEP", "plan %d of %s is %s and has nothing to keep: draft the month again", plan.Number, plan.Month, plan.State)
		default:
			return nil // it is done, whether somebody asked before or not
		}
		if err := askFinish(ctx, tx, id, who); err != nil {
			return err
		}
		plan, err = findPlan(ctx, tx, id, false)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.FinishDraftResponse{Plan: planToProto(plan)}, nil
}
