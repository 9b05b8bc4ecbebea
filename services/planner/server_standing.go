package planner

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/enrollment"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

var _ plannerv1.StandingServiceServer = (*Server)(nil)

// ReadStandings says how requests stand, in a fixed number of statements.
func (s *Server) ReadStandings(ctx context.Context, req *plannerv1.ReadStandingsRequest) (*plannerv1.ReadStandingsResponse, error) {
	byCode := map[string]*plannerv1.Standing{}
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		clear(byCode)
		known, err := enrollment.RequestsByCode(ctx, tx, req.GetRequestCodes())
		if err != nil {
			return err
		}
		requests, codes := make([]ids.RequestID, 0, len(known)), make(map[ids.RequestID]string, len(known))
		for code, id := range known {
			byCode[code] = &plannerv1.Standing{RequestCode: code}
			requests, codes[ids.RequestID(id)] = append(requests, ids.RequestID(id)), code
		}
		stays, err := listLatestOf(ctx, tx, requests)
		if err != nil {
			return err
		}
		verdicts, err := listVerdicts(ctx, tx, requests)
		if err != nil {
			return err
		}
		names, err := readNames(ctx, tx, []ids.RequestID{})
		if err != nil {
			return err
		}
		for _, stay := range stays {
			told := names.stayToProto(stay)
			told.RequestCode = codes[stay.RequestID]
			byCode[told.RequestCode].Stay = told
		}
		for _, v := range verdicts {
			v.tell(byCode[codes[v.RequestID]], names)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := &plannerv1.ReadStandingsResponse{}
	for _, code := range slices.Compact(req.GetRequestCodes()) {
		if standing, ok := byCode[code]; ok {
			out.Standings = append(out.Standings, standing)
		}
	}
	return out, nil
}

func (v verdict) tell(to *plannerv1.Standing, names names) {
	to.PlanId, to.Month, to.Number, to.PlanState = v.PlanID.String(), v.Month.String(), int32(v.Number), stateToProto[v.State]
	to.Placed, to.Hard, to.Reason, to.Remedy = v.Placed, v.Hard, v.Reason, v.Remedy
	to.Changes = changesToProto(v.Changes)
	if v.SiteID != nil {
		to.SiteCode, to.Arrival = names.sites[*v.SiteID], v.Nights.From.String()
	}
}
