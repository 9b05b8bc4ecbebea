package main

import (
	"context"
	"fmt"
	"log/slog"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/workload"

	enrollmentv1 "github.com/longlead/longlead/proto/longlead/enrollment/v1"
	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

type readyCmd struct {
	Show    readyShowCmd    `cmd:"" default:"withargs" help:"Show the dogs of a day, those at risk first, or all that is known of one: longlead ready D-001 --date 2027-03-08."`
	Minutes readyMinutesCmd `cmd:"" help:"Show what the own pace of a dog suggests about its handling minutes, and take it over if you say so."`
	Pace    readyPaceCmd    `cmd:"" help:"Measure from the logs what pace is typical of a program's dogs, and use it from now on if you say so."`
}

type readyShowCmd struct {
	Dog       string `arg:"" optional:"" help:"Code of a dog, for all that is known of it."`
	Site      string `help:"Code of a site, for the dogs that are there; all sites when neither it nor a dog is named." placeholder:"CODE"`
	Date      string `help:"Day, written 2027-03-08." placeholder:"DAY"`
	Calibrate int    `help:"Instead: predict so many simulated dogs in the middle of their stays, let them finish, and show how often what was predicted came about." placeholder:"DOGS"`
	Seed      uint64 `help:"Seed of the simulated dogs." default:"1"`
}

// Run shows readiness. It changes nothing.
func (c *readyShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	switch {
	case c.Calibrate != 0:
		return c.calibrate(o, std)
	case c.Date == "":
		return usageError("ready needs --date")
	case c.Dog != "" && c.Site != "":
		return usageError("name a dog or a site, not both")
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	client := readinessv1.NewReadinessServiceClient(a.conn)
	if c.Dog != "" {
		got, err := client.GetReadiness(ctx, &readinessv1.GetReadinessRequest{DogCode: c.Dog, Day: c.Date})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printReadyDog(std.out, o, c.Date, got)
		return nil
	}
	got, err := client.ListReadiness(ctx, &readinessv1.ListReadinessRequest{SiteCode: c.Site, Day: c.Date})
	if err != nil {
		return err
	}
	if o.JSON {
		return printJSON(std.out, got)
	}
	printReadyList(std.out, o, c, got)
	return nil
}

type readyMinutesCmd struct {
	Dog    string `arg:"" help:"Code of the dog."`
	Date   string `required:"" help:"Day, written 2027-03-08." placeholder:"DAY"`
	Accept bool   `help:"Keep the suggested minutes as a workload override of the dog. Without it nothing is changed."`
	Why    string `help:"Reason that is kept with the override; without one, what it rests on."`
}

// Run shows minutes, and keeps them as the word of whoever calls.
func (c *readyMinutesCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	got, err := readinessv1.NewReadinessServiceClient(a.conn).GetReadiness(ctx, &readinessv1.GetReadinessRequest{DogCode: c.Dog, Day: c.Date})
	if err != nil {
		return err
	}
	m := got.GetReadiness().GetMinutes()
	if m == nil && c.Accept {
		return apperr.Preconditionf("NOTHING_SUGGESTED", "the pace of %s suggests no other handling minutes, so there is nothing to accept", c.Dog)
	}
	if c.Accept {
		if c.Why == "" {
			c.Why = fmt.Sprintf("its pace over %d scored sessions up to %s", m.GetSessions(), c.Date)
		}
		if _, err := enrollmentv1.NewEnrollmentServiceClient(a.conn).OverrideWorkload(ctx, &enrollmentv1.OverrideWorkloadRequest{DogCode: c.Dog, MinutesADay: m.GetSuggested(),
			CareClass: m.GetCareClass(), Reason: c.Why}); err != nil {
			return err
		}
	}
	switch {
	case o.JSON && m == nil:
		return printJSON(std.out, &readinessv1.Minutes{})
	case o.JSON:
		return printJSON(std.out, m)
	case m == nil:
		printSentence(std.out, "The pace of %s suggests no other handling minutes: too little is logged, the change would be too small, or a person has set them.", c.Dog)
	case c.Accept:
		printSentence(std.out, "Kept: %d handling minutes a working day instead of %d. What is planned from now on counts them.", m.GetSuggested(), m.GetNow())
	default:
		printSentence(std.out, "%s", upperFirst(m.GetText()))
		fmt.Fprintf(std.out, "This gives it: %s\n", o.command("ready minutes "+c.Dog+" --date "+c.Date+" --accept"))
	}
	return nil
}

type readyPaceCmd struct {
	Program string `arg:"" help:"Code of the program."`
	Date    string `required:"" help:"Last day whose logs count, written 2027-03-08; a year back." placeholder:"DAY"`
	Keep    bool   `help:"Use the measured pace from now on. Without it nothing is changed."`
	Note    string `help:"Why, for what is kept with it; without one, what it was measured on."`
}

// Run measures a pace.
func (c *readyPaceCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	client := readinessv1.NewReadinessServiceClient(a.conn)
	got, err := client.MeasurePace(ctx, &readinessv1.MeasurePaceRequest{ProgramCode: c.Program, Day: c.Date})
	if err != nil {
		return err
	}
	if c.Keep && got.GetCurves() == 0 {
		return apperr.Preconditionf("NOTHING_MEASURED", "nothing is logged of %s in the year up to %s, so there is nothing to keep", c.Program, c.Date)
	}
	if c.Keep {
		if c.Note == "" {
			c.Note = fmt.Sprintf("measured on %d dogs, %d sessions up to %s", got.GetDogs(), got.GetSessions(), c.Date)
		}
		set, err := client.SetPace(ctx, &readinessv1.SetPaceRequest{ProgramCode: c.Program, Pace: got.GetMeasured(), Note: c.Note})
		if err != nil {
			return err
		}
		got.InUse = set.GetInUse()
	}
	if o.JSON {
		return printJSON(std.out, got)
	}
	printPace(std.out, c, got)
	return nil
}

// calibrate needs no database: the dogs are simulated.
func (c *readyShowCmd) calibrate(o *Options, std streams) error {
	tables, err := workload.Calibrate(workload.Calibration{Dogs: c.Calibrate, Seed: c.Seed})
	if err != nil {
		return usageError(err.Error())
	}
	if o.JSON {
		return writeJSON(std.out, tables)
	}
	for _, t := range tables {
		fmt.Fprintln(std.out, t)
	}
	printSentence(std.out, "%s", "The dogs are simulated as the reckoning takes dogs to be: this shows that chances mean what they say where dogs are like that. "+
		"Whether your dogs are, only your own logs can show.")
	return nil
}
