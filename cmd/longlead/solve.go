package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"runtime"
	"runtime/metrics"
	"strings"
	"time"

	"github.com/longlead/longlead/services/allocation"
)

type solveCmd struct {
	File     string  `arg:"" optional:"" help:"Problem file; JSON, perhaps compressed with gzip."`
	Seconds  float64 `help:"Most seconds; 0 for no limit." default:"10"`
	Threads  int     `help:"Threads; 0 for one per processor." default:"0"`
	Seed     uint64  `help:"Seed of the search." default:"1"`
	Format   string  `help:"allocation, or gap for the OR-Library layout of the generalised assignment problem." enum:"allocation,gap" default:"allocation"`
	Out      string  `help:"File for the solution, or for the problem that --generate makes; a name ending in .gz is compressed." placeholder:"FILE"`
	Generate string  `help:"Make a problem of this size instead of solving one: X, Y, T, S, M, L or XL. --seed makes different ones." placeholder:"SIZE"`
}

// solved is the solution file. Value is counted from the placements; Bound is proven and rounded outward. For the gap format
// both are costs: Bound then is a lower bound, and Complete says whether every job was assigned.
type solved struct {
	Status     allocation.Status `json:"status"`
	Value      int64             `json:"value"`
	Bound      int64             `json:"bound"`
	Placements []solvedPlacement `json:"placements,omitempty"`
	Seconds    float64           `json:"seconds"`
	Seed       uint64            `json:"seed"`
	Complete   *bool             `json:"complete,omitempty"`
}

type solvedPlacement struct {
	Dog     int `json:"dog"`
	Site    int `json:"site"`
	Arrival int `json:"arrival"`
	Run     int `json:"run"`
	Trainer int `json:"trainer"`
}

// summary is the one line that is printed.
type summary struct {
	solved
	Gap       float64 `json:"gap"`
	Placed    int     `json:"placed"`
	PeakBytes uint64  `json:"peak_bytes"`
}

// generate writes a problem that is made up, for measurements that others can repeat.
func (c *solveCmd) generate(std streams) error {
	problem, err := allocation.Generate(c.Generate, c.Seed)
	if err != nil {
		return usageError(err.Error())
	}
	var content bytes.Buffer
	if err := allocation.WriteProblem(&content, problem); err != nil {
		return fmt.Errorf("write the problem: %w", err)
	}
	if c.Out == "" {
		_, err = std.out.Write(content.Bytes())
		return err
	}
	data := content.Bytes()
	if strings.HasSuffix(c.Out, ".gz") {
		var packed bytes.Buffer
		w := gzip.NewWriter(&packed)
		if _, err := w.Write(data); err != nil {
			return fmt.Errorf("compress the problem: %w", err)
		}
		if err := w.Close(); err != nil {
			return fmt.Errorf("compress the problem: %w", err)
		}
		data = packed.Bytes()
	}
	if err := os.WriteFile(c.Out, data, 0o644); err != nil {
		return fmt.Errorf("write the problem: %w", err)
	}
	fmt.Fprintf(std.err, "wrote %s: %d sites, %d trainers, %d dogs\n", c.Out, len(problem.Sites), len(problem.Trainers), len(problem.Dogs))
	return nil
}

