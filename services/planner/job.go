package planner

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

const (
	// Queue is where drafts wait for a worker.
	Queue = "plans"
	// mostAttempts is how many workers may take a draft up before it is given up.
	mostAttempts = 4
	// draftTimeout ends an attempt that hangs; the longest search a caller can ask for is 10 minutes.
	draftTimeout = 15 * time.Minute
	// solveThreads is the same on every machine, so that a draft that is limited in iterations is the same on every machine.
	solveThreads = 2
	// reportEvery is how often progress is stored, and so how soon a cancelled draft stops.
	reportEvery = 250 * time.Millisecond
	// RescueEvery is how often drafts of dead workers are looked for.
	RescueEvery = 2 * time.Second
)

// DraftArgs are the arguments of the job that makes a draft.
type DraftArgs struct {
	PlanID ids.PlanID `json:"plan_id"`
}

// Kind names the job.
func (DraftArgs) Kind() string { return "draft_month_plan" }

// Worker makes drafts. Any number of them may run, on any number of machines.
type Worker struct {
	pool *postgres.Pool
	log  *slog.Logger
}

// NewWorker makes a worker.
func NewWorker(pool *postgres.Pool, log *slog.Logger) *Worker { return &Worker{pool: pool, log: log} }

// Register adds the work to a set of workers.
func (w *Worker) Register(set *jobs.Workers) {
	jobs.Add(set, draftTimeout, func(ctx context.Context, job jobs.Job[DraftArgs]) error {
		return w.draft(ctx, job.Args.PlanID)
	})
}

// lockName is the lock that the worker of a plan holds while it lives; see postgres.TryLock.
func lockName(id ids.PlanID) string { return "plan " + id.String() }

// draft makes one draft. Whatever happens, the plan ends in a stated way: a draft, cancelled, or failed with its reason. When
// an attempt fails that may go better the next time, the plan stays as it is and Rescuer starts another.
func (w *Worker) draft(ctx context.Context, id ids.PlanID) error {
	release, ok, err := postgres.TryLock(ctx, w.pool, lockName(id))
	if err != nil {
		return err
	}
	if !ok {
		// Somebody works on it. If that worker dies, Rescuer starts another job.
		return nil
	}
	defer release()
	plan, drafting, err := beginWork(ctx, w.pool, id)
	if err != nil || !drafting {
		return err
	}
	err = w.make(ctx, plan)
	switch {
	case err == nil, errors.Is(err, errStopped):
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		w.log.InfoContext(ctx, "a draft was left for another worker: this one stops", "plan", id)
		return leaveWork(context.WithoutCancel(ctx), w.pool, id)
	}
	w.log.ErrorContext(ctx, "drafting failed", "plan", id, "attempt", plan.Attempt, "error", err)
	if plan.Attempt < mostAttempts && apperr.KindOf(err) == apperr.Internal {
		return nil
	}
	_, err = endDraft(context.WithoutCancel(ctx), w.pool, id, StateFailed, failureWords(err))
	return err
}

// failureWords is what people are told of a failure; the log has the rest.
func failureWords(err error) string {
	if known, ok := apperr.From(err); ok {
		return known.Message
	}
	return "something went wrong on our side; the log has the details"
}

// errStopped says that a draft was ended by somebody else while it was being made.
var errStopped = errors.New("the draft was stopped")

// make reads, solves, checks and keeps.
func (w *Worker) make(ctx context.Context, plan Plan) error {
	in, err := ReadInputs(ctx, w.pool, plan.Month)
	if err != nil {
		return err
	}
	if plan.Fingerprint, err = in.Fingerprint(); err != nil {
		return err
	}
	t, err := buildTask(in)
	if err != nil {
		return err
	}
	solution, err := w.solve(ctx, plan, t)
	if err != nil {
		return err
	}
	// A plan that breaks a rule is a fault in the solver and must not reach anybody.
	if _, err := allocation.Check(&t.problem, solution.Placements); err != nil {
		return fmt.Errorf("the solver's plan of %s breaks a rule: %w", plan.Month, err)
	}
	out, err := newOutcome(t, solution, plan.ID)
	if err != nil {
		return err
	}
	bound := solution.Bound
	plan.Value, plan.Bound, plan.Seconds, plan.Policy = solution.Value, &bound, solution.Seconds, in.Policy
	plan.Requests, plan.Placed = len(in.Cases), len(out.placements)
	kept := false
	err = postgres.InTx(ctx, w.pool, func(tx postgres.Tx) error {
		kept, err = keepDraft(ctx, tx, plan, out)
		return err
	})
	if err == nil && !kept {
		return errStopped
	}
	return err
}

// ReadInputs reads what a plan of a month depends on, from one snapshot.
func ReadInputs(ctx context.Context, pool *postgres.Pool, month calendar.Month) (Inputs, error) {
	var in Inputs
	err := postgres.ReadTx(ctx, pool, func(tx postgres.Tx) (err error) {
		in, err = readInputs(ctx, tx, month)
		return err
	})
	return in, err
}

// solve searches, stores progress while it does, and stops when the plan is cancelled or the server stops.
func (w *Worker) solve(ctx context.Context, plan Plan, t *task) (allocation.Solution, error) {
	watch := &watcher{pool: w.pool, log: w.log, plan: plan.ID, cancel: make(chan struct{}), settled: len(t.settled)}
	watch.latest = report{phase: "solving", requests: len(t.candidates) + len(t.settled), bound: t.easyBound(), placed: len(t.settled)}
	done := make(chan struct{})
	var running sync.WaitGroup
	running.Go(func() { watch.run(ctx, done) })
	solution, err := allocation.Solve(&t.problem, allocation.Options{
		Seed: uint64(plan.Seed), Threads: solveThreads, Iterations: plan.IterationsLimit,
		Limit: time.Duration(plan.SecondsLimit) * time.Second, Cancel: watch.cancel, Warm: t.warm, Progress: watch.note,
	})
	close(done)
	running.Wait()
	switch {
	case watch.stopped:
		return solution, errStopped
	case ctx.Err() != nil:
		return solution, fmt.Errorf("solve %s: %w", plan.Month, context.Cause(ctx))
	case err != nil:
		return solution, fmt.Errorf("solve %s: %w", plan.Month, err)
	}
	return solution, nil
}

