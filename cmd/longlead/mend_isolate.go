package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// vetFirst goes with everything that is about illness.
const vetFirst = "This is no veterinary advice: a veterinarian and local codes decide about isolation, tests, who may arrive and who may go home."

type mendIsolateCmd struct {
	Dog       string `arg:"" help:"Code of the dog, or of its request."`
	From      string `required:"" help:"First day, that of the signs, written 2027-03-05." placeholder:"DAY"`
	Days      int32  `help:"Nights of isolation; the site's number when it is left out."`
	Suspected string `help:"What is suspected: distemper has longer days of its own." enum:",distemper" default:""`
	InRun     string `name:"run" help:"Number of the isolation run; the first that is free and fits when it is left out." placeholder:"RUN"`
	Hold      string `help:"Where no new dog may arrive: row, site or none; as the site has it when it is left out." enum:",row,site,none" default:""`
	HoldDays  int32  `help:"Days of the intake hold; the site's number when it is left out."`
	MoveRuns  bool   `help:"Give arrivals in a held row another run where there is one."`
	Commit    string `help:"Do what was shown with this fingerprint; without it nothing is changed." placeholder:"FINGERPRINT"`
	Why       string `help:"What was seen, for the history of the stay." default:"signs of illness"`
}

func (c *mendIsolateCmd) ask() *plannerv1.IsolationAsk {
	return &plannerv1.IsolationAsk{From: c.From, Days: c.Days, Suspected: c.Suspected, RunCode: c.InRun, HoldScope: c.Hold, HoldDays: c.HoldDays, MoveRuns: c.MoveRuns}
}

// Run previews an isolation, or commits one.
func (c *mendIsolateCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMend(ctx, o, std, func(client plannerv1.MendServiceClient) error {
		if c.Commit != "" {
			done, err := client.IsolateDog(ctx, &plannerv1.IsolateDogRequest{DogCode: c.Dog, Isolation: c.ask(), Fingerprint: c.Commit, Reason: c.Why})
			if err != nil {
				return err
			}
			if o.JSON {
				return printJSON(std.out, done)
			}
			fmt.Fprintln(std.out, "Done.")
			printIsolation(std.out, done.GetPlan())
			return nil
		}
		got, err := client.PreviewIsolation(ctx, &plannerv1.PreviewIsolationRequest{DogCode: c.Dog, Isolation: c.ask()})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printIsolation(std.out, got.GetPlan())
		fmt.Fprintf(std.out, "\nNothing is changed yet. This does it, unless anything has changed meanwhile:\n%s\n", o.command(c.again()+" --commit "+got.GetPlan().GetFingerprint()))
		return nil
	})
}

// again is the command line that asks for the same.
func (c *mendIsolateCmd) again() string {
	words := fmt.Sprintf("mend isolate %s --from %s", c.Dog, c.From)
	for _, option := range []struct {
		name, value string
	}{{"suspected", c.Suspected}, {"run", c.InRun}, {"hold", c.Hold}} {
		if option.value != "" {
			words += fmt.Sprintf(" --%s %s", option.name, option.value)
		}
	}
	if c.Days > 0 {
		words += fmt.Sprintf(" --days %d", c.Days)
	}
	if c.HoldDays > 0 {
		words += fmt.Sprintf(" --hold-days %d", c.HoldDays)
	}
	if c.MoveRuns {
		words += " --move-runs"
	}
	return words
}

type mendReleaseCmd struct {
	Dog  string `arg:"" help:"Code of the dog, or of its request."`
	On   string `required:"" help:"Day on which it comes out, written 2027-03-19." placeholder:"DAY"`
	Why  string `required:"" help:"What the veterinarian said, for the history of the stay."`
	Lift bool   `help:"End the watch list and the intake hold on that day as well."`
}

// Run ends an isolation.
func (c *mendReleaseCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMend(ctx, o, std, func(client plannerv1.MendServiceClient) error {
		done, err := client.EndIsolation(ctx, &plannerv1.EndIsolationRequest{DogCode: c.Dog, Day: c.On, Reason: c.Why, Lift: c.Lift})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, done)
		}
		fmt.Fprintf(std.out, "Done: %s is out of run %s on %s.\n", done.GetDogCode(), done.GetRunCode(), done.GetOutOn())
		if done.GetLifted() {
			fmt.Fprintln(std.out, "Its watch list and intake hold end on that day as well.")
		}
		return nil
	})
}

type mendListCmd struct {
	Site string `required:"" help:"Code of the site." placeholder:"CODE"`
	Date string `required:"" help:"Day, written 2027-03-05." placeholder:"DAY"`
}

// Run lists who is isolated and watched.
func (c *mendListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withMend(ctx, o, std, func(client plannerv1.MendServiceClient) error {
		got, err := client.ListIsolations(ctx, &plannerv1.ListIsolationsRequest{SiteCode: c.Site, Day: c.Date})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printWard(std.out, c, got)
		return nil
	})
}

