package planner

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"

	"github.com/longlead/longlead/services/allocation"
	"github.com/longlead/longlead/services/ids"
	"github.com/longlead/longlead/services/jobs"
	"github.com/longlead/longlead/services/postgres"
)

// A month whose requests fall into regions, which share no site, trainer or household, is drafted in regions: the draft's job
// stores each region's problem and starts a job for each; any worker solves any of them; the one that stores the last solution
// starts the draft's job again, which joins them. All of them plan from the one snapshot that was read at the start, so a change
// of the inputs meanwhile means for a plan in regions what it means for any other: it is made, and publishing refuses it.

// leastRegion is how many requests a region has at least: 30 to 40 dogs are solved to a proven or nearly proven plan within a
// few seconds, so for less than this a job of its own would gain nothing, and a small school has one search with one limit.
const leastRegion = 100

// regionPriority lets a draft that is one search go before the regions of a large one that wait.
const regionPriority = 2

// RegionArgs are the arguments of the job that solves one region of a draft.
type RegionArgs struct {
	PlanID ids.PlanID `json:"plan_id"`
	Number int        `json:"number"`
}

// Kind names the job.
func (RegionArgs) Kind() string { return "draft_region" }

// division is what the regions of a plan have in common.
type division struct {
	PlanID ids.PlanID `db:"plan_id"`
	// Inputs is the snapshot, as packed by packInputs.
	Inputs      []byte `db:"inputs"`
	Fingerprint string `db:"fingerprint"`
	// Settled counts requests of the month whose stay stands already.
	Settled int `db:"settled"`
}

// region is a part of a draft that is solved by a job of its own.
type region struct {
	PlanID  ids.PlanID      `db:"plan_id"`
	Number  int             `db:"number"`
	Part    allocation.Part `db:"part"`
	Problem []byte          `db:"problem"`
	// Start is the promises that may move, in the part's indices.
	Start    []allocation.Placement `db:"start"`
	Attempt  int                    `db:"attempt"`
	Phase    string                 `db:"phase"`
	Value    int64                  `db:"value"`
	Bound    int64                  `db:"bound"`
	Solution *allocation.Solution   `db:"solution"`
}

func regionLock(id ids.PlanID, number int) string {
	return fmt.Sprintf("%s region %d", lockName(id), number)
}

// divide stores the regions of a draft and their jobs, in one transaction.
func (w *Worker) divide(ctx context.Context, plan Plan, in Inputs, t *task, parts []allocation.Part) error {
	packed, err := packInputs(in)
	if err != nil {
		return err
	}
	d := division{PlanID: plan.ID, Inputs: packed, Fingerprint: plan.Fingerprint, Settled: len(t.settled)}
	plan.Requests = len(in.Cases)
	regions := make([]region, len(parts))
	insertions := make([]jobs.Insertion, len(parts))
	for i, part := range parts {
		problem := part.Problem(&t.problem)
		r := region{PlanID: plan.ID, Number: i + 1, Part: part, Start: append([]allocation.Placement{}, part.Start(t.warm)...), Bound: easyBound(problem)}
		if r.Problem, err = packProblem(problem); err != nil {
			return err
		}
		regions[i] = r
		insertions[i] = regionJob(plan.ID, r.Number)
	}
	divided := false
	err = postgres.InTx(ctx, w.pool, func(tx postgres.Tx) error {
		if divided, err = insertDivision(ctx, tx, plan, d, regions); err != nil || !divided {
			return err
		}
		_, err = w.jobs.InsertManyTx(ctx, tx, insertions)
		return err
	})
	if err == nil && !divided {
		return errStopped
	}
	return err
}

func regionJob(id ids.PlanID, number int) jobs.Insertion {
	return jobs.Insertion{Args: RegionArgs{PlanID: id, Number: number}, Opts: jobs.InsertOpts{Queue: Queue, Priority: regionPriority, MaxAttempts: mostAttempts}}
}

