package training

import (
	"context"
	"time"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/postgres"
	"github.com/longlead/longlead/services/rpc"

	trainingv1 "github.com/longlead/longlead/proto/longlead/training/v1"
)

// Deps is what a Server needs; all fields are required.
type Deps struct {
	Pool *postgres.Pool
	// Now is the clock.
	Now func() time.Time
	// Caller names who makes a call, for what is kept.
	Caller func(context.Context) string
	Known  Known
}

// Server answers TrainingService.
type Server struct {
	trainingv1.UnsafeTrainingServiceServer
	deps Deps
}

var _ trainingv1.TrainingServiceServer = (*Server)(nil)

// NewServer makes a server. It panics when a dependency is missing, which is a fault in the wiring.
func NewServer(d Deps) *Server {
	if d.Pool == nil || d.Now == nil || d.Caller == nil || !d.Known.complete() {
		panic("training.NewServer: Pool, Now, Caller and Known are required")
	}
	return &Server{deps: d}
}

// ListSkills lists the ladder.
func (s *Server) ListSkills(ctx context.Context, req *trainingv1.ListSkillsRequest) (*trainingv1.ListSkillsResponse, error) {
	var (
		skills  []Skill
		targets []Target
	)
	err := postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if skills, err = ListSkills(ctx, tx); err != nil || req.GetProgramCode() == "" {
			return err
		}
		program, err := s.deps.Known.program(ctx, tx, req.GetProgramCode())
		if err != nil {
			return err
		}
		targets, err = ListTargetsOf(ctx, tx, program.ID)
		return err
	})
	if err != nil {
		return nil, err
	}
	return skillsToProto(skills, targets), nil
}

// LogSession keeps one session.
func (s *Server) LogSession(ctx context.Context, req *trainingv1.LogSessionRequest) (*trainingv1.LogSessionResponse, error) {
	session, err := s.log(ctx, req.GetEntry(), "")
	if err != nil {
		return nil, err
	}
	return &trainingv1.LogSessionResponse{Session: session}, nil
}

// LogSessions keeps a queue. Each session has a transaction of its own: one that is refused, or a call that breaks off in the
// middle, leaves those before it kept.
func (s *Server) LogSessions(ctx context.Context, req *trainingv1.LogSessionsRequest) (*trainingv1.LogSessionsResponse, error) {
	out := &trainingv1.LogSessionsResponse{}
	for _, queued := range req.GetEntries() {
		result := &trainingv1.LogResult{Key: queued.GetEntry().GetKey()}
		session, err := s.log(ctx, queued.GetEntry(), queued.GetReplacesId())
		if err == nil {
			result.Session = session
		} else if result.Refusal = refusalToProto(err); result.Refusal == nil {
			return nil, err
		}
		out.Results = append(out.Results, result)
	}
	return out, nil
}

// CorrectSession replaces a session.
func (s *Server) CorrectSession(ctx context.Context, req *trainingv1.CorrectSessionRequest) (*trainingv1.CorrectSessionResponse, error) {
	session, err := s.log(ctx, req.GetEntry(), req.GetSessionId())
	if err != nil {
		return nil, err
	}
	return &trainingv1.CorrectSessionResponse{Session: session}, nil
}

// log keeps a session or a correction, and answers with what is kept.
func (s *Server) log(ctx context.Context, e *trainingv1.Entry, replaces string) (*trainingv1.Session, error) {
	sent, err := entryFromProto(e, replaces)
	if err != nil {
		return nil, err
	}
	now, caller := s.deps.Now().UTC().Truncate(time.Microsecond), s.deps.Caller(ctx)
	var (
		kept  Session
		names codes
	)
	err = postgres.InTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		dog, err := s.deps.Known.dog(ctx, tx, sent.dog)
		if err != nil {
			return err
		}
		trainer, err := s.deps.Known.trainer(ctx, tx, sent.trainer, caller)
		if err != nil {
			return err
		}
		skills, err := ListSkills(ctx, tx)
		if err != nil {
			return err
		}
		skill, err := skillOf(skills, sent.skill)
		if err != nil {
			return err
		}
		asked := Session{ID: sent.key, Entry: sent.entry, ArrivedAt: now, LoggedBy: caller}
		asked.DogID, asked.TrainerID, asked.SkillID = dog.ID, trainer.ID, skill.ID
		if asked.Day, err = trainer.dayOf(asked.TrainedAt); err != nil {
			return err
		}
		kept, err = keep(ctx, tx, asked, dog)
		names = codes{map[ids.DogID]string{dog.ID: dog.Code}, map[ids.TrainerID]string{trainer.ID: trainer.Code}, map[ids.SkillID]string{skill.ID: skill.Code}}
		return err
	})
	if err != nil {
		return nil, err
	}
	return sessionToProto(Kept{Session: kept}, names), nil
}

