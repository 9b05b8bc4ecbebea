package planner

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime"
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
	// lockTries and lockPause are for how long a worker waits for a lock: a Rescuer that looks whether it is free has it for a
	// moment.
	lockTries = 10
	lockPause = 100 * time.Millisecond
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
	jobs *jobs.Client
	log  *slog.Logger
}

// NewWorker makes a worker. It starts further jobs with client, which need not work on any.
func NewWorker(pool *postgres.Pool, client *jobs.Client, log *slog.Logger) *Worker {
	return &Worker{pool: pool, jobs: client, log: log}
}

// JobsAtOnce is how many jobs of Queue one process does well to work on at a time: as many as it has processors for, and as
// leave some connections of the pool to others, since each holds one for its lock and reports over another.
func JobsAtOnce(pool *postgres.Pool) int {
	return max(1, min(runtime.GOMAXPROCS(0)/solveThreads, int(pool.Config().MaxConns-4)/2))
}

// Register adds the work to a set of workers.
func (w *Worker) Register(set *jobs.Workers) {
	jobs.Add(set, draftTimeout, func(ctx context.Context, job jobs.Job[DraftArgs]) error {
		return w.draft(ctx, job.Args.PlanID)
	})
	jobs.Add(set, draftTimeout, func(ctx context.Context, job jobs.Job[RegionArgs]) error {
		return w.region(ctx, job.Args)
	})
	jobs.Add(set, draftTimeout, func(ctx context.Context, job jobs.Job[MovesArgs]) error {
		return w.study(ctx, job.Args.StudyID)
	})
}

// lockName is the lock that the worker of a plan holds while it lives; see postgres.TryLock.
func lockName(id ids.PlanID) string { return "plan " + id.String() }

// lock takes a lock. ok is false when a worker has it: if that one dies, Rescuer starts another job.
func (w *Worker) lock(ctx context.Context, name string) (release func(), ok bool, err error) {
	for range lockTries {
		if release, ok, err = postgres.TryLock(ctx, w.pool, name); err != nil || ok {
			return release, ok, err
		}
		select {
		case <-ctx.Done():
			return nil, false, context.Cause(ctx)
		case <-time.After(lockPause):
		}
	}
	return nil, false, nil
}

// draft makes one draft, or divides it into regions, or joins them. Whatever happens, the plan ends in a stated way: a draft,
// cancelled, or failed with its reason. When an attempt fails that may go better the next time, the plan stays as it is and
// Rescuer starts another.
func (w *Worker) draft(ctx context.Context, id ids.PlanID) error {
	release, ok, err := w.lock(ctx, lockName(id))
	if err != nil || !ok {
		return err
	}
	defer release()
	// A worker told to stop at this moment must know whether it has taken an attempt, to give it back.
	plan, drafting, err := beginWork(context.WithoutCancel(ctx), w.pool, id)
	if err != nil || !drafting {
		return err
	}
	return w.end(ctx, attempt{plan: id, number: plan.Attempt, leave: func(ctx context.Context) error { return leaveWork(ctx, w.pool, id) }}, w.make(ctx, plan))
}

// attempt is one worker's try at a draft or at a region of one.
type attempt struct {
	plan   ids.PlanID
	number int
	// leave gives the attempt back.
	leave func(context.Context) error
	// fail ends the work with words for people; absent where the work is the plan's.
	fail func(ctx context.Context, failure string) error
}