// region solves one region. What is said of draft holds here too.
func (w *Worker) region(ctx context.Context, args RegionArgs) error {
	release, ok, err := w.lock(ctx, regionLock(args.PlanID, args.Number))
	if err != nil || !ok {
		return err
	}
	defer release()
	r, open, err := beginRegion(context.WithoutCancel(ctx), w.pool, args.PlanID, args.Number)
	if err != nil || !open {
		return err
	}
	return w.end(ctx, attempt{plan: r.PlanID, number: r.Attempt, leave: func(ctx context.Context) error {
		return leaveRegion(ctx, w.pool, r.PlanID, r.Number)
	}}, w.solveRegion(ctx, r))
}

func (w *Worker) solveRegion(ctx context.Context, r region) error {
	plan, err := findPlan(ctx, w.pool, r.PlanID, false)
	if err != nil {
		return err
	}
	problem, err := allocation.ReadProblem(bytes.NewReader(r.Problem))
	if err != nil {
		return fmt.Errorf("read region %d: %w", r.Number, err)
	}
	watch := w.watch(r.PlanID, report{phase: "solving", bound: r.Bound}, 0)
	watch.keep = func(ctx context.Context, latest report) (next order, err error) {
		err = postgres.InTx(ctx, w.pool, func(tx postgres.Tx) error {
			next, err = keepRegionReport(ctx, tx, r.PlanID, r.Number, latest)
			return err
		})
		return next, err
	}
	solution, err := w.solve(ctx, plan, problem, r.Start, watch)
	if err != nil {
		return err
	}
	return postgres.InTx(ctx, w.pool, func(tx postgres.Tx) error {
		kept, last, err := keepRegion(ctx, tx, r.PlanID, r.Number, solution)
		switch {
		case err != nil:
			return err
		case !kept:
			return errStopped
		case last:
			return enqueue(ctx, tx, w.jobs, r.PlanID)
		}
		return nil
	})
}

// join puts the regions' solutions together and keeps the draft.
func (w *Worker) join(ctx context.Context, plan Plan, d division) error {
	in, err := unpackInputs(d.Inputs)
	if err != nil {
		return err
	}
	if plan.Fingerprint, err = in.Fingerprint(); err != nil {
		return err
	}
	if plan.Fingerprint != d.Fingerprint {
		return fmt.Errorf("the snapshot of plan %s did not come back as it was stored", plan.ID)
	}
	t, err := buildTask(in)
	if err != nil {
		return err
	}
	regions, err := listRegions(ctx, w.pool, plan.ID)
	if err != nil {
		return err
	}
	parts, solutions := make([]allocation.Part, len(regions)), make([]allocation.Solution, len(regions))
	for i, r := range regions {
		parts[i], solutions[i] = r.Part, *r.Solution
		// A worker that was lost may have proven more before: it was the same problem.
		solutions[i].Bound = min(solutions[i].Bound, r.Bound)
	}
	solution, err := allocation.Join(&t.problem, parts, solutions)
	if err != nil {
		return fmt.Errorf("join the regions of %s: %w", plan.Month, err)
	}
	return w.keep(ctx, plan, in, t, solution)
}

// packInputs makes inputs small enough to be stored with a plan; unpackInputs gives them back with the same fingerprint.
func packInputs(in Inputs) ([]byte, error) {
	return pack(func(to *gzip.Writer) error { return json.NewEncoder(to).Encode(in) })
}

func unpackInputs(packed []byte) (in Inputs, err error) {
	from, err := gzip.NewReader(bytes.NewReader(packed))
	if err == nil {
		err = json.NewDecoder(from).Decode(&in)
	}
	if err != nil {
		return in, fmt.Errorf("unpack the inputs of a plan: %w", err)
	}
	return in, nil
}

func packProblem(p *allocation.Problem) ([]byte, error) {
	return pack(func(to *gzip.Writer) error { return allocation.WriteProblem(to, p) })
}

func pack(write func(*gzip.Writer) error) ([]byte, error) {
	var out bytes.Buffer
	to, err := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	if err == nil {
		err = write(to)
	}
	if err == nil {
		err = to.Close()
	}
	if err != nil {
		return nil, fmt.Errorf("pack the parts of a plan: %w", err)
	}
	return out.Bytes(), nil
}
