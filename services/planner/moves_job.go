package planner

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

// MovesArgs are the arguments of the job that makes a study of moves.
type MovesArgs struct {
	StudyID ids.MoveStudyID `json:"study_id"`
}

// Kind names the job.
func (MovesArgs) Kind() string { return "study_moves" }

func studyLock(id ids.MoveStudyID) string { return "study of moves " + id.String() }

// noResult is what a study says before it has looked.
func noResult() MoveResult { return MoveResult{Points: []MovePoint{}, Broken: []BrokenPromise{}} }

// study makes one study. What is said of draft holds here too.
func (w *Worker) study(ctx context.Context, id ids.MoveStudyID) error {
	release, ok, err := w.lock(ctx, studyLock(id))
	if err != nil || !ok {
		return err
	}
	defer release()
	s, working, err := beginStudy(context.WithoutCancel(ctx), w.pool, id)
	if err != nil || !working {
		return err
	}
	if err = w.studyMoves(ctx, s); err != nil {
		err = fmt.Errorf("study %s: %w", id, err)
	}
	return w.end(ctx, attempt{number: s.Attempt,
		leave: func(ctx context.Context) error { return leaveStudy(ctx, w.pool, id) },
		fail: func(ctx context.Context, failure string) error {
			_, err := endStudy(ctx, w.pool, id, StudyFailed, failure)
			return err
		},
	}, err)
}

// studyMoves reads, searches and keeps.
func (w *Worker) studyMoves(ctx context.Context, s MoveStudy) error {
	in, err := ReadInputs(ctx, w.pool, s.Month)
	if err != nil {
		return err
	}
	if s.Fingerprint, err = in.Fingerprint(); err != nil {
		return err
	}
	m, err := newMoveTask(in)
	if err != nil {
		return err
	}
	curve, err := w.tradeOff(ctx, s, m)
	if err != nil {
		return err
	}
	for _, x := range curve.Points {
		// A plan that breaks a rule is a fault in the solver and must not reach anybody.
		if _, err := allocation.Check(&m.problem, x.Placements); err != nil {
			return fmt.Errorf("the plan with %d moves of %s breaks a rule: %w", x.Moves, s.Month, err)
		}
	}
	s.State, s.Phase, s.PercentDone, s.Seconds, s.Result = StudyDone, "done", 100, curve.Seconds, m.result(curve.Points)
	kept, err := keepStudy(ctx, w.pool, s)
	if err == nil && !kept {
		return errStopped
	}
	return err
}

// tradeOff searches, stores what is known while it does, and stops when the study is cancelled or the server stops.
func (w *Worker) tradeOff(ctx context.Context, s MoveStudy, m *moveTask) (allocation.TradeOffCurve, error) {
	var (
		mu     sync.Mutex
		latest = allocation.TradeOffProgress{Phase: "reading"}
	)
	watch := w.watch(ids.PlanID{}, report{}, 0)
	watch.keep = func(ctx context.Context, _ report) (order, error) {
		mu.Lock()
		now := latest
		mu.Unlock()
		s := s
		s.Phase, s.Seconds, s.Result = now.Phase, now.Seconds, m.result(now.Points)
		s.PercentDone = s.share(now)
		working, err := keepStudy(ctx, w.pool, s)
		return orderFor(working, false), err
	}
	done := make(chan struct{})
	var running sync.WaitGroup
	running.Go(func() { watch.run(ctx, done) })
	curve, err := allocation.TradeOff(&m.problem, m.promised, s.Moves, allocation.TradeOffOptions{
		Seed: uint64(s.Seed), Threads: solveThreads, Iterations: s.IterationsLimit,
		Limit: time.Duration(s.SecondsLimit) * time.Second, Cancel: watch.cancel, Warm: m.warm,
		Progress: func(x allocation.TradeOffProgress) {
			mu.Lock()
			defer mu.Unlock()
			latest = x
		}})
	close(done)
	running.Wait()
	switch {
	case watch.stopped:
		return curve, errStopped
	case ctx.Err() != nil:
		return curve, fmt.Errorf("study the moves of %s: %w", s.Month, context.Cause(ctx))
	case err != nil:
		return curve, fmt.Errorf("study the moves of %s: %w", s.Month, err)
	}
	return curve, nil
}

// share is how much of the work is done, in percent: of the time, or of the searches if that is more.
func (s MoveStudy) share(x allocation.TradeOffProgress) int {
	share := 0
	if x.Expected > 0 {
		share = 100 * x.Searches / x.Expected
	}
	return min(99, max(share, int(100*x.Seconds)/max(1, s.SecondsLimit)))
}

// rescueStudies does for studies of moves what Rescue does for drafts.
func (r *Rescuer) rescueStudies(ctx context.Context) error {
	studies, err := listStudiesTakenUp(ctx, r.pool)
	if err != nil {
		return err
	}
	for _, s := range studies {
		if err := r.rescueStudy(ctx, s); err != nil {
			return err
		}
	}
	return nil
}

func (r *Rescuer) rescueStudy(ctx context.Context, s MoveStudy) error {
	release, free, err := postgres.TryLock(ctx, r.pool, studyLock(s.ID))
	if err != nil || !free {
		return err
	}
	defer release()
	return postgres.InTx(ctx, r.pool, func(tx postgres.Tx) error {
		again, err := findStudy(ctx, tx, s.ID, true)
		if err != nil || again.State != StudyWorking || again.Attempt != s.Attempt || again.Phase == phaseRescued {
			return err
		}
		if s.Attempt >= mostAttempts {
			_, err := endStudy(ctx, tx, s.ID, StudyFailed, fmt.Sprintf("%d attempts at this study did not come to an end", s.Attempt))
			return err
		}
		r.log.WarnContext(ctx, "a study of moves lost its worker and is started again", "study", s.ID)
		return enqueueStudy(ctx, tx, r.jobs, s.ID, phaseRescued)
	})
}

// enqueueStudy adds the job of a study in the caller's transaction; phase says what the study waits for.
func enqueueStudy(ctx context.Context, tx postgres.Tx, client *jobs.Client, id ids.MoveStudyID, phase string) error {
	job, err := client.InsertTx(ctx, tx, MovesArgs{StudyID: id}, jobs.InsertOpts{Queue: Queue, MaxAttempts: mostAttempts})
	if err != nil {
		return fmt.Errorf("start a job for study %s: %w", id, err)
	}
	return setStudyJob(ctx, tx, id, job.ID, phase)
}
