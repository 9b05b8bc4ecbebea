package planner

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var _ plannerv1.MendServiceServer = (*Server)(nil)

// PreviewExtension works the choices out and changes nothing.
func (s *Server) PreviewExtension(ctx context.Context, req *plannerv1.PreviewExtensionRequest) (*plannerv1.PreviewExtensionResponse, error) {
	var (
		found Extensions
		to    calendar.Date
		err   error
		now   = s.now()
	)
	if req.GetGraduation() != "" {
		if to, err = rpc.Day("graduation", req.GetGraduation()); err != nil {
			return nil, err
		}
	}
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		m, err := readMending(ctx, tx, req.GetDogCode(), now)
		if err != nil {
			return err
		}
		if to.IsZero() {
			found, err = m.extensions(daysOr(req.GetDays(), defaultMendDays))
		} else {
			found, err = m.extensionTo(to)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return found.toProto(), nil
}

// ExtendStay does what was previewed.
func (s *Server) ExtendStay(ctx context.Context, req *plannerv1.ExtendStayRequest) (*plannerv1.ExtendStayResponse, error) {
	to, err := rpc.Day("graduation", req.GetGraduation())
	if err != nil {
		return nil, err
	}
	var (
		m   *mending
		e   Extension
		who = s.author(ctx)
	)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		m, e, err = extendStay(ctx, tx, who, req.GetDogCode(), to, req.GetFingerprint(), req.GetReason())
		return err
	}, postgres.Serializable())
	if err != nil {
		return nil, err
	}
	return &plannerv1.ExtendStayResponse{Stay: m.stayToProto(m.stay), Extension: e.toProto()}, nil
}

// PreviewIsolation works out what isolating a dog does and changes nothing.
func (s *Server) PreviewIsolation(ctx context.Context, req *plannerv1.PreviewIsolationRequest) (*plannerv1.PreviewIsolationResponse, error) {
	ask, err := isolationFromProto(req.GetDogCode(), req.GetIsolation())
	if err != nil {
		return nil, err
	}
	ask.areas = s.deps.Areas
	var p IsolationPlan
	now := s.now()
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		m, err := readMending(ctx, tx, ask.code, now)
		if err != nil {
			return err
		}
		p, err = m.isolation(ctx, tx, ask)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.PreviewIsolationResponse{Plan: p.toProto()}, nil
}

// IsolateDog does what was previewed.
func (s *Server) IsolateDog(ctx context.Context, req *plannerv1.IsolateDogRequest) (*plannerv1.IsolateDogResponse, error) {
	ask, err := isolationFromProto(req.GetDogCode(), req.GetIsolation())
	if err != nil {
		return nil, err
	}
	ask.areas = s.deps.Areas
	var p IsolationPlan
	who := s.author(ctx)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		p, err = isolateDog(ctx, tx, who, ask, req.GetFingerprint(), req.GetReason())
		return err
	}, postgres.Serializable())
	if err != nil {
		return nil, err
	}
	return &plannerv1.IsolateDogResponse{Plan: p.toProto()}, nil
}

// EndIsolation lets a dog out of isolation.
func (s *Server) EndIsolation(ctx context.Context, req *plannerv1.EndIsolationRequest) (*plannerv1.EndIsolationResponse, error) {
	day, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	var (
		m   *mending
		i   Isolation
		who = s.author(ctx)
	)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		m, i, err = releaseDog(ctx, tx, who, req.GetDogCode(), day, req.GetReason(), req.GetLift())
		return err
	}, postgres.Serializable())
	if err != nil {
		return nil, err
	}
	return &plannerv1.EndIsolationResponse{DogCode: m.c.Dog.Code, RunCode: m.runCode(i.RunID), FirstDay: i.Days.From.String(), OutOn: i.Days.To.String(), Lifted: req.GetLift()}, nil
}

// ListIsolations lists who is isolated and watched, and which holds run.
func (s *Server) ListIsolations(ctx context.Context, req *plannerv1.ListIsolationsRequest) (*plannerv1.ListIsolationsResponse, error) {
	day, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	var out *plannerv1.ListIsolationsResponse
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		site, err := facility.FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		w, err := readWard(ctx, tx, site, day)
		out = w.toProto()
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ReadStayHistory reads the audit trail of a dog's stays.
func (s *Server) ReadStayHistory(ctx context.Context, req *plannerv1.ReadStayHistoryRequest) (*plannerv1.ReadStayHistoryResponse, error) {
	var (
		changes []stayChange
		known   names
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		requests, err := enrollment.ListRequestsByCode(ctx, tx, req.GetDogCode())
		if err != nil {
			return err
		}
		if len(requests) == 0 {
			return apperr.NotFoundf("DOG_UNKNOWN", "there is no dog or request %q with a request: `longlead export requests` lists them", req.GetDogCode())
		}
		if changes, err = listChanges(ctx, tx, requests); err != nil {
			return err
		}
		known, err = readNames(ctx, tx, requests)
		return err
	})
	if err != nil {
		return nil, err
	}
	return known.historyToProto(changes), nil
}

// daysOr is a number of days of a request, or the default for 0.
func daysOr[N ~int32](n N, otherwise int) int {
	if n == 0 {
		return otherwise
	}
	return int(n)
}
