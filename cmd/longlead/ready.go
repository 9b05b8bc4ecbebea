package main

import (
	"context"
	"fmt"
	"log/slog"

	"github.com/longlead/longlead/services/workload"

	readinessv1 "github.com/longlead/longlead/proto/longlead/readiness/v1"
)

type readyCmd struct {
	Dog       string `arg:"" optional:"" help:"Code of a dog, for all that is known of it."`
	Site      string `help:"Code of a site, for the dogs that are there; all sites when neither it nor a dog is named." placeholder:"CODE"`
	Date      string `help:"Day, written 2027-03-08." placeholder:"DAY"`
	Calibrate int    `help:"Instead: predict so many simulated dogs in the middle of their stays, let them finish, and show how often what was predicted came about." placeholder:"DOGS"`
	Seed      uint64 `help:"Seed of the simulated dogs." default:"1"`
}

// Run shows readiness. It changes nothing.
func (c *readyCmd) Run(ctx context.Context, o *Options, std streams) error {
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
		printReadyDog(std.out, c.Date, got)
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

// calibrate needs no database: the dogs are simulated.
func (c *readyCmd) calibrate(o *Options, std streams) error {
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
