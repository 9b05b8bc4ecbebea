package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/postgres"
)

// Config adjusts a Client. The zero value makes one that only inserts and cancels jobs.
type Config struct {
	// Queues are the queues to work and how many jobs of each at the same time. None: insert only.
	Queues map[string]int
	// Periodic are jobs inserted on a schedule by one of the running clients, the same whichever it is.
	Periodic []Periodic
	// Logger receives failures and warnings, without arguments and without e-mail addresses. Nil discards them.
	Logger *slog.Logger
	// JobTimeout limits one attempt of a kind that has no limit of its own. 0 means 5 min.
	JobTimeout time.Duration
	// MaxAttempts is after how many failed attempts a job is given up. 0 means 10.
	MaxAttempts int
	// Retry is the pause after failed attempt n (from 1). Nil means n to the fourth seconds, give or take a tenth.
	Retry func(n int) time.Duration
	// StopSoftly is how long Stop lets running jobs finish before their contexts end. 0 means 20 s.
	StopSoftly time.Duration
	// RescueAfter is when a job that still counts as running is taken for lost. It has to be longer than every
	// time-out. 0 means one minute longer than the longest.
	RescueAfter time.Duration
}

const (
	defaultJobTimeout  = 5 * time.Minute
	defaultMaxAttempts = 10
	defaultStopSoftly  = 20 * time.Second
	rescueMargin       = time.Minute
	hardStopLimit      = 10 * time.Second
)

// Client inserts jobs and, once started, works them. It is safe for concurrent use.
type Client struct {
	river  *river.Client[postgres.Tx]
	worker bool

	mu      sync.Mutex
	running bool
}

// New checks the configuration and returns a client; Start begins work. workers may be nil when there are no queues;
// when it is not, a job of an unknown kind cannot be inserted.
func New(pool *postgres.Pool, workers *Workers, cfg Config) (*Client, error) {
	rc, err := riverConfig(workers, cfg)
	if err != nil {
		return nil, err
	}
	c, err := river.NewClient(riverpgxv5.New(pool), rc)
	if err != nil {
		return nil, fmt.Errorf("set up background jobs: %w", err)
	}
	return &Client{river: c, worker: len(cfg.Queues) > 0}, nil
}

func riverConfig(workers *Workers, cfg Config) (*river.Config, error) {
	if len(cfg.Queues) > 0 && workers == nil {
		return nil, errors.New("set up background jobs: queues to work need workers")
	}
	if cfg.JobTimeout == 0 {
		cfg.JobTimeout = defaultJobTimeout
	}
	if cfg.MaxAttempts == 0 {
		cfg.MaxAttempts = defaultMaxAttempts
	}
	if cfg.StopSoftly == 0 {
		cfg.StopSoftly = defaultStopSoftly
	}
	log := logger(cfg.Logger)
	rc := &river.Config{
		JobTimeout: cfg.JobTimeout, MaxAttempts: cfg.MaxAttempts, SoftStopTimeout: cfg.StopSoftly,
		Logger: log, ErrorHandler: &failures{log: log},
	}
	if cfg.Retry != nil {
		rc.RetryPolicy = retryPolicy(cfg.Retry)
	}
	longest := cfg.JobTimeout
	if workers != nil {
		if err := errors.Join(workers.errs...); err != nil {
			return nil, fmt.Errorf("set up background jobs: %w", err)
		}
		rc.Workers = workers.river
		longest = max(longest, workers.longest)
	}
	rc.RescueStuckJobsAfter = cfg.RescueAfter
	if cfg.RescueAfter == 0 {
		rc.RescueStuckJobsAfter = longest + rescueMargin
	} else if cfg.RescueAfter <= longest {
		return nil, fmt.Errorf("set up background jobs: jobs are taken for lost after %v, but may run for %v", cfg.RescueAfter, longest)
	}
	if len(cfg.Queues) > 0 {
		rc.Queues = map[string]river.QueueConfig{}
		for name, n := range cfg.Queues {
			rc.Queues[name] = river.QueueConfig{MaxWorkers: n}
		}
	}
	for _, p := range cfg.Periodic {
		job, err := p.river()
		if err != nil {
			return nil, err
		}
		rc.PeriodicJobs = append(rc.PeriodicJobs, job)
	}
	return rc, nil
}

type retryPolicy func(n int) time.Duration

