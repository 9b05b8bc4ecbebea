package roster

import (
	"context"
	"slices"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	rosterv1 "github.com/longlead/longlead/proto/longlead/roster/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool  *postgres.Pool
	Mint  ids.Mint
	Sites Sites
}

// Server answers RosterService.
type Server struct {
	rosterv1.UnsafeRosterServiceServer
	pool  *postgres.Pool
	mint  ids.Mint
	sites Sites
}

var _ rosterv1.RosterServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Mint == nil || d.Sites == nil {
		panic("roster.NewServer: Pool, Mint and Sites are required")
	}
	return &Server{pool: d.Pool, mint: d.Mint, sites: d.Sites}
}

// ListTrainers lists trainers, all or those of one home site.
func (s *Server) ListTrainers(ctx context.Context, req *rosterv1.ListTrainersRequest) (*rosterv1.ListTrainersResponse, error) {
	var (
		trainers []Trainer
		sites    siteIndex
	)
	err := postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) (err error) {
		if sites, err = indexSites(ctx, tx, s.sites); err != nil {
			return err
		}
		trainers, err = ListTrainers(ctx, tx)
		return err
	})
	if err != nil {
		return nil, err
	}
	if code := req.GetSiteCode(); code != "" {
		site, err := sites.find(code)
		if err != nil {
			return nil, err
		}
		trainers = slices.DeleteFunc(trainers, func(t Trainer) bool { return t.HomeSiteID != site.ID })
	}
	return trainersToProto(trainers, sites), nil
}

// ListTrainerDays lists the working days of a month, at all sites or at one.
func (s *Server) ListTrainerDays(ctx context.Context, req *rosterv1.ListTrainerDaysRequest) (*rosterv1.ListTrainerDaysResponse, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return nil, err
	}
	var (
		trainers []Trainer
		days     []TrainerDay
		sites    siteIndex
	)
	err = postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) (err error) {
		if sites, err = indexSites(ctx, tx, s.sites); err != nil {
			return err
		}
		trainers, days, err = ListDays(ctx, tx, month.Span())
		return err
	})
	if err != nil {
		return nil, err
	}
	if code := req.GetSiteCode(); code != "" {
		site, err := sites.find(code)
		if err != nil {
			return nil, err
		}
		days = slices.DeleteFunc(days, func(d TrainerDay) bool { return d.SiteID != site.ID })
	}
	return daysToProto(days, trainers, sites), nil
}

// RecordAbsence enters an absence.
func (s *Server) RecordAbsence(ctx context.Context, req *rosterv1.RecordAbsenceRequest) (*rosterv1.RecordAbsenceResponse, error) {
	days, err := rpc.Days(req.GetFirstDay(), req.GetLastDay())
	if err != nil {
		return nil, err
	}
	kind, err := absenceKindFromProto(req.GetKind())
	if err != nil {
		return nil, err
	}
	absence := Absence{ID: ids.AbsenceID(s.mint()), Days: days, Kind: kind}
	err = postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error {
		trainer, err := FindTrainer(ctx, tx, req.GetTrainerCode())
		if err != nil {
			return err
		}
		absence.TrainerID = trainer.ID
		return InsertAbsence(ctx, tx, absence)
	})
	if err != nil {
		return nil, err
	}
	return &rosterv1.RecordAbsenceResponse{AbsenceId: absence.ID.String()}, nil
}

// RemoveAbsence takes an absence back.
func (s *Server) RemoveAbsence(ctx context.Context, req *rosterv1.RemoveAbsenceRequest) (*rosterv1.RemoveAbsenceResponse, error) {
	id, err := ids.Parse[ids.AbsenceID](req.GetAbsenceId())
	if err != nil {
		return nil, apperr.InvalidField("absence_id", err.Error(), "take it from the answer that recorded the absence")
	}
	if err := postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error { return deleteAbsence(ctx, tx, id) }); err != nil {
		return nil, err
	}
	return &rosterv1.RemoveAbsenceResponse{}, nil
}

// LendTrainer sends a trainer to another site for some days.
func (s *Server) LendTrainer(ctx context.Context, req *rosterv1.LendTrainerRequest) (*rosterv1.LendTrainerResponse, error) {
	days, err := rpc.Days(req.GetFirstDay(), req.GetLastDay())
	if err != nil {
		return nil, err
	}
	loan := Loan{ID: ids.LoanID(s.mint()), Days: days}
	err = postgres.InTx(ctx, s.pool, func(tx postgres.Tx) error {
		trainer, err := FindTrainer(ctx, tx, req.GetTrainerCode())
		if err != nil {
			return err
		}
		sites, err := indexSites(ctx, tx, s.sites)
		if err != nil {
			return err
		}
		site, err := sites.find(req.GetSiteCode())
		if err != nil {
			return err
		}
		loan.TrainerID, loan.SiteID = trainer.ID, site.ID
		return insertLoan(ctx, tx, loan)
	})
	if err != nil {
		return nil, err
	}
	return &rosterv1.LendTrainerResponse{LoanId: loan.ID.String()}, nil
}

// CheckWorkRules holds the shifts of a month against the work rules of each site.
func (s *Server) CheckWorkRules(ctx context.Context, req *rosterv1.CheckWorkRulesRequest) (*rosterv1.CheckWorkRulesResponse, error) {
	month, err := rpc.Month(req.GetMonth())
	if err != nil {
		return nil, err
	}
	var findings []WorkFinding
	err = postgres.ReadTx(ctx, s.pool, func(tx postgres.Tx) (err error) {
		findings, err = CheckMonth(ctx, tx, s.sites, month)
		return err
	})
	if err != nil {
		return nil, err
	}
	return findingsToProto(findings), nil
}

// siteIndex finds sites by ID.
type siteIndex map[ids.SiteID]SiteRef

func indexSites(ctx context.Context, db postgres.DB, sites Sites) (siteIndex, error) {
	refs, err := sites(ctx, db)
	if err != nil {
		return nil, err
	}
	index := make(siteIndex, len(refs))
	for _, ref := range refs {
		index[ref.ID] = ref
	}
	return index, nil
}

// find returns the site with a code, or NotFound.
func (x siteIndex) find(code string) (SiteRef, error) {
	for _, ref := range x {
		if ref.Code == code {
			return ref, nil
		}
	}
	return SiteRef{}, apperr.NotFoundf("SITE_UNKNOWN", "there is no site with the code %q: `longlead export sites` lists them", code)
}
