package planner

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// StartMoveStudy stores the study and its job together: there is never one without the other.
func (s *Server) StartMoveStudy(ctx context.Context, req *plannerv1.StartMoveStudyRequest) (*plannerv1.StartMoveStudyResponse, error) {
	study, err := studyFromProto(req)
	if err != nil {
		return nil, err
	}
	study.ID, study.MadeAt, study.MadeBy, study.Result = ids.MoveStudyID(s.deps.Mint()), s.now(), s.deps.Caller(ctx), noResult()
	var stored MoveStudy
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if stored, err = insertStudy(ctx, tx, study); err != nil {
			return err
		}
		return enqueueStudy(ctx, tx, s.deps.Jobs, study.ID, stored.Phase)
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.StartMoveStudyResponse{Study: studyToProto(stored)}, nil
}

// WatchMoveStudy looks at the study's row again and again: that works whichever machine the worker is on.
func (s *Server) WatchMoveStudy(req *plannerv1.WatchMoveStudyRequest, stream grpc.ServerStreamingServer[plannerv1.WatchMoveStudyResponse]) error {
	id, err := studyID(req.GetStudyId())
	if err != nil {
		return err
	}
	ticker := time.NewTicker(watchEvery)
	defer ticker.Stop()
	for {
		study, err := findStudy(stream.Context(), s.deps.Pool, id, false)
		if err != nil {
			return err
		}
		if err := stream.Send(&plannerv1.WatchMoveStudyResponse{Study: studyToProto(study)}); err != nil {
			return err
		}
		if study.State != StudyWorking {
			return nil
		}
		select {
		case <-stream.Context().Done():
			return stream.Context().Err()
		case <-ticker.C:
		}
	}
}

// CancelMoveStudy ends a study; its worker notices within reportEvery.
func (s *Server) CancelMoveStudy(ctx context.Context, req *plannerv1.CancelMoveStudyRequest) (*plannerv1.CancelMoveStudyResponse, error) {
	id, err := studyID(req.GetStudyId())
	if err != nil {
		return nil, err
	}
	var study MoveStudy
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		if study, err = findStudy(ctx, tx, id, true); err != nil {
			return err
		}
		if study.State != StudyWorking {
			return apperr.Preconditionf("NOT_WORKING", "the study of moves of %s is not being worked on, it is %s: nothing was cancelled", study.Month, study.State)
		}
		if _, err := endStudy(ctx, tx, id, StudyCancelled, ""); err != nil {
			return err
		}
		if study.JobID != nil {
			if _, err := s.deps.Jobs.CancelTx(ctx, tx, *study.JobID); err != nil && apperr.KindOf(err) != apperr.NotFound {
				return fmt.Errorf("cancel the job of study %s: %w", id, err)
			}
		}
		study, err = findStudy(ctx, tx, id, false)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &plannerv1.CancelMoveStudyResponse{Study: studyToProto(study)}, nil
}

// ListMoveStudies lists studies.
func (s *Server) ListMoveStudies(ctx context.Context, req *plannerv1.ListMoveStudiesRequest) (*plannerv1.ListMoveStudiesResponse, error) {
	var month calendar.Month
	if req.GetMonth() != "" {
		var err error
		if month, err = rpc.Month(req.GetMonth()); err != nil {
			return nil, err
		}
	}
	studies, err := listStudies(ctx, s.deps.Pool, month)
	if err != nil {
		return nil, err
	}
	out := &plannerv1.ListMoveStudiesResponse{}
	for _, study := range studies {
		out.Studies = append(out.Studies, studyToProto(study))
	}
	return out, nil
}
