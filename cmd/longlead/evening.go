package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"strings"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

type dayEveningCmd struct {
	Site string `help:"Code of the site; all of them are listed when it is left out." placeholder:"CODE"`
	At   string `xor:"time" help:"Plan the site's next day at this local time, such as 18:30, every evening." placeholder:"TIME"`
	Off  bool   `xor:"time" help:"Plan no day of the site by itself."`
	Days int32  `help:"Most days of each site to list." default:"7"`
}

// Run sets a time, or lists the times and what came of the latest days.
func (c *dayEveningCmd) Run(ctx context.Context, o *Options, std streams) error {
	if (c.At != "" || c.Off) && c.Site == "" {
		return usageError("day evening needs --site to set a time")
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	client := dayplanv1.NewEveningServiceClient(a.conn)
	if c.At != "" || c.Off {
		if _, err := client.SetEvening(ctx, &dayplanv1.SetEveningRequest{SiteCode: c.Site, At: c.At, Off: c.Off}); err != nil {
			return err
		}
	}
	got, err := client.ListEvenings(ctx, &dayplanv1.ListEveningsRequest{SiteCode: c.Site, Days: c.Days})
	if err != nil {
		return err
	}
	if o.JSON {
		return printJSON(std.out, got)
	}
	printEvenings(std.out, got)
	return nil
}

// printEvenings writes when days are planned, and what came of the latest.
func printEvenings(out io.Writer, got *dayplanv1.ListEveningsResponse) {
	times := newTable(out, "site", "zone", "next day planned at", "set by", "next (UTC)")
	for _, at := range got.GetTimes() {
		when, by, next := at.GetAt(), at.GetChangedBy(), ""
		if when == "" {
			when = "off"
		}
		if at.GetUsual() {
			by = "usual"
		}
		if at.GetNextAt() != nil {
			next = at.GetNextAt().AsTime().Format("2006-01-02 15:04")
		}
		times.AppendRow(table.Row{at.GetSiteCode(), at.GetZone(), when, by, next})
	}
	times.Render()
	fmt.Fprintln(out)
	if len(got.GetEvenings()) == 0 {
		printSentence(out, "No day has been due yet. Days are planned while `longlead serve` runs.")
		return
	}
	days := newTable(out, "site", "day", "due, local", "outcome", "plan", "tries", "note")
	for _, e := range got.GetEvenings() {
		number := ""
		if e.GetNumber() > 0 {
			number = fmt.Sprint(e.GetNumber())
		}
		outcome := strings.ToLower(strings.TrimPrefix(e.GetOutcome().String(), "OUTCOME_"))
		days.AppendRow(table.Row{e.GetSiteCode(), e.GetDay(), e.GetDue(), outcome, number, e.GetAttempts(), text.WrapSoft(e.GetNote(), 50)})
	}
	days.Render()
}
