// Command longlead plans residential dog training across sites: it serves the planner, and it is the command line for it.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // zones are known on machines that have no zone files

	"github.com/alecthomas/kong"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/apperr"
)

// Exit codes. Scripts rely on them; README.md lists them.
const (
	exitOK          = 0
	exitFailed      = 1   // something went wrong on our side or on the machine
	exitUsage       = 2   // the command line is wrong
	exitFaults      = 3   // files have faults; they are listed
	exitRefused     = 4   // not found, not allowed, or not possible as things are; nothing was changed
	exitUnavailable = 5   // a server or database cannot be reached
	exitInterrupted = 130 // stopped by a signal
)

const description = `Plans residential dog training ("board-and-train") across sites: which dogs come in next month, when, where and with whom.

Exit codes: 0 done, 1 failed, 2 wrong command line, 3 faults in files, 4 refused as things are, 5 not reachable, 130 interrupted.`

// cli is the whole command line.
type cli struct {
	Options

	Demo     demoCmd     `cmd:"" help:"Load an invented school, plan and publish its next month, and serve it."`
	Serve    serveCmd    `cmd:"" help:"Serve gRPC and HTTP/JSON until interrupted."`
	Migrate  migrateCmd  `cmd:"" help:"Bring the database to the newest schema."`
	Import   importCmd   `cmd:"" help:"Take records in from CSV or XLSX files."`
	Export   exportCmd   `cmd:"" help:"Give records out as CSV or XLSX files."`
	Template templateCmd `cmd:"" help:"Write an empty file of one kind of record, or list the kinds."`
	Plan     planCmd     `cmd:"" help:"Draft, read, compare, explain and publish month plans."`
	Day      dayCmd      `cmd:"" help:"Plan the day of a site, and plan it anew when somebody is absent."`
	Sheet    sheetCmd    `cmd:"" help:"Show or print the day sheets of a site: what each trainer does, and what to know of each dog."`
	Feed     feedCmd     `cmd:"" help:"Make, list and revoke private calendar feeds of trainers' days."`
	Mend     mendCmd     `cmd:"" help:"Change promised stays: keep a dog longer, move one to isolation."`
	Handover handoverCmd `cmd:"" help:"Appoint, confirm, move and cancel handovers with owners, note who came, book lessons, make private links."`
	Log      logCmd      `cmd:"" help:"Log training sessions, list and correct them."`
	Ready    readyCmd    `cmd:"" help:"Show how likely each dog is to meet its targets by graduation day, and what could be done."`
	Mail     mailCmd     `cmd:"" help:"Show letters to owners and what became of them, send them again, and change their texts."`
	People   peopleCmd   `cmd:"" help:"Say who may sign in to the console: add people, change what they may do, set passwords, shut them out."`
	Solve    solveCmd    `cmd:"" help:"Solve an allocation problem in a file, without a database."`
	Version  versionCmd  `cmd:"" help:"Print the version."`
}

// streams are where a command reads and writes; tests replace them.
type streams struct {
	out, err io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(run(ctx, os.Args[1:], streams{out: os.Stdout, err: os.Stderr}))
}

// run executes a command line and returns its exit code.
func run(ctx context.Context, args []string, std streams) int {
	var c cli
	exited, code := false, exitOK
	parser, err := kong.New(&c, kong.Name("longlead"), kong.Description(description), kong.UsageOnError(),
		kong.Writers(std.out, std.err), kong.Exit(func(n int) { exited, code = true, n }), kong.Vars{"data": defaultDataDir(), "planhelp": planHelp, "publicurl": defaultPublicURL})
	if err != nil {
		fmt.Fprintln(std.err, "longlead:", err)
		return exitFailed
	}
	parsed, err := parser.Parse(args)
	if exited {
		return code
	}
	if err != nil {
		parser.Errorf("%s", err)
		fmt.Fprintln(std.err, "Try: longlead --help")
		return exitUsage
	}
	parsed.BindTo(ctx, (*context.Context)(nil))
	err = parsed.Run(&c.Options, std)
	if err == nil {
		return exitOK
	}
	var quiet exitError
	if !errors.As(err, &quiet) {
		fmt.Fprintln(std.err, "longlead:", lastWords(ctx, err))
	}
	return exitCode(ctx, err)
}

// lastWords is what a person reads of an error. Most of what a signal breaks off says no more than that it was broken off.
func lastWords(ctx context.Context, err error) string {
	if ctx.Err() != nil && (status.Code(err) == codes.Canceled || errors.Is(err, context.Canceled)) {
		return "interrupted; what was under way is undone"
	}
	return errorWords(err)
}

// exitError ends the program with a code; what there was to say has been said.
type exitError int

func (e exitError) Error() string { return fmt.Sprintf("exit %d", int(e)) }

// usageError says what is wrong with a command line.
type usageError string

func (e usageError) Error() string { return string(e) + ": see longlead --help" }

// faultError is about the contents of a file.
type faultError struct{ error }

func (e faultError) Unwrap() error { return e.error }

func exitCode(ctx context.Context, err error) int {
	var quiet exitError
	if errors.As(err, &quiet) {
		return int(quiet)
	}
	var (
		usage usageError
		fault faultError
	)
	switch {
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &fault):
		return exitFaults
	}
	if ctx.Err() != nil {
		return exitInterrupted
	}
	if known, ok := apperr.From(err); ok {
		return kindCodes[known.Kind]
	}
	switch status.Code(err) {
	case codes.InvalidArgument:
		return exitUsage
	case codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.PermissionDenied, codes.Unauthenticated:
		return exitRefused
	case codes.Unavailable, codes.DeadlineExceeded:
		return exitUnavailable
	}
	return exitFailed
}

// kindCodes are the exit codes of errors that were made in this process and crossed no connection.
var kindCodes = map[apperr.Kind]int{
	apperr.Internal: exitFailed, apperr.Invalid: exitUsage, apperr.NotFound: exitRefused, apperr.Conflict: exitRefused,
	apperr.Precondition: exitRefused, apperr.Denied: exitRefused, apperr.Unauthenticated: exitRefused, apperr.Unavailable: exitUnavailable,
}
