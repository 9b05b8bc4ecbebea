package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// ours names our engine in the table; the others are names that services/refsolve/solve.py knows.
const ours = "longlead"

var (
	otherSolvers = []string{"highs", "cbc", "scip", "cpsat"}
	sizes        = []string{"X", "Y", "T", "S", "M", "L", "XL"}
)

const benchUsage = `go run ./cmd/verify bench [SIZE…] [FILE…] [flags] solves the same problems with our engine and with other solvers, one after the other.
  SIZE  X, Y, T, S, M, L or XL: a problem made with longlead solve --generate. XL goes to our engine only unless -solvers is given.
  FILE  an allocation problem, perhaps compressed (.gz)
Without either: X T S, 10 seconds, one seed, all solvers. bench go [REGEXP] runs the Go benchmarks instead.
`

const benchLonger = "The long run takes hours: go run ./cmd/verify bench X Y T S M L XL -seconds 1,10,60 -seeds 1,2,3 -json bench.json"

// benchOptions is what the command line of bench asks for.
type benchOptions struct {
	sizes, files, solvers []string
	seconds               []float64
	seeds                 []uint64
	threads               int
	gap, json             string
	// chosen tells that -solvers was given.
	chosen bool
}

// parseBench reads the arguments of bench; flags may stand before, between and after sizes and files.
func parseBench(args []string, out io.Writer) (benchOptions, error) {
	o := benchOptions{}
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(out)
	flags.Usage = func() { fmt.Fprint(out, benchUsage); flags.PrintDefaults(); fmt.Fprintln(out, benchLonger) }
	secondsList := flags.String("seconds", "10", "time limits in seconds, with commas between")
	seedList := flags.String("seeds", "1", "seeds of made-up problems, with commas between; also those of our search")
	solverList := flags.String("solvers", strings.Join(otherSolvers, ","), `solvers to run beside ours, with commas between; "none" for ours alone`)
	flags.IntVar(&o.threads, "threads", 2, "threads for each solver that can use them")
	flags.StringVar(&o.gap, "gap", "", "folder with generalised assignment problems in the OR-Library layout")
	flags.StringVar(&o.json, "json", "", "file to keep the results in")
	for rest := args; ; rest = flags.Args()[1:] {
		if err := flags.Parse(rest); err != nil {
			return o, flag.ErrHelp
		}
		if flags.NArg() == 0 {
			break
		}
		if slices.Contains(sizes, flags.Arg(0)) {
			o.sizes = append(o.sizes, flags.Arg(0))
		} else {
			o.files = append(o.files, flags.Arg(0))
		}
	}
	flags.Visit(func(f *flag.Flag) { o.chosen = o.chosen || f.Name == "solvers" })
	if len(o.sizes)+len(o.files) == 0 && o.gap == "" {
		o.sizes = []string{"X", "T", "S"}
	}
	return o, o.readLists(*secondsList, *seedList, *solverList)
}

func (o *benchOptions) readLists(secondsList, seedList, solverList string) error {
	for _, s := range splitNames(secondsList) {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil || !(v > 0 && v <= 86400) {
			return fmt.Errorf("-seconds has %q; give numbers above 0 and at most 86400", s)
		}
		o.seconds = append(o.seconds, v)
	}
	for _, s := range splitNames(seedList) {
		v, err := strconv.ParseUint(s, 10, 64)
		if err != nil {
			return fmt.Errorf("-seeds has %q; give whole numbers of 0 or more", s)
		}
		o.seeds = append(o.seeds, v)
	}
	for _, s := range splitNames(solverList) {
		if s == "none" {
			continue
		}
		if !slices.Contains(otherSolvers, s) {
			return fmt.Errorf("there is no solver %q; -solvers takes %s or none", s, strings.Join(otherSolvers, ", "))
		}
		o.solvers = append(o.solvers, s)
	}
	if len(o.seconds) == 0 || len(o.seeds) == 0 || o.threads < 1 {
		return errors.New("give at least one limit, one seed and one thread")
	}
	for _, f := range o.files {
		if _, err := os.Stat(f); err != nil {
			return fmt.Errorf("%q is neither a size (%s) nor a file that can be read: %w", f, strings.Join(sizes, ", "), err)
		}
	}
	return nil
}

// benchProblem is one file to solve. A gap problem is minimised.
type benchProblem struct {
	name, path, format string
	seed               uint64
	oursOnly           bool
}

// problems makes the wanted problems in folder and lists them with the given ones.
func (b *benchmark) problems(ctx context.Context) ([]benchProblem, error) {
	var list []benchProblem
	for _, size := range b.sizes {
		for _, seed := range b.seeds {
			name := fmt.Sprintf("%s-%d", size, seed)
			path := filepath.Join(b.folder, name+".json.gz")
			cmd := exec.CommandContext(ctx, b.engine, "solve", "--generate", size, "--seed", fmt.Sprint(seed), "--out", path)
			if said, err := cmd.CombinedOutput(); err != nil {
				return nil, fmt.Errorf("make the problem %s: %w: %s", name, err, said)
			}
			list = append(list, benchProblem{name, path, "allocation", seed, size == "XL" && !b.chosen})
		}
	}
	for _, f := range b.files {
		list = append(list, benchProblem{filepath.Base(f), f, "allocation", b.seeds[0], false})
	}
	if b.gap == "" {
		return list, nil
	}
	err := filepath.WalkDir(b.gap, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) == ".csv" {
			return err // values.csv and its like are tables about the problems
		}
		list = append(list, benchProblem{d.Name(), path, "gap", b.seeds[0], false})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list the problems in %s: %w", b.gap, err)
	}
	return list, nil
}

// bench runs the side-by-side benchmark, or Go's own with "go" as the first argument.
func bench(ctx context.Context, root string, args []string, out io.Writer) error {
	if len(args) > 0 && args[0] == "go" {
		return benchGo(ctx, root, args[1:], out)
	}
	o, err := parseBench(args, out)
	if err != nil {
		return err
	}
	b := &benchmark{benchOptions: o, root: root, out: out}
	if b.folder, err = os.MkdirTemp("", "verify-bench-"); err != nil {
		return fmt.Errorf("make a folder for the benchmark: %w", err)
	}
	defer os.RemoveAll(b.folder)
	if err := b.prepare(ctx); err != nil {
		return err
	}
	problems, err := b.problems(ctx)
	if err != nil {
		return err
	}
	err = b.runAll(ctx, problems)
	b.report()
	if o.json == "" {
		return err
	}
	text, jsonErr := json.MarshalIndent(b.results, "", "  ")
	if jsonErr == nil {
		jsonErr = os.WriteFile(o.json, append(text, '\n'), 0o644)
	}
	return errors.Join(err, jsonErr)
}

// benchGo runs Go benchmarks at full length with their output as it comes.
func benchGo(ctx context.Context, root string, args []string, out io.Writer) error {
	pattern := "."
	switch len(args) {
	case 0:
	case 1:
		pattern = args[0]
	default:
		return fmt.Errorf("bench go takes one regular expression, not %d", len(args))
	}
	cmd := exec.CommandContext(ctx, "go", "test", "-run", "^$", "-bench", pattern, "-benchmem", "-timeout", "2h", "./...")
	cmd.Dir, cmd.Stdout, cmd.Stderr = root, out, out
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("run the benchmarks: %w", err)
	}
	return nil
}