// ReadSession reads what counts now, and its history.
func (s *Server) ReadSession(ctx context.Context, req *trainingv1.ReadSessionRequest) (*trainingv1.ReadSessionResponse, error) {
	id, err := ids.Parse[ids.SessionID](req.GetSessionId())
	if err != nil {
		return nil, apperr.InvalidField("session_id", err.Error(), "`longlead log list DOG` shows the IDs")
	}
	var (
		chain []Kept
		names codes
	)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) (err error) {
		if chain, err = listChain(ctx, tx, id); err != nil {
			return err
		}
		names, err = namesOf(ctx, tx, s.deps.Known, chain)
		return err
	})
	if err != nil {
		return nil, err
	}
	if len(chain) == 0 {
		return nil, sessionUnknown(id)
	}
	return &trainingv1.ReadSessionResponse{Sessions: sessionsToProto(chain, names)}, nil
}

// ListSessions lists the sessions of a dog.
func (s *Server) ListSessions(ctx context.Context, req *trainingv1.ListSessionsRequest) (*trainingv1.ListSessionsResponse, error) {
	from, before, err := dayLimits(req)
	if err != nil {
		return nil, err
	}
	var (
		kept  []Kept
		names codes
	)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		dog, err := s.deps.Known.dog(ctx, tx, req.GetDogCode())
		if err != nil {
			return err
		}
		if kept, err = listSessionsOf(ctx, tx, []ids.DogID{dog.ID}, from, before, req.GetWithHistory()); err != nil {
			return err
		}
		names, err = namesOf(ctx, tx, s.deps.Known, kept)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &trainingv1.ListSessionsResponse{Sessions: sessionsToProto(kept, names)}, nil
}

// ListTrainerSessions lists what a trainer has logged of a day.
func (s *Server) ListTrainerSessions(ctx context.Context, req *trainingv1.ListTrainerSessionsRequest) (*trainingv1.ListTrainerSessionsResponse, error) {
	day, err := rpc.Day("day", req.GetDay())
	if err != nil {
		return nil, err
	}
	var (
		kept  []Kept
		names codes
	)
	err = postgres.ReadTx(ctx, s.deps.Pool, func(tx postgres.Tx) error {
		trainer, err := s.deps.Known.trainer(ctx, tx, req.GetTrainerCode(), "")
		if err != nil {
			return err
		}
		if kept, err = listSessionsBy(ctx, tx, trainer.ID, day); err != nil {
			return err
		}
		names, err = namesOf(ctx, tx, s.deps.Known, kept)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &trainingv1.ListTrainerSessionsResponse{Sessions: sessionsToProto(kept, names)}, nil
}

// dayLimits reads the days of a request; an absent one is no limit. before is the day after the last.
func dayLimits(req *trainingv1.ListSessionsRequest) (from, before calendar.Date, err error) {
	var last calendar.Date
	for _, field := range []struct {
		path, text string
		day        *calendar.Date
	}{{"first_day", req.GetFirstDay(), &from}, {"last_day", req.GetLastDay(), &last}} {
		if field.text == "" {
			continue
		}
		if *field.day, err = rpc.Day(field.path, field.text); err != nil {
			return from, before, err
		}
	}
	if !last.IsZero() {
		before = last.AddDays(1)
	}
	if !from.IsZero() && !last.IsZero() && last.Before(from) {
		return from, before, apperr.InvalidField("last_day", "must not be before the first day", "write the last day, or the first day again for one day")
	}
	return from, before, nil
}
