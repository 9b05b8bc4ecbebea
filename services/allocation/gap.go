package allocation

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
)

// Limits of the generalised assignment files: agents, jobs, and any number in them.
const (
	maxAgents    = 1000
	maxJobs      = 20_000
	maxGAPNumber = 100_000
)

// GAP is a generalised assignment problem (give every job to one agent within the agents' capacities, at the least cost),
// told as an allocation: one site, one night, the agents as trainers, the jobs as dogs. An assignment is worth Big less its
// cost, with Big above any difference in total cost, so that the most valuable plan assigns every job if that can be done.
type GAP struct {
	Problem *Problem
	Jobs    int
	Big     int64
}

// Cost turns the value of a plan with every job assigned into its cost, and a bound on value into a bound on cost (then a
// lower one).
func (g *GAP) Cost(value int64) int64 { return g.Big*int64(g.Jobs) - value }

// Complete reports whether a plan assigns every job.
func (g *GAP) Complete(placements []Placement) bool { return len(placements) == g.Jobs }

// ReadGAP reads one problem in the OR-Library layout: numbers of agents and jobs, a row of costs for each agent, a row of
// weights for each agent, and the agents' capacities. Errors about the contents wrap ErrInvalid.
func ReadGAP(r io.Reader) (*GAP, error) {
	in := bufio.NewScanner(r)
	in.Split(bufio.ScanWords)
	number := func(what string, least, most int) (int, error) {
		if !in.Scan() {
			if err := in.Err(); err != nil {
				return 0, fmt.Errorf("read %s: %w", what, err)
			}
			return 0, invalid("the file ends before %s; it seems cut off", what)
		}
		n, err := strconv.Atoi(in.Text())
		if err != nil || n < least || n > most {
			return 0, invalid("%s is %.40q; give a whole number from %d to %d", what, in.Text(), least, most)
		}
		return n, nil
	}
	agents, err := number("the number of agents", 1, maxAgents)
	if err != nil {
		return nil, err
	}
	jobs, err := number("the number of jobs", 1, maxJobs)
	if err != nil {
		return nil, err
	}
	var tables [2][][]int
	for t, what := range []string{"cost", "weight"} {
		for a := range agents {
			row := make([]int, jobs)
			for j := range row {
				if row[j], err = number(fmt.Sprintf("the %s of job %d for agent %d", what, j, a), 0, maxGAPNumber); err != nil {
					return nil, err
				}
			}
			tables[t] = append(tables[t], row)
		}
	}
	capacity := make([]int, agents)
	for a := range capacity {
		if capacity[a], err = number(fmt.Sprintf("the capacity of agent %d", a), 0, MaxNumber); err != nil {
			return nil, err
		}
	}
	if in.Scan() {
		return nil, invalid("there is more after the capacities, starting with %.40q; give one problem a file", in.Text())
	}
	return newGAP(tables[0], tables[1], capacity)
}

// newGAP builds the allocation problem. cost and weight are by agent and job.
func newGAP(cost, weight [][]int, capacity []int) (*GAP, error) {
	agents, jobs := len(cost), len(cost[0])
	big := 1
	for j := range jobs {
		dearest := 0
		for a := range agents {
			dearest = max(dearest, cost[a][j])
		}
		big += dearest
	}
	if big > MaxNumber {
		return nil, invalid("the dearest costs add up to %d; at most %d can be handled", big, MaxNumber)
	}
	p := &Problem{Name: "gap", Days: 2, Sites: []Site{{Name: "all",
		Runs:   []RunClass{{Class: "any", Capacity: []int{jobs}}},
		Intake: []int{jobs}, Handover: []int{0, jobs}}}}
	for a := range agents {
		p.Trainers = append(p.Trainers, Trainer{Works: []bool{true}, Minutes: []int{capacity[a]}, Dogs: []int{jobs}})
	}
	run := []RunOption{{}}
	for j := range jobs {
		g := Group{Value: big, Runs: run}
		for a := range agents {
			g.Trainers = append(g.Trainers, TrainerOption{Trainer: a, Penalty: cost[a][j], Minutes: weight[a][j]})
		}
		p.Dogs = append(p.Dogs, Dog{Nights: 1, Placements: []Group{g}})
	}
	if err := p.Validate(); err != nil {
		return nil, err
	}
	return &GAP{Problem: p, Jobs: jobs, Big: int64(big)}, nil
}