// NextRetry adds the pause to the present time.
func (p retryPolicy) NextRetry(job *rivertype.JobRow) time.Time {
	return time.Now().Add(p(len(job.Errors) + 1))
}

// Start begins to work the queues and returns. Only Stop ends the work: cancelling ctx later has no effect on it.
func (c *Client) Start(ctx context.Context) error {
	if !c.worker {
		return errInsertOnly
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.river.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("start background jobs: %w", err)
	}
	c.running = true
	return nil
}

// Stop takes no new jobs and returns when the running ones have ended. Their contexts end after Config.StopSoftly, or
// when ctx does; a job that does not heed that keeps Stop for at most another 10 s and is tried again elsewhere later.
// Stopping a client that does not run is harmless.
func (c *Client) Stop(ctx context.Context) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.running {
		return nil
	}
	c.running = false
	err := c.river.Stop(ctx)
	if err != nil && ctx.Err() != nil {
		hard, cancel := context.WithTimeout(context.WithoutCancel(ctx), hardStopLimit)
		defer cancel()
		err = c.river.StopAndCancel(hard)
	}
	if err != nil {
		return fmt.Errorf("stop background jobs: %w", err)
	}
	return nil
}

// InsertTx adds a job that exists when tx commits.
func (c *Client) InsertTx(ctx context.Context, tx postgres.Tx, args Args, opts InsertOpts) (Inserted, error) {
	return inserted(args)(c.river.InsertTx(ctx, tx, args, opts.river()))
}

// Insertion is one of many jobs to insert.
type Insertion struct {
	Args Args
	Opts InsertOpts
}

// InsertManyTx adds jobs that exist when tx commits, with one statement. The answers are in the order of the jobs.
func (c *Client) InsertManyTx(ctx context.Context, tx postgres.Tx, jobs []Insertion) ([]Inserted, error) {
	if len(jobs) == 0 {
		return nil, nil
	}
	params := make([]river.InsertManyParams, len(jobs))
	for i, j := range jobs {
		params[i] = river.InsertManyParams{Args: j.Args, InsertOpts: j.Opts.river()}
	}
	results, err := c.river.InsertManyTx(ctx, tx, params)
	if err != nil {
		return nil, fmt.Errorf("insert %d jobs: %w", len(jobs), err)
	}
	all := make([]Inserted, len(results))
	for i, r := range results {
		all[i] = Inserted{ID: r.Job.ID, Duplicate: r.UniqueSkippedAsDuplicate}
	}
	return all, nil
}

// Insert adds a job at once.
func (c *Client) Insert(ctx context.Context, args Args, opts InsertOpts) (Inserted, error) {
	return inserted(args)(c.river.Insert(ctx, args, opts.river()))
}

func inserted(args Args) func(*rivertype.JobInsertResult, error) (Inserted, error) {
	return func(res *rivertype.JobInsertResult, err error) (Inserted, error) {
		if err != nil {
			return Inserted{}, fmt.Errorf("insert a job %s: %w", args.Kind(), err)
		}
		return Inserted{ID: res.Job.ID, Duplicate: res.UniqueSkippedAsDuplicate}, nil
	}
}

// CancelTx makes the job end when tx commits: one that waits never runs, one that runs has its context cancelled,
// wherever that is. A job that has ended stays as it is. An unknown job is NotFound.
func (c *Client) CancelTx(ctx context.Context, tx postgres.Tx, id int64) (Status, error) {
	return status(id, "cancel")(c.river.JobCancelTx(ctx, tx, id))
}

// Find tells where a job stands. Jobs are forgotten a day after they are done or cancelled, a week after they failed;
// then, and for an unknown job, the error is NotFound.
func (c *Client) Find(ctx context.Context, id int64) (Status, error) {
	return status(id, "find")(c.river.JobGet(ctx, id))
}

func status(id int64, doing string) func(*rivertype.JobRow, error) (Status, error) {
	return func(row *rivertype.JobRow, err error) (Status, error) {
		if errors.Is(err, rivertype.ErrNotFound) {
			return Status{}, apperr.NotFoundf("JOB_NOT_FOUND", "There is no background job %d (any more).", id)
		}
		if err != nil {
			return Status{}, fmt.Errorf("%s job %d: %w", doing, id, err)
		}
		return statusOf(row), nil
	}
}