// end does what an attempt's error asks for.
func (w *Worker) end(ctx context.Context, a attempt, err error) error {
	switch {
	case err == nil, errors.Is(err, errStopped):
		return nil
	case errors.Is(ctx.Err(), context.Canceled):
		w.log.InfoContext(ctx, "a draft was left for another worker: this one stops", "plan", a.plan)
		return a.leave(context.WithoutCancel(ctx))
	}
	w.log.ErrorContext(ctx, "drafting failed", "plan", a.plan, "attempt", a.number, "error", err)
	if a.number < mostAttempts && apperr.KindOf(err) == apperr.Internal {
		return nil
	}
	if a.fail != nil {
		return a.fail(context.WithoutCancel(ctx), failureWords(err))
	}
	_, err = endDraft(context.WithoutCancel(ctx), w.pool, a.plan, StateFailed, failureWords(err))
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

// make reads, solves, checks and keeps; or leaves the solving to jobs for each region, and joins what they found.
func (w *Worker) make(ctx context.Context, plan Plan) error {
	d, divided, err := findDivision(ctx, w.pool, plan.ID)
	if err != nil {
		return err
	}
	if divided {
		return w.join(ctx, plan, d)
	}
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
	if parts := allocation.Split(&t.problem, leastRegion); len(parts) > 1 {
		return w.divide(ctx, plan, in, t, parts)
	}
	watch := w.watch(plan.ID, report{phase: "solving", requests: len(t.candidates) + len(t.settled), bound: easyBound(&t.problem)}, len(t.settled))
	watch.keep = func(ctx context.Context, latest report) (order, error) {
		return keepReport(ctx, w.pool, plan.ID, latest)
	}
	solution, err := w.solve(ctx, plan, &t.problem, t.warm, watch)
	if err != nil {
		return err
	}
	return w.keep(ctx, plan, in, t, solution)
}

// keep checks a solution, turns it into a plan and stores that.
func (w *Worker) keep(ctx context.Context, plan Plan, in Inputs, t *task, solution allocation.Solution) error {
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

// solve searches, stores progress while it does, and stops when the plan is cancelled or the server stops, or with the best plan so far
// when somebody asked for that.
func (w *Worker) solve(ctx context.Context, plan Plan, p *allocation.Problem, start []allocation.Placement, watch *watcher) (allocation.Solution, error) {
	done := make(chan struct{})
	var running sync.WaitGroup
	running.Go(func() { watch.run(ctx, done) })
	solution, err := allocation.Solve(p, allocation.Options{
		Seed: uint64(plan.Seed), Threads: solveThreads, Iterations: plan.IterationsLimit,
		Limit: time.Duration(plan.SecondsLimit) * time.Second, Cancel: watch.cancel, Enough: watch.enough, Warm: start, Progress: watch.note,
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
func easyBound(p *allocation.Problem) int64 {
	var total int64
	for _, dog := range p.Dogs {
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
	log     *slog.Logger
	plan    ids.PlanID
	settled int
	// cancel ends the search with nothing, enough with the best plan so far.
	cancel, enough chan struct{}
	// keep stores a report, and tells what to do next.
	keep func(context.Context, report) (order, error)
	// stopped is set when the plan was ended by somebody else; read it after run has returned.
	stopped bool

	mu     sync.Mutex
	latest report
}

// watch makes a watcher that begins with a first report; settled are placed whatever the search finds.
func (w *Worker) watch(plan ids.PlanID, first report, settled int) *watcher {
	first.placed = settled
	return &watcher{log: w.log, plan: plan, settled: settled, cancel: make(chan struct{}), enough: make(chan struct{}), latest: first}
}

func (w *watcher) note(p allocation.Progress) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.latest.phase, w.latest.value, w.latest.bound, w.latest.seconds = p.Phase, p.Value, p.Bound, p.Seconds
	w.latest.placed = p.Placed + w.settled
}

// run stores the latest report again and again until done, and closes cancel or enough when the search should end early.
func (w *watcher) run(ctx context.Context, done <-chan struct{}) {
	ticker := time.NewTicker(reportEvery)
	defer ticker.Stop()
	for finishing := false; ; {
		w.mu.Lock()
		latest := w.latest
		w.mu.Unlock()
		next, err := w.keep(ctx, latest)
		if err != nil && ctx.Err() == nil {
			w.log.WarnContext(ctx, "progress of a draft was not stored", "plan", w.plan, "error", err)
		}
		if (err == nil && next == orderStop) || ctx.Err() != nil {
			w.stopped = ctx.Err() == nil
			close(w.cancel)
			return
		}
		if next == orderFinish && !finishing {
			finishing = true
			close(w.enough)
		}
		select {
		case <-done:
			return
		case <-ctx.Done():
		case <-ticker.C:
		}
	}
}
