package planner

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

// Rescuer looks for drafts and regions whose worker died, and starts another job for each.
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

// Rescue looks once. A draft or a region that was taken up and whose lock nobody holds has lost its worker.
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
	regions, err := listRegionsTakenUp(ctx, r.pool)
	if err != nil {
		return err
	}
	for _, one := range regions {
		if err := r.rescueRegion(ctx, one); err != nil {
			return err
		}
	}
	return r.rescueStudies(ctx)
}

func (r *Rescuer) rescue(ctx context.Context, plan Plan) error {
	release, free, err := postgres.TryLock(ctx, r.pool, lockName(plan.ID))
	if err != nil || !free {
		return err
	}
	defer release()
	return postgres.InTx(ctx, r.pool, func(tx postgres.Tx) error {
		again, err := findPlan(ctx, tx, plan.ID, true)
		if err != nil || again.State != StateDrafting || again.Attempt != plan.Attempt || again.Phase == phaseRescued {
			return err
		}
		if plan.Attempt >= mostAttempts {
			_, err := endDraft(ctx, tx, plan.ID, StateFailed, fmt.Sprintf("%d attempts at this draft did not come to an end", plan.Attempt))
			return err
		}
		r.log.WarnContext(ctx, "a draft lost its worker and is started again", "plan", plan.ID)
		if err := setPhase(ctx, tx, plan.ID, phaseRescued); err != nil {
			return err
		}
		return enqueue(ctx, tx, r.jobs, plan.ID)
	})
}

func (r *Rescuer) rescueRegion(ctx context.Context, one takenUp) error {
	release, free, err := postgres.TryLock(ctx, r.pool, regionLock(one.PlanID, one.Number))
	if err != nil || !free {
		return err
	}
	defer release()
	return postgres.InTx(ctx, r.pool, func(tx postgres.Tx) error {
		if drafting, err := lockDrafting(ctx, tx, one.PlanID); err != nil || !drafting {
			return err
		}
		if marked, err := markRescued(ctx, tx, one); err != nil || !marked {
			return err
		}
		if one.Attempt >= mostAttempts {
			_, err := endDraft(ctx, tx, one.PlanID, StateFailed, fmt.Sprintf("%d attempts at region %d of this draft did not come to an end", one.Attempt, one.Number))
			return err
		}
		r.log.WarnContext(ctx, "a region of a draft lost its worker and is started again", "plan", one.PlanID, "region", one.Number)
		_, err := r.jobs.InsertManyTx(ctx, tx, []jobs.Insertion{regionJob(one.PlanID, one.Number)})
		return err
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
