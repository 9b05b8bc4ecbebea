// Package jobs runs long or delayed work in the background: solving, mail, ticks. Jobs are rows in the same Postgres
// (River's tables), so a job that is inserted in a transaction exists exactly when that transaction commits, and any
// machine that runs a Client with the job's queue may work it.
//
// A job is worked at least once. Work that was cut off (a killed process, a lost machine) is tried again by another
// client after Config.RescueAfter. Work must therefore be safe to repeat: write its result and Job.CompleteTx in one
// transaction, or keep a unique key of its own.
//
// Every program registers the work of all kinds and chooses by Config.Queues what it runs: a client that leads the
// others discards stuck jobs of kinds it does not know.
package jobs

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"github.com/longlead/longlead/services/postgres"
)

// Args are the arguments of a job: a small struct, kept as JSON, whose Kind is a stable name such as "plan_month". Put
// IDs in it, not names or addresses: it is stored for a day after the job is done.
type Args interface {
	Kind() string
}

// Job is one attempt to do a job's work.
type Job[T Args] struct {
	// ID is the number that Insert returned.
	ID int64
	// Args are as they were inserted.
	Args T
	// Attempt counts from 1; the job is given up after MaxAttempts.
	Attempt, MaxAttempts int

	row *river.Job[T]
}

// LastAttempt reports whether a failure now is final.
func (j Job[T]) LastAttempt() bool { return j.Attempt >= j.MaxAttempts }

// CompleteTx marks the job as done in the caller's transaction, so that its result and its end commit together. Return
// nil from the work after the commit.
func (j Job[T]) CompleteTx(ctx context.Context, tx postgres.Tx) error {
	if _, err := river.JobCompleteTx[*riverpgxv5.Driver](ctx, tx, j.row); err != nil {
		return fmt.Errorf("complete job %d: %w", j.ID, err)
	}
	return nil
}

// Work does a job. It has to return soon after ctx ends: at the job's time-out, when it is cancelled, or when the client
// stops. An error makes the job wait and try again, later each time; see Permanent and Later.
type Work[T Args] func(ctx context.Context, job Job[T]) error

// Permanent marks an error that no further attempt can mend: the job is cancelled instead of tried again.
func Permanent(err error) error {
	if err == nil {
		return nil
	}
	return river.JobCancel(err)
}

// Later puts the job off for d without counting the attempt.
func Later(d time.Duration) error { return river.JobSnooze(max(d, 0)) }

// Workers are the kinds of work that a program knows. Make it with NewWorkers and fill it with Add.
type Workers struct {
	river   *river.Workers
	longest time.Duration // the longest time-out of a kind
	errs    []error
}

// NewWorkers returns an empty set.
func NewWorkers() *Workers { return &Workers{river: river.NewWorkers()} }

// Add registers the work for jobs of T's kind. timeout limits one attempt; 0 means Config.JobTimeout. A kind that is
// registered twice makes New fail.
func Add[T Args](w *Workers, timeout time.Duration, work Work[T]) {
	w.longest = max(w.longest, timeout)
	if err := river.AddWorkerSafely(w.river, &worker[T]{work: work, timeout: timeout}); err != nil {
		w.errs = append(w.errs, err)
	}
}

type worker[T Args] struct {
	river.WorkerDefaults[T]
	work    Work[T]
	timeout time.Duration
}

func (w *worker[T]) Timeout(*river.Job[T]) time.Duration { return w.timeout }

func (w *worker[T]) Work(ctx context.Context, j *river.Job[T]) error {
	return w.work(ctx, Job[T]{ID: j.ID, Args: j.Args, Attempt: j.Attempt, MaxAttempts: j.MaxAttempts, row: j})
}

// Unique says when an equal job (same kind, same arguments) keeps a new one out.
type Unique uint8

// The kinds of uniqueness.
const (
	// Repeatable jobs are never kept out.
	Repeatable Unique = iota
	// OneAtATime keeps a job out while an equal one waits or runs.
	OneAtATime
	// OnceADay keeps it out also after an equal one was completed, for as long as its row is kept: a day. It is a
	// guard against doing things twice, not a promise: that needs a unique constraint on a table of ours.
	OnceADay
)

// InsertOpts adjusts one job. The zero value works.
type InsertOpts struct {
	// Queue is where the job waits. "" means DefaultQueue.
	Queue string
	// Priority is 1 (first) to 4 (last) within the queue. 0 means 1.
	Priority int
	// MaxAttempts is after how many failed attempts the job is given up. 0 means Config.MaxAttempts.
	MaxAttempts int
	// RunAt is the earliest time to work the job. The zero time means now.
	RunAt time.Time
	// Unique says when an equal job keeps this one out.
	Unique Unique
}

// DefaultQueue is the queue of a job that names none.
const DefaultQueue = river.QueueDefault

func (o InsertOpts) river() *river.InsertOpts {
	r := &river.InsertOpts{Queue: o.Queue, Priority: o.Priority, MaxAttempts: o.MaxAttempts, ScheduledAt: o.RunAt}
	states := []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRetryable,
		rivertype.JobStateRunning, rivertype.JobStateScheduled}
	switch o.Unique {
	case OneAtATime:
		r.UniqueOpts = river.UniqueOpts{ByArgs: true, ByState: states}
	case OnceADay:
		r.UniqueOpts = river.UniqueOpts{ByArgs: true, ByState: append(states, rivertype.JobStateCompleted)}
	}
	return r
}

// Inserted is the answer to an insert.
type Inserted struct {
	// ID is the job's number: that of the equal job which kept this one out when Duplicate is set.
	ID int64
	// Duplicate says that an equal job was there already.
	Duplicate bool
}

// State is where a job stands.
type State string

// The states of a job.
const (
	Waiting   State = "waiting"   // for its time, for a free worker, or to be tried again
	Running   State = "running"   //
	Done      State = "done"      //
	Cancelled State = "cancelled" // by CancelTx or by Permanent
	Failed    State = "failed"    // given up after its last attempt
)

// Final reports whether the job will not run any more.
func (s State) Final() bool { return s == Done || s == Cancelled || s == Failed }

// Status describes a job.
type Status struct {
	ID    int64
	Kind  string
	State State
	// Attempt is the number of the current or last attempt, 0 before the first.
	Attempt, MaxAttempts int
	// RunAt is when the next attempt is due, for a job that waits.
	RunAt time.Time
	// LastError is the text of the last failure, or "". It is for operators, not for owners.
	LastError string
}

func statusOf(row *rivertype.JobRow) Status {
	s := Status{ID: row.ID, Kind: row.Kind, Attempt: row.Attempt, MaxAttempts: row.MaxAttempts, RunAt: row.ScheduledAt.UTC()}
	switch row.State {
	case rivertype.JobStateRunning:
		s.State = Running
	case rivertype.JobStateCompleted:
		s.State = Done
	case rivertype.JobStateCancelled:
		s.State = Cancelled
	case rivertype.JobStateDiscarded:
		s.State = Failed
	default: // available, pending, retryable, scheduled
		s.State = Waiting
	}
	if n := len(row.Errors); n > 0 {
		s.LastError = row.Errors[n-1].Error
	}
	return s
}

var errInsertOnly = errors.New("this program only inserts jobs: it was given no queues to work")
