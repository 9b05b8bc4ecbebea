package enrollment

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/workload"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
	// Now is the clock.
	Now func() time.Time
	// Caller names who makes a call, for what is kept.
	Caller func(context.Context) string
	// Sites lists the sites with the rules that requests are held against.
	Sites Sites
	// Promised lists the requests that have a promised stay, whatever has become of it since, but for those whose promise was taken back.
	Promised Promised
}

// Promised lists requests with a promised stay. The package that keeps the stays provides it.
type Promised func(ctx context.Context, db postgres.DB) ([]ids.RequestID, error)

// Server answers EnrollmentService.
type Server struct {
	enrollmentv1.UnsafeEnrollmentServiceServer
	deps Deps
}

var _ enrollmentv1.EnrollmentServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Now == nil || d.Caller == nil || d.Sites == nil || d.Promised == nil {
		panic("enrollment.NewServer: every dependency is required")
	}
	return &Server{deps: d}
}

// ListRequests lists the requests whose arrival window touches a month, or all.
func (s *Server) ListRequests(ctx context.Context, req *enrollmentv1.ListRequestsRequest) (*enrollmentv1.ListRequestsResponse, error) {
	var month calendar.Month
	if text := req.GetMonth(); text != "" {
		var err error
		if month, err = calendar.ParseMonth(text); err != nil {
			return nil, apperr.InvalidField("month", err.Error(), "write it as 2027-03, or leave it empty for all")
		}
	}
	var (
		lines []requestLine
		sites map[ids.SiteID]SiteRules
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if sites, err = sitesByID(ctx, tx, s.deps.Sites); err != nil {
			return err
		}
		lines, err = listRequests(ctx, tx, month, req.GetWithWithdrawn())
		return err
	})
	if err != nil {
		return nil, err
	}
	out := &enrollmentv1.ListRequestsResponse{}
	for _, line := range lines {
		out.Requests = append(out.Requests, requestToProto(line, sites))
	}
	return out, nil
}

// ReadRequest reads one request with what the dog takes and how its vaccines stand. Both are worked out for the earliest stay of
// the window.
func (s *Server) ReadRequest(ctx context.Context, req *enrollmentv1.ReadRequestRequest) (*enrollmentv1.ReadRequestResponse, error) {
	var (
		line  requestLine
		c     Case
		sites map[ids.SiteID]SiteRules
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if sites, err = sitesByID(ctx, tx, s.deps.Sites); err != nil {
			return err
		}
		if line, err = findRequest(ctx, tx, req.GetRequestCode()); err != nil {
			return err
		}
		cases, err := fillCases(ctx, tx, []requestLine{line})
		if err == nil {
			c = cases[0]
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	need, err := c.Need(c.Request.Window.From)
	if err != nil {
		return nil, err
	}
	return &enrollmentv1.ReadRequestResponse{
		Request:         requestToProto(line, sites),
		Workload:        workloadToProto(need, c),
		VaccineFindings: findingsToProto(c, sites),
	}, nil
}

// WithdrawRequest takes a request off the list.
func (s *Server) WithdrawRequest(ctx context.Context, req *enrollmentv1.WithdrawRequestRequest) (*enrollmentv1.WithdrawRequestResponse, error) {
	var (
		line  requestLine
		sites map[ids.SiteID]SiteRules
	)
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if err := withdraw(ctx, tx, req.GetRequestCode()); err != nil {
			return err
		}
		if sites, err = sitesByID(ctx, tx, s.deps.Sites); err != nil {
			return err
		}
		line, err = findRequest(ctx, tx, req.GetRequestCode())
		return err
	})
	if err != nil {
		return nil, err
	}
	return &enrollmentv1.WithdrawRequestResponse{Request: requestToProto(line, sites)}, nil
}

// OverrideWorkload keeps a person's word on what a dog takes.
func (s *Server) OverrideWorkload(ctx context.Context, req *enrollmentv1.OverrideWorkloadRequest) (*enrollmentv1.OverrideWorkloadResponse, error) {
	word := Override{
		DecidedAt: s.deps.Now().UTC().Truncate(time.Microsecond), DecidedBy: s.deps.Caller(ctx),
		Minutes: int(req.GetMinutesADay()), Care: workload.Care(req.GetCareClass()), Reason: req.GetReason(),
	}
	if err := checkWord(word); err != nil {
		return nil, err
	}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		dog, err := findDog(ctx, tx, req.GetDogCode())
		if err != nil {
			return err
		}
		word.DogID = dog.ID
		return insertOverride(ctx, tx, s.deps.Mint(), word)
	})
	if err != nil {
		return nil, err
	}
	return &enrollmentv1.OverrideWorkloadResponse{}, nil
}
