// Command verify runs every check of the project with one command, installs what a check needs and says what it installed:
//
//	go run ./cmd/verify                 every step
//	go run ./cmd/verify vet test        these steps, and what they need
//	go run ./cmd/verify -skip build     every step but these (names with commas between)
//	go run ./cmd/verify -list           the steps, in order
//	go run ./cmd/verify bench           our engine beside other solvers (bench -h tells the choices)
//	go run ./cmd/verify bench go [RE]   Go benchmarks at full length, printed as they come
//
// A step that fails does not stop the others; the exit code is 1 if any failed. What a step prints goes to a file of its
// own in a temporary folder, which is kept; the terminal shows the end of it only when the step fails. With CI=true nothing
// that could be installed is left out: what then cannot be had is a failure, unless the machine cannot reach it at all.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	err := run(ctx, os.Args[1:], os.Stdout)
	if errors.Is(err, errFailed) {
		os.Exit(1)
	}
	if errors.Is(err, flag.ErrHelp) {
		os.Exit(2)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "verify:", err)
		os.Exit(1)
	}
}

// errFailed says that a step failed; the report has told which.
var errFailed = errors.New("a step failed")

func run(ctx context.Context, args []string, out io.Writer) error {
	flags := flag.NewFlagSet("verify", flag.ContinueOnError)
	flags.SetOutput(out)
	list := flags.Bool("list", false, "list the steps and stop")
	skip := flags.String("skip", "", "leave out these steps (names with commas between)")
	against := flags.String("against", "", "the commit that breaking changes are looked for against (default: the one before)")
	if err := flags.Parse(args); err != nil {
		return flag.ErrHelp
	}
	all := steps()
	if *list {
		for _, s := range all {
			fmt.Fprintf(out, "%-12s %s\n", s.name, s.about)
		}
		return nil
	}
	root, err := findRoot()
	if err != nil {
		return err
	}
	if flags.Arg(0) == "bench" {
		return bench(ctx, root, flags.Args()[1:], out)
	}
	chosen, err := choose(all, flags.Args(), splitNames(*skip))
	if err != nil {
		return err
	}
	logs, err := os.MkdirTemp("", "verify-")
	if err != nil {
		return fmt.Errorf("make a folder for the logs: %w", err)
	}
	w := &work{root: root, logs: logs, out: out, ci: os.Getenv("CI") == "true", against: *against}
	w.runAll(ctx, chosen)
	w.report()
	if w.failed() {
		return errFailed
	}
	return nil
}

func splitNames(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' })
}