// easyBound is a bound that needs no search: the best choice of every dog, as if there were room for all.
func (t *task) easyBound() int64 {
	var total int64
	for _, dog := range t.problem.Dogs {
		best := 0
		for _, g := range dog.Placements {
			run, trainer := leastPenalties(g)
			best = max(best, g.Value-run-trainer)
		}
		total += int64(best)
	}
	return total
}

func leastPenalties(g allocation.Group) (run, trainer int) {
	run, trainer = g.Runs[0].Penalty, g.Trainers[0].Penalty
	for _, r := range g.Runs {
		run = min(run, r.Penalty)
	}
	for _, tr := range g.Trainers {
		trainer = min(trainer, tr.Penalty)
	}
	return run, trainer
}

// watcher carries progress from the search to the database and the wish to stop from the database to the search.
type watcher struct {
	pool    *postgres.Pool
	log     *slog.Logger
	plan    ids.PlanID
	settled int
	cancel  chan struct{}
	// stopped is set when the plan was ended by somebody else; read it after run has returned.
	stopped bool

	mu     sync.Mutex
	latest report
}

func (w *watcher) note(p allocation.Progress) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.latest.phase, w.latest.value, w.latest.bound, w.latest.seconds = p.Phase, p.Value, p.Bound, p.Seconds
	w.latest.placed = p.Placed + w.settled
}

// run stores the latest report again and again until done, and closes cancel when the search should end early.
func (w *watcher) run(ctx context.Context, done <-chan struct{}) {
	ticker := time.NewTicker(reportEvery)
	defer ticker.Stop()
	for {
		w.mu.Lock()
		latest := w.latest
		w.mu.Unlock()
		drafting, err := keepReport(ctx, w.pool, w.plan, latest)
		if err != nil && ctx.Err() == nil {
			w.log.WarnContext(ctx, "progress of a draft was not stored", "plan", w.plan, "error", err)
		}
		if (err == nil && !drafting) || ctx.Err() != nil {
			w.stopped = ctx.Err() == nil
			close(w.cancel)
			return
		}
		select {
		case <-done:
			return
		case <-ctx.Done():
		case <-ticker.C:
		}
	}
}

// Rescuer looks for drafts whose worker died, and starts another job for each.
type Rescuer struct {
	pool *postgres.Pool
	jobs *jobs.Client
	log  *slog.Logger
}

// NewRescuer makes a rescuer.
func NewRescuer(pool *postgres.Pool, client *jobs.Client, log *slog.Logger) *Rescuer {
	return &Rescuer{pool: pool, jobs: client, log: log}
}

// Run rescues every RescueEvery until ctx ends.
func (r *Rescuer) Run(ctx context.Context) {
	ticker := time.NewTicker(RescueEvery)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			if err := r.Rescue(ctx); err != nil && ctx.Err() == nil {
				r.log.WarnContext(ctx, "looking for abandoned drafts failed", "error", err)
			}
		}
	}
}

// Rescue looks once. A draft that was taken up and whose lock nobody holds has lost its worker.
func (r *Rescuer) Rescue(ctx context.Context) error {
	plans, err := listTakenUp(ctx, r.pool)
	if err != nil {
		return err
	}
	for _, plan := range plans {
		if err := r.rescue(ctx, plan); err != nil {
			return err
		}
	}
	return nil
}

func (r *Rescuer) rescue(ctx context.Context, plan Plan) error {
	release, free, err := postgres.TryLock(ctx, r.pool, lockName(plan.ID))
	if err != nil || !free {
		return err
	}
	defer release()
	if plan.Attempt >= mostAttempts {
		_, err := endDraft(ctx, r.pool, plan.ID, StateFailed, fmt.Sprintf("%d attempts at this draft did not come to an end", plan.Attempt))
		return err
	}
	return postgres.InTx(ctx, r.pool, func(tx postgres.Tx) error {
		again, err := findPlan(ctx, tx, plan.ID, true)
		if err != nil || again.State != StateDrafting || again.Attempt != plan.Attempt || again.Phase == phaseRescued {
			return err
		}
		r.log.WarnContext(ctx, "a draft lost its worker and is started again", "plan", plan.ID)
		if err := setPhase(ctx, tx, plan.ID, phaseRescued); err != nil {
			return err
		}
		return enqueue(ctx, tx, r.jobs, plan.ID)
	})
}

// phaseLeft marks a draft whose worker was told to stop, phaseRescued one whose new job waits, so that it is not started again
// meanwhile.
const (
	phaseLeft    = "left by its worker"
	phaseRescued = "waiting for another worker"
)

// enqueue adds the job of a plan in the caller's transaction.
func enqueue(ctx context.Context, tx postgres.Tx, client *jobs.Client, id ids.PlanID) error {
	job, err := client.InsertTx(ctx, tx, DraftArgs{PlanID: id}, jobs.InsertOpts{Queue: Queue, MaxAttempts: mostAttempts})
	if err != nil {
		return fmt.Errorf("start a job for plan %s: %w", id, err)
	}
	return setJob(ctx, tx, id, job.ID)
}