// Run solves a file. An interrupted search ends with the best plan that was found.
func (c *solveCmd) Run(ctx context.Context, std streams) error {
	switch {
	case c.Generate != "" && c.File != "":
		return usageError("give a file to solve, or --generate to make one, not both")
	case c.Generate != "":
		return c.generate(std)
	case c.File == "":
		return usageError("name the file to solve, or make one with --generate SIZE")
	case c.Seconds < 0:
		return usageError("--seconds cannot be negative: give the most seconds, or 0 for no limit")
	}
	problem, gap, err := c.read()
	if err != nil {
		return err
	}
	threads := c.Threads
	if threads < 1 {
		threads = runtime.GOMAXPROCS(0)
	}
	limit := time.Duration(c.Seconds * float64(time.Second))
	peak := watchMemory()
	show := newProgress(std.err, "Solving")
	solution, err := allocation.Solve(problem, allocation.Options{Seed: c.Seed, Threads: threads, Limit: limit, Cancel: ctx.Done(),
		Progress: func(p allocation.Progress) {
			show.update(fmt.Sprintf("%s: %d placed, value %d, gap %.2f %%", p.Phase, p.Placed, p.Value, p.Gap), int64(10*p.Seconds), int64(10*c.Seconds))
		}})
	show.stop()
	if err != nil {
		return fmt.Errorf("solve %s: %w", c.File, err)
	}
	if _, err := allocation.Check(problem, solution.Placements); err != nil {
		return fmt.Errorf("the solution of %s breaks a rule, which is a fault of the solver: %w", c.File, err)
	}
	result := newSolved(solution, gap)
	if c.Out != "" {
		if err := writeSolution(c.Out, result); err != nil {
			return err
		}
	}
	line := summary{solved: result, Gap: gapOf(solution, result, gap), Placed: len(solution.Placements), PeakBytes: peak()}
	line.Placements = nil
	return json.NewEncoder(std.out).Encode(line)
}

func (c *solveCmd) read() (*allocation.Problem, *allocation.GAP, error) {
	file, err := os.Open(c.File)
	if err != nil {
		return nil, nil, fmt.Errorf("read the problem: %w", err)
	}
	defer func() { _ = file.Close() }()
	if c.Format == "gap" {
		gap, err := allocation.ReadGAP(file)
		if err != nil {
			return nil, nil, faultError{fmt.Errorf("read %s: %w", c.File, err)}
		}
		return gap.Problem, gap, nil
	}
	problem, err := allocation.ReadProblem(file)
	if err != nil {
		return nil, nil, faultError{fmt.Errorf("read %s: %w", c.File, err)}
	}
	return problem, nil, nil
}

func newSolved(s allocation.Solution, gap *allocation.GAP) solved {
	out := solved{Status: s.Status, Value: s.Value, Bound: s.Bound, Seconds: s.Seconds, Seed: s.Seed}
	for _, p := range s.Placements {
		out.Placements = append(out.Placements, solvedPlacement{Dog: p.Dog, Site: p.Site, Arrival: p.Arrival, Run: p.Run, Trainer: p.Trainer})
	}
	if gap != nil {
		complete := gap.Complete(s.Placements)
		out.Value, out.Bound, out.Complete = gap.Cost(s.Value), gap.Cost(s.Bound), &complete
	}
	return out
}

// gapOf is the gap in percent of the value; for the gap format in percent of the cost, whose bound lies below it.
func gapOf(s allocation.Solution, shown solved, gap *allocation.GAP) float64 {
	if gap == nil {
		return s.Gap()
	}
	if shown.Value <= 0 {
		return 0
	}
	return 100 * float64(shown.Value-shown.Bound) / float64(shown.Value)
}

func writeSolution(path string, s solved) error {
	content, err := json.Marshal(s)
	if err != nil {
		return fmt.Errorf("write the solution: %w", err)
	}
	if err := os.WriteFile(path, append(content, '\n'), 0o644); err != nil {
		return fmt.Errorf("write the solution: %w", err)
	}
	return nil
}

// watchMemory samples the memory that Go has from the system; the function it returns stops that and gives the highest.
func watchMemory() func() uint64 {
	sample := []metrics.Sample{{Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"}}
	stop, done := make(chan struct{}), make(chan uint64)
	go func() {
		var highest uint64
		ticker := time.NewTicker(50 * time.Millisecond)
		defer ticker.Stop()
		for {
			metrics.Read(sample)
			highest = max(highest, sample[0].Value.Uint64()-sample[1].Value.Uint64())
			select {
			case <-stop:
				done <- highest
				return
			case <-ticker.C:
			}
		}
	}()
	return func() uint64 { close(stop); return <-done }
}
