package dayplan

import (
	"context"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/roster"
	"github.com/longlead/longlead/services/rpc"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// ReportAbsence records that a trainer is away and keeps the day planned anew without them, in one transaction.
func (s *Server) ReportAbsence(ctx context.Context, req *dayplanv1.ReportAbsenceRequest) (*dayplanv1.ReportAbsenceResponse, error) {
	who := s.author(ctx)
	from, err := clockFromProto("from", req.GetFrom())
	if err != nil {
		return nil, err
	}
	last := req.GetLastDay()
	if last == "" {
		last = req.GetDay()
	}
	days, err := rpc.Days(req.GetDay(), last)
	if err != nil {
		return nil, err
	}
	var trainer roster.Trainer
	got, err := s.read(ctx, "", req.GetDay(), func(ctx context.Context, tx postgres.Tx, day calendar.Date) (site facility.Site, err error) {
		trainer, site, err = siteOf(ctx, tx, req.GetTrainerCode(), day)
		return site, err
	})
	if err != nil {
		return nil, err
	}
	absence := roster.Absence{ID: ids.AbsenceID(s.deps.Mint()), TrainerID: trainer.ID, Days: days, Kind: req.GetKind()}
	record := func(ctx context.Context, tx postgres.Tx) error { return roster.InsertAbsence(ctx, tx, absence) }
	out := &dayplanv1.ReportAbsenceResponse{AbsenceId: absence.ID.String()}
	if !got.kept {
		return s.recordAlone(ctx, req, got, record, out)
	}
	t, err := s.tryGone(ctx, got, trainer, from, absence.Kind+" "+days.String(), record)
	if err != nil {
		return nil, err
	}
	print := req.GetFingerprint()
	if print != "" && !req.GetPreview() {
		err = s.accept(ctx, t, print)
	} else {
		print, err = s.look(ctx, t)
	}
	if err == nil && !req.GetPreview() {
		err = s.keepTrial(ctx, t, who)
	}
	if err != nil {
		return nil, err
	}
	if req.GetPreview() {
		out.AbsenceId = ""
	}
	out.Covered = int32(t.repair.count(DiffCovered))
	if out.Repair, err = t.got.repairToProto(&t.repair, t.changed); err == nil {
		out.Repair.Since, out.Repair.Fingerprint = t.clock.local(t.clock.instant(t.redo.since)), print
	}
	return out, err
}

// recordAlone records an absence on a day without a plan, unless the day has got one since somebody looked.
func (s *Server) recordAlone(ctx context.Context, req *dayplanv1.ReportAbsenceRequest, got snapshot, record recording, out *dayplanv1.ReportAbsenceResponse) (*dayplanv1.ReportAbsenceResponse, error) {
	if req.GetFingerprint() != "" {
		return nil, changedSince(got)
	}
	if req.GetPreview() {
		out.AbsenceId = ""
		_, err := s.afterwards(ctx, got, record)
		return out, err
	}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		switch _, planned, err := findLive(ctx, tx, got.in.Site.ID, got.in.Day, true); {
		case err != nil:
			return err
		case planned:
			return apperr.Conflictf("DAY_CHANGED_MEANWHILE", "%s has just been planned, so nothing was recorded: look at what the absence changes there first", got.in.Day)
		}
		return record(ctx, tx)
	})
	return out, err
}