// printIsolation writes what moving a dog to isolation does and touches.
func printIsolation(out io.Writer, p *plannerv1.IsolationPlan) {
	fmt.Fprintf(out, "%s %s: %s\n", p.GetDogCode(), p.GetDogName(), stayWords(p.GetStay()))
	fmt.Fprintf(out, "Isolation run %s from %s; it may come out on %s if a veterinarian agrees.\n", p.GetRunCode(), p.GetFrom(), p.GetOutOn())
	if p.GetSuspected() != "" {
		fmt.Fprintf(out, "Suspected: %s.\n", p.GetSuspected())
	}
	printWatched(out, p.GetWatch())
	if p.GetHoldFrom() != "" {
		where := "the site"
		if p.GetHoldRow() != "" {
			where = "row " + p.GetHoldRow()
		}
		fmt.Fprintf(out, "\nIntake hold of %s from %s, until %s: plans put no new arrival there.\n", where, p.GetHoldFrom(), p.GetHoldUntil())
	}
	printHeld(out, p.GetArrivals())
	printRunMoves(out, p.GetRunMoves())
	if len(p.GetLaterGraduations()) > 0 {
		fmt.Fprintln(out, "\nGraduation days after the isolation, the best first; an extension of its own:")
		t := newTable(out, "graduation", "nights more", "other stays moved", "owners notice", "minutes over", "handovers of places")
		for _, e := range p.GetLaterGraduations() {
			t.AppendRow(table.Row{e.GetGraduation(), e.GetAddedNights(), movedWords(e.GetRunMoves()), noticedOf(e.GetRunMoves()), e.GetOverMinutesTotal(),
				fmt.Sprintf("%d of %d", e.GetHandovers(), e.GetHandoverPlaces())})
		}
		t.Render()
	}
	fmt.Fprintln(out)
	for _, note := range append(p.GetNotes(), "Days: "+p.GetRulesNote()+".", vetFirst) {
		printSentence(out, "- %s", note)
	}
}

func printWatched(out io.Writer, watched []*plannerv1.Contact) {
	if len(watched) == 0 {
		fmt.Fprintln(out, "\nNo dog is known to have been near it: ask those who were there.")
		return
	}
	fmt.Fprintln(out, "\nTo be watched; the list knows rows, trainers, logged sessions and planned areas, not who met elsewhere:")
	t := newTable(out, "dog", "run", "near by", "watched until", "graduates")
	for _, c := range watched {
		graduates := c.GetGraduation()
		if graduates < c.GetWatchedUntil() {
			graduates += ", tell its owner"
		}
		t.AppendRow(table.Row{c.GetDogCode() + " " + c.GetDogName(), c.GetRunCode(), text.WrapSoft(strings.Join(c.GetBecause(), ", "), 40), c.GetWatchedUntil(), graduates})
	}
	t.Render()
}

func printHeld(out io.Writer, arrivals []*plannerv1.HeldArrival) {
	if len(arrivals) == 0 {
		return
	}
	fmt.Fprintln(out, "\nPromised arrivals in the hold. Each may move, or come with caution if a veterinarian agrees:")
	t := newTable(out, "request", "dog", "arrival", "run", "state", "another run", "later arrivals")
	for _, a := range arrivals {
		other := "none"
		if a.GetOtherRun() != nil {
			other = a.GetOtherRun().GetToRun()
		}
		later := strings.Join(a.GetLaterArrivals(), ", ")
		if later == "" {
			later = "none in its window"
		}
		t.AppendRow(table.Row{a.GetRequestCode(), a.GetDogCode() + " " + a.GetDogName(), a.GetArrival(), a.GetRunCode(), a.GetState(), other, text.WrapSoft(later, 24)})
	}
	t.Render()
}

// printWard writes how things stand.
func printWard(out io.Writer, c *mendListCmd, w *plannerv1.ListIsolationsResponse) {
	fmt.Fprintf(out, "%s, %s: %d isolated, %d watched, %d intake holds\n", c.Site, c.Date, len(w.GetIsolated()), len(w.GetWatched()), len(w.GetHolds()))
	if len(w.GetIsolated()) > 0 {
		t := newTable(out, "dog", "isolation run", "from", "may come out", "suspected", "why", "by")
		for _, i := range w.GetIsolated() {
			t.AppendRow(table.Row{i.GetDogCode() + " " + i.GetDogName(), i.GetRunCode(), i.GetFrom(), i.GetOutOn(), i.GetSuspected(), text.WrapSoft(i.GetReason(), 24), text.WrapSoft(i.GetMadeBy(), 16)})
		}
		t.Render()
	}
	if len(w.GetWatched()) > 0 {
		printWatched(out, w.GetWatched())
	}
	for _, h := range w.GetHolds() {
		where := "the site"
		if h.GetRow() != "" {
			where = "row " + h.GetRow()
		}
		fmt.Fprintf(out, "Intake hold of %s from %s, until %s, because of %s.\n", where, h.GetFrom(), h.GetUntil(), h.GetDogCode())
	}
	printSentence(out, "%s", vetFirst)
}
