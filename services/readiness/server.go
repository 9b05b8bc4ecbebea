package readiness

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/planner"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	// Now is the clock.
	Now func() time.Time
	// Caller names who makes a call, for what is kept.
	Caller func(context.Context) string
}

// Server answers ReadinessService.
type Server struct {
	readinessv1.UnsafeReadinessServiceServer
	deps Deps
}

var _ readinessv1.ReadinessServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Now == nil || d.Caller == nil {
		panic("readiness.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

// GetReadiness reckons one dog.
func (s *Server) GetReadiness(ctx context.Context, req *readinessv1.GetReadinessRequest) (*readinessv1.GetReadinessResponse, error) {
	reports, err := s.reckon(ctx, req.GetDay(), true, func(ctx context.Context, tx postgres.Tx, day calendar.Date) ([]planner.Stay, error) {
		stay, err := findStay(ctx, tx, req.GetDogCode(), day)
		return []planner.Stay{stay}, err
	})
	if err != nil {
		return nil, err
	}
	return &readinessv1.GetReadinessResponse{Readiness: reportToProto(&reports[0]), Caution: workload.OutlookCaution, Assumes: workload.OutlookAssumes}, nil
}

// ListReadiness reckons all dogs that are at a site, or anywhere.
func (s *Server) ListReadiness(ctx context.Context, req *readinessv1.ListReadinessRequest) (*readinessv1.ListReadinessResponse, error) {
	reports, err := s.reckon(ctx, req.GetDay(), req.GetWithProposals(), func(ctx context.Context, tx postgres.Tx, day calendar.Date) ([]planner.Stay, error) {
		if req.GetSiteCode() == "" {
			return planner.ListAllStaysOn(ctx, tx, day)
		}
		site, err := facility.FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return nil, err
		}
		return planner.ListStaysOn(ctx, tx, site.ID, day)
	})
	if err != nil {
		return nil, err
	}
	sortByRisk(reports)
	return listToProto(reports), nil
}

// reckon reads one snapshot and reckons outside of it.
func (s *Server) reckon(ctx context.Context, text string, proposals bool, stays func(context.Context, postgres.Tx, calendar.Date) ([]planner.Stay, error)) ([]Report, error) {
	day, err := rpc.Day("day", text)
	if err != nil {
		return nil, err
	}
	var in inputs
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		found, err := stays(ctx, tx, day)
		if err != nil {
			return err
		}
		in, err = readInputs(ctx, tx, found, day, s.deps.Now())
		return err
	})
	if err != nil {
		return nil, err
	}
	in.proposals = proposals
	return in.assessAll(ctx.Err)
}
