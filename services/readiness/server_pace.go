package readiness

import (
	"context"
	"strings"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"
	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

// MeasurePace measures the pace of a program's dogs. It starts from the default and not from the pace in use, which may rest on the
// same logs.
func (s *Server) MeasurePace(ctx context.Context, req *readinessv1.MeasurePaceRequest) (*readinessv1.MeasurePaceResponse, error) {
	day, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	var l logged
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		program, err := findProgram(ctx, tx, req.GetProgramCode())
		if err != nil {
			return err
		}
		l, err = readLogged(ctx, tx, program, day)
		return err
	})
	if err != nil {
		return nil, err
	}
	measured, err := workload.FitPace(l.records, workload.DefaultPace())
	if err != nil {
		return nil, err
	}
	return &readinessv1.MeasurePaceResponse{Measured: paceToProto(measured), InUse: paceInUseToProto(l.inUse), Dogs: int32(l.dogs), Curves: int32(len(l.records)),
		Sessions: int32(l.sessions), Warnings: l.warnings(req.GetProgramCode())}, nil
}

// SetPace sets the pace of a program.
func (s *Server) SetPace(ctx context.Context, req *readinessv1.SetPaceRequest) (*readinessv1.SetPaceResponse, error) {
	pace := Pace{Pace: paceFromProto(req.GetPace()), SetAt: s.deps.Now().UTC().Truncate(time.Microsecond), SetBy: s.deps.Caller(ctx), Note: strings.TrimSpace(req.GetNote())}
	if err := pace.Validate(); err != nil {
		return nil, apperr.InvalidField("pace", err.Error(), "`longlead ready pace PROGRAM` shows what the logs speak for")
	}
	if len(pace.Note) < leastNote {
		return nil, apperr.InvalidField("note", "is empty", "say in words why; it is kept")
	}
	err := postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		program, err := findProgram(ctx, tx, req.GetProgramCode())
		if err != nil {
			return err
		}
		pace.ProgramID = program.ID
		return insertPace(ctx, tx, pace)
	})
	if err != nil {
		return nil, err
	}
	return &readinessv1.SetPaceResponse{InUse: paceInUseToProto(pace)}, nil
}

// leastNote is how long a note is at least, as the table has it.
const leastNote = 3
