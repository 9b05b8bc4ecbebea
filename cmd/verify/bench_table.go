package main

import (
	"fmt"
	"slices"
)

// report prints the results so far as one table.
func (b *benchmark) report() {
	fmt.Fprintln(b.out)
	rows := [][]string{{"FILE", "SOLVER", "THREADS", "LIMIT", "VALUE", "BOUND", "GAP", "SECONDS", "PEAK MEMORY"}}
	for _, r := range b.results {
		rows = append(rows, r.row())
	}
	table(b.out, rows)
	fmt.Fprint(b.out, `
Every value is recounted by our own check; a bound is what the solver says it has proven. Seconds leave out reading the problem
file; for the others they include handing the model over, which is not part of their limit. Peak memory is that of the largest
process, reading included. A gap file is minimised: its bound lies below its value.
`)
	var versions []string
	for _, r := range b.results {
		if r.Version != "" && !slices.Contains(versions, r.Version) {
			versions = append(versions, r.Version)
			fmt.Fprintf(b.out, "%s is %s\n", r.Solver, r.Version)
		}
	}
	for _, r := range b.results {
		if r.Failure != "" {
			fmt.Fprintf(b.out, "failed: %s, %s, %g s: %s\n", r.File, r.Solver, r.Limit, r.Failure)
		}
	}
	for _, m := range b.missing {
		fmt.Fprintf(b.out, "left out: %s\n", m)
	}
	fmt.Fprintln(b.out, benchLonger)
}

func (r benchResult) row() []string {
	row := []string{r.File, r.Solver, fmt.Sprint(r.Threads), fmt.Sprintf("%gs", r.Limit), "failed", "-", "-", "-", "-"}
	if r.Failure != "" {
		return row
	}
	row[4], row[5], row[7] = "no plan", fmt.Sprint(r.Bound), fmt.Sprintf("%.2f", r.Seconds)
	if r.Value != nil {
		row[4] = fmt.Sprint(*r.Value)
	}
	if r.Gap != nil {
		row[6] = fmt.Sprintf("%.2f%%", *r.Gap)
	}
	if r.Peak > 0 {
		row[8] = fmt.Sprintf("%.0f MB", float64(r.Peak)/1e6)
	}
	return row
}

// summary is the result on the line of progress.
func (r benchResult) summary() string {
	if r.Failure != "" {
		return "failed: " + cut(r.Failure, 100)
	}
	row := r.row()
	return fmt.Sprintf("value %s, bound %s, gap %s, %s s", row[4], row[5], row[6], row[7])
}
