package facility

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	Mint ids.Mint
}

// Server answers FacilityService.
type Server struct {
	facilityv1.UnsafeFacilityServiceServer
	pool *postgres.Pool
	mint ids.Mint
}

var _ facilityv1.FacilityServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil {
		panic("facility.NewServer: Pool and Mint are required")
	}
	return &Server{pool: d.Pool, mint: d.Mint}
}

// ListSites lists every site.
func (s *Server) ListSites(ctx context.Context, _ *facilityv1.ListSitesRequest) (*facilityv1.ListSitesResponse, error) {
	var (
		sites []Site
		runs  []Run
	)
	err := postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) (err error) {
		if sites, err = ListSites(ctx, tx); err != nil {
			return err
		}
		runs, err = ListRuns(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	return sitesToProto(sites, runs), nil
}

// ListRuns lists the runs of one site.
func (s *Server) ListRuns(ctx context.Context, req *facilityv1.ListRunsRequest) (*facilityv1.ListRunsResponse, error) {
	_, runs, err := s.siteRuns(ctx, req.GetSiteCode())
	if err != nil {
		return nil, err
	}
	return runsToProto(runs), nil
}

// ListPlaces lists the places of each day of a month.
func (s *Server) ListPlaces(ctx context.Context, req *facilityv1.ListPlacesRequest) (*facilityv1.ListPlacesResponse, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return nil, err
	}
	var days []DayPlaces
	err = postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) error {
		site, err := FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		places, err := ListPlaces(ctx, tx, month.Span())
		days = places[site.ID]
		return err
	})
	if err != nil {
		return nil, err
	}
	return placesToProto(days), nil
}

// CloseRuns takes runs out of use, all or none.
func (s *Server) CloseRuns(ctx context.Context, req *facilityv1.CloseRunsRequest) (*facilityv1.CloseRunsResponse, error) {
	days, err := rpc.Days(req.GetFirstDay(), req.GetLastDay())
	if err != nil {
		return nil, err
	}
	_, runs, err := s.siteRuns(ctx, req.GetSiteCode())
	if err != nil {
		return nil, err
	}
	closures, err := s.closuresOf(runs, req.GetRunCodes(), days, req.GetReason())
	if err != nil {
		return nil, err
	}
	err = postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error {
		for _, c := range closures {
			if err := insertClosure(ctx, tx, c); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &facilityv1.CloseRunsResponse{Closures: closuresToProto(closures)}, nil
}

// ReopenRun ends a closure.
func (s *Server) ReopenRun(ctx context.Context, req *facilityv1.ReopenRunRequest) (*facilityv1.ReopenRunResponse, error) {
	id, err := ids.Parse[ids.ClosureID](req.GetClosureId())
	if err != nil {
		return nil, apperr.InvalidField("closure_id", err.Error(), "take it from the list of runs")
	}
	from, err := rpc.Day("from_day", req.GetFromDay())
	if err != nil {
		return nil, err
	}
	err = postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error { return endClosure(ctx, tx, id, from) })
	if err != nil {
		return nil, err
	}
	return &facilityv1.ReopenRunResponse{}, nil
}

// SetPlaces sets one day's places.
func (s *Server) SetPlaces(ctx context.Context, req *facilityv1.SetPlacesRequest) (*facilityv1.SetPlacesResponse, error) {
	day, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	err = postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error {
		site, err := FindSite(ctx, tx, req.GetSiteCode())
		if err != nil {
			return err
		}
		return putExceptions(ctx, tx, []dayException{{SiteID: site.ID, Day: day,
			Intake: int(req.GetIntake()), Handover: int(req.GetHandover()), Note: req.GetNote()}})
	})
	if err != nil {
		return nil, err
	}
	return &facilityv1.SetPlacesResponse{Places: dayToProto(DayPlaces{Day: day, Intake: int(req.GetIntake()),
		Handover: int(req.GetHandover()), Note: req.GetNote()})}, nil
}

// siteRuns returns a site and its runs from one snapshot.
func (s *Server) siteRuns(ctx context.Context, siteCode string) (Site, []Run, error) {
	var (
		site Site
		runs []Run
	)
	err := postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) (err error) {
		if site, err = FindSite(ctx, tx, siteCode); err != nil {
			return err
		}
		runs, err = ListRuns(ctx, tx)
		return err
	})
	runs = slices.DeleteFunc(runs, func(r Run) bool { return r.SiteID != site.ID })
	return site, runs, err
}

// closuresOf makes one closure for each run code, or NotFound.
func (s *Server) closuresOf(runs []Run, codes []string, days calendar.Span, reason string) ([]Closure, error) {
	closures := make([]Closure, 0, len(codes))
	for _, code := range codes {
		i := slices.IndexFunc(runs, func(r Run) bool { return r.Code == code })
		if i < 0 {
			return nil, apperr.NotFoundf("RUN_UNKNOWN", "there is no run %q at this site: the list of runs shows the numbers", code)
		}
		closures = append(closures, Closure{ID: ids.ClosureID(s.mint()), RunID: runs[i].ID, Days: days, Reason: reason})
	}
	return closures, nil
}
