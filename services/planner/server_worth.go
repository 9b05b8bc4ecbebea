package planner

import (
	"cmp"
	"context"
	"time"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// ReadWorth lists what one more of each resource would be worth, and solves again with the first few.
func (s *Server) ReadWorth(ctx context.Context, req *plannerv1.ReadWorthRequest) (*plannerv1.ReadWorthResponse, error) {
	id, err := planID(req.GetPlanId())
	if err != nil {
		return nil, err
	}
	w, err := s.readWhole(ctx, id)
	if err != nil {
		return nil, err
	}
	o, err := s.reopen(ctx, &w)
	if err != nil {
		return nil, err
	}
	seconds := cmp.Or(req.GetSeconds(), defaultWorthSeconds)
	lines, err := o.worth(ctx, &w.plan, int(cmp.Or(req.GetLines(), defaultLines)), int(req.GetCheck()), time.Duration(seconds)*time.Second)
	if err != nil {
		return nil, err
	}
	return &plannerv1.ReadWorthResponse{Plan: planToProto(w.plan), Lines: worthToProto(lines)}, nil
}

// weighAnew adds to an explanation what solving the month anew says of the request.
func (s *Server) weighAnew(ctx context.Context, w *whole, req *plannerv1.ExplainRequestRequest, out *plannerv1.ExplainRequestResponse) error {
	_, wait, err := w.find(req.GetRequestCode())
	if err != nil || wait == nil {
		return err
	}
	o, err := s.reopen(ctx, w)
	if err != nil {
		return err
	}
	found, err := o.weighAnew(ctx, &w.plan, wait.RequestID, time.Duration(req.GetSeconds())*time.Second)
	if err == nil {
		err = context.Cause(ctx)
	}
	if err != nil {
		return err
	}
	out.Weighing = found.toProto()
	return nil
}
