package dayplan

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	Now  func() time.Time
	// Caller names who makes a call.
	Caller func(context.Context) string
}

// Server answers DayPlanService.
type Server struct {
	dayplanv1.UnsafeDayPlanServiceServer
	deps   Deps
	looked shown
}

var _ dayplanv1.DayPlanServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Caller == nil {
		panic("dayplan.NewServer: all dependencies are required")
	}
	return &Server{deps: d}
}

func (s *Server) author(ctx context.Context) author {
	return author{by: s.deps.Caller(ctx), at: s.deps.Now().UTC().Truncate(time.Microsecond), mint: s.deps.Mint}
}

// snapshot is what is read of a day in one transaction.
type snapshot struct {
	in     Inputs
	before Plan
	kept   bool
	names  *names
}

func (s *Server) read(ctx context.Context, code, day string, find func(context.Context, postgres.Tx, calendar.Date) (facility.Site, error)) (snapshot, error) {
	var got snapshot
	date, err := rpc.Day("day", day)
	if err != nil {
		return got, err
	}
	if find == nil {
		find = func(ctx context.Context, tx postgres.Tx, _ calendar.Date) (facility.Site, error) {
			return facility.FindSite(ctx, tx, code)
		}
	}
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		got = snapshot{}
		site, err := find(ctx, tx, date)
		if err != nil {
			return err
		}
		if got.in, err = readInputs(ctx, tx, site, date); err != nil {
			return err
		}
		if got.before, got.kept, err = findLive(ctx, tx, site.ID, date, false); err != nil {
			return err
		}
		got.names, err = readNames(ctx, tx, &got.in, &got.before)
		return err
	})
	return got, err
}

// GetDay reads a plan, or makes one to look at.
func (s *Server) GetDay(ctx context.Context, req *dayplanv1.GetDayRequest) (*dayplanv1.GetDayResponse, error) {
	got, err := s.read(ctx, req.GetSiteCode(), req.GetDay(), nil)
	if err != nil {
		return nil, err
	}
	conditions, err := got.conditionsToProto()
	if err != nil {
		return nil, err
	}
	plan, stale := got.before, false
	if got.kept {
		if stale, err = got.stale(); err != nil {
			return nil, err
		}
	} else if req.GetKeptOnly() {
		return &dayplanv1.GetDayResponse{Conditions: conditions}, nil
	} else if plan, err = planInputs(ctx, got.in, usualLimit, usualSeed); err != nil {
		return nil, err
	}
	out, err := got.planToProto(&plan)
	if err != nil {
		return nil, err
	}
	out.Stale = stale
	return &dayplanv1.GetDayResponse{Plan: out, Conditions: conditions}, nil
}

// planInputs plans a day from scratch.
func planInputs(ctx context.Context, in Inputs, limit time.Duration, seed int64) (Plan, error) {
	t, err := buildTask(in, nil)
	if err != nil {
		return Plan{}, err
	}
	return t.solve(dayblocks.Options{Seed: uint64(seed), Limit: limit, Cancel: ctx.Done()})
}

// PlanDay plans a day outside of any transaction and keeps the plan in a short one.
func (s *Server) PlanDay(ctx context.Context, req *dayplanv1.PlanDayRequest) (*dayplanv1.PlanDayResponse, error) {
	who := s.author(ctx)
	got, err := s.read(ctx, req.GetSiteCode(), req.GetDay(), nil)
	if err != nil {
		return nil, err
	}
	if got.kept && !req.GetEvenIfBegun() {
		if err := got.before.refuseBegun(who.at); err != nil {
			return nil, err
		}
	}
	limit, seed := usualLimit, int64(usualSeed)
	if ms := req.GetLimitMs(); ms > 0 {
		limit = time.Duration(ms) * time.Millisecond
	}
	if req.GetSeed() != 0 {
		seed = req.GetSeed()
	}
	plan, err := planInputs(ctx, got.in, limit, seed)
	if err == nil {
		plan, err = s.keep(ctx, plan, got, who)
	}
	if err != nil {
		return nil, err
	}
	out, err := got.planToProto(&plan)
	return &dayplanv1.PlanDayResponse{Plan: out}, err
}

// keep stores a plan unless another than the one that was read has become the live one meanwhile.
func (s *Server) keep(ctx context.Context, plan Plan, got snapshot, who author) (Plan, error) {
	if err := ctx.Err(); err != nil {
		return Plan{}, err
	}
	plan.ID, plan.MadeAt, plan.MadeBy = ids.DayPlanID(who.mint()), who.at, who.by
	var stored Plan
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		live, _, err := findLive(ctx, tx, plan.SiteID, plan.Day, true)
		if err != nil {
			return err
		}
		if live.ID != got.before.ID {
			return plannedMeanwhile(plan.Day)
		}
		stored, err = keepPlan(ctx, tx, plan)
		return err
	})
	return stored, err
}
