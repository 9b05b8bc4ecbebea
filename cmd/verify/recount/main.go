// Command recount counts a plan independently of the solver that made it, for the side-by-side benchmark:
//
//	recount allocation|gap PROBLEM ANSWER
//
// ANSWER is JSON with "placements". It prints JSON with the counted value (for gap the cost), the number placed, and whether a
// gap plan gives every job to an agent. A plan that breaks a rule is an error. It is a program of its own so that verify builds
// whatever the state of the engine.
package main

import (
	"encoding/json"
	"fmt"
	"io"
	"os"

	"github.com/longlead/longlead/services/allocation"
)

func main() {
	if len(os.Args) != 4 {
		fmt.Fprintln(os.Stderr, "recount: give the format (allocation or gap), the problem file and the answer file")
		os.Exit(2)
	}
	if err := recount(os.Args[1], os.Args[2], os.Args[3], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "recount:", err)
		os.Exit(1)
	}
}

type counted struct {
	Value    int64 `json:"value"`
	Placed   int   `json:"placed"`
	Complete bool  `json:"complete"`
}

func recount(format, problemPath, answerPath string, out io.Writer) error {
	problem, gap, err := read(format, problemPath)
	if err != nil {
		return err
	}
	text, err := os.ReadFile(answerPath)
	if err != nil {
		return fmt.Errorf("read the answer: %w", err)
	}
	var answer struct{ Placements []allocation.Placement }
	if err := json.Unmarshal(text, &answer); err != nil {
		return fmt.Errorf("read %s: %w", answerPath, err)
	}
	value, err := allocation.Check(problem, answer.Placements)
	if err != nil {
		return fmt.Errorf("the plan breaks a rule: %w", err)
	}
	c := counted{Value: value, Placed: len(answer.Placements), Complete: true}
	if gap != nil {
		c.Value, c.Complete = gap.Cost(value), gap.Complete(answer.Placements)
	}
	return json.NewEncoder(out).Encode(c)
}

func read(format, path string) (*allocation.Problem, *allocation.GAP, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read the problem: %w", err)
	}
	defer file.Close()
	switch format {
	case "allocation":
		problem, err := allocation.ReadProblem(file)
		return problem, nil, err
	case "gap":
		gap, err := allocation.ReadGAP(file)
		if err != nil {
			return nil, nil, err
		}
		return gap.Problem, gap, nil
	}
	return nil, nil, fmt.Errorf("there is no format %q; it is allocation or gap", format)
}
