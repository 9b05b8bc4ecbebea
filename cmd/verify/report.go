package main

import (
	"cmp"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
)

// report prints how every step ended, what was left out, the outside checks, what failed and, last, how many tests there
// were. What failed stands at the end, because whoever sees only a part of a long output sees its end.
func (w *work) report() {
	fmt.Fprintln(w.out)
	rows := [][]string{{"STEP", "RESULT", "TIME", "NOTE"}}
	failures := 0
	for _, d := range w.done {
		if d.state == failed || d.state == notRun {
			failures++
		}
		rows = append(rows, []string{d.name, string(d.state), seconds(d.took), cut(d.note, 110)})
	}
	table(w.out, rows)
	w.reportLeftOut()
	w.reportOutside()
	fmt.Fprintf(w.out, "\nLogs: %s\n", w.logs)
	if failures > 0 {
		w.reportFailures()
		fmt.Fprintf(w.out, "%d of %d steps did not pass.\n", failures, len(w.done))
	} else {
		fmt.Fprintf(w.out, "No step of %d failed.\n", len(w.done))
	}
	if t := w.tests; t != nil {
		fmt.Fprintf(w.out, "tests: %d passed, %d failed, %d skipped\n", t.passed, t.failed, t.skipped)
	}
}

// reportFailures names the steps that did not pass and the tests that failed, each with the end of what it printed.
func (w *work) reportFailures() {
	for _, d := range w.done {
		if d.state == failed || d.state == notRun {
			fmt.Fprintf(w.out, "\n%s %s: %s\n", d.name, d.state, cut(d.note, 400))
		}
	}
	if w.tests != nil {
		w.tests.eachFailure(func(name testName, lines []string) {
			fmt.Fprintf(w.out, "\n--- failed: %v\n", name)
			for _, l := range lines {
				fmt.Fprintf(w.out, "    %s\n", cut(l, 200))
			}
		})
	}
	fmt.Fprintln(w.out)
}

func (w *work) reportLeftOut() {
	var lines []string
	for _, d := range w.done {
		if d.state == leftOut {
			lines = append(lines, d.name+": "+d.note)
		}
	}
	lines = append(lines, w.missing...)
	if len(lines) == 0 {
		return
	}
	fmt.Fprintln(w.out)
	for _, l := range lines {
		fmt.Fprintf(w.out, "left out: %s\n", l)
	}
}

// reportOutside prints the outside checks and writes them, uncut, to a file.
func (w *work) reportOutside() {
	if w.tests == nil {
		return
	}
	if len(w.tests.outside) == 0 {
		fmt.Fprintln(w.out, "\nOutside checks: none")
		return
	}
	var whole strings.Builder
	rows := [][]string{{"OUTSIDE CHECK", "SOURCE", "EXPECTED", "FOUND"}}
	// Tests run side by side and end in any order; a report should read the same each time.
	slices.SortStableFunc(w.tests.outside, func(a, b outsideCheck) int {
		return cmp.Or(strings.Compare(a.pkg, b.pkg), strings.Compare(a.name, b.name), strings.Compare(a.source, b.source))
	})
	for _, c := range w.tests.outside {
		fmt.Fprintf(&whole, "%s\t%s\t%s\t%s\n", c.name, c.source, c.want, c.got)
		rows = append(rows, []string{cut(c.name, 70), cut(c.source, 60), cut(c.want, 30), cut(c.got, 30)})
	}
	fmt.Fprintf(w.out, "\nOutside checks: %d values that others published and our tests confirmed\n", len(w.tests.outside))
	table(w.out, rows)
	path := filepath.Join(w.logs, "outside.tsv")
	if err := os.WriteFile(path, []byte(whole.String()), 0o644); err != nil {
		fmt.Fprintf(w.out, "the uncut table could not be written: %v\n", err)
		return
	}
	fmt.Fprintf(w.out, "uncut: %s\n", path)
}

func table(out io.Writer, rows [][]string) {
	columns := tabwriter.NewWriter(out, 0, 8, 2, ' ', 0)
	for _, row := range rows {
		fmt.Fprintln(columns, strings.Join(row, "\t"))
	}
	columns.Flush()
}

// cut shortens s to at most n characters and shows that it did.
func cut(s string, n int) string {
	letters := []rune(strings.Join(strings.Fields(s), " "))
	if len(letters) <= n {
		return string(letters)
	}
	return string(letters[:n-1]) + "…"
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.1fs", d.Seconds()) }
