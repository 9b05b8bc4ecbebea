package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"

	"github.com/jedib0t/go-pretty/v6/table"

	daysheetv1 "github.com/longlead/longlead/proto/longlead/daysheet/v1"
)

// withSheets runs a command on the day sheets of this process or of --server.
func withSheets(ctx context.Context, o *Options, std streams, do func(client daysheetv1.DaySheetServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(daysheetv1.NewDaySheetServiceClient(a.conn))
}

type sheetCmd struct {
	Site    string `required:"" help:"Code of the site." placeholder:"CODE"`
	Date    string `required:"" help:"Day, written 2027-03-08. It must have a plan that is kept." placeholder:"DAY"`
	Trainer string `xor:"which" help:"Only the sheet of this trainer." placeholder:"CODE"`
	Row     string `xor:"which" help:"Only the sheet of this row of runs." placeholder:"ROW"`
	Rows    bool   `xor:"which" help:"The sheets of rows instead of those of trainers."`
	Format  string `enum:"text,csv,html,json" default:"text" help:"text, csv, html or json."`
	Paper   string `enum:"A4,Letter" default:"A4" help:"Paper of a page in html: A4 or Letter."`
	Out     string `short:"o" help:"Write to this file instead of the screen; others on the machine cannot read it." placeholder:"FILE"`
}

// Run shows sheets.
func (c *sheetCmd) Run(ctx context.Context, o *Options, std streams) error {
	var which daysheetv1.Sheets
	if c.Rows {
		which = daysheetv1.Sheets_SHEETS_ROWS
	}
	return withSheets(ctx, o, std, func(client daysheetv1.DaySheetServiceClient) error {
		if o.JSON || c.Format == "json" {
			got, err := client.GetDaySheet(ctx, &daysheetv1.GetDaySheetRequest{SiteCode: c.Site, Day: c.Date, Sheets: which, TrainerCode: c.Trainer, Row: c.Row})
			if err != nil {
				return err
			}
			return c.write(std.out, func(out io.Writer) error { return printJSON(out, got) })
		}
		req := &daysheetv1.PrintDaySheetRequest{SiteCode: c.Site, Day: c.Date, Sheets: which, TrainerCode: c.Trainer, Row: c.Row,
			Format: sheetFormats[c.Format], Paper: sheetPapers[c.Paper]}
		got, err := client.PrintDaySheet(ctx, req)
		if err != nil {
			return err
		}
		return c.write(std.out, func(out io.Writer) error {
			_, err := out.Write(got.GetContent())
			return err
		})
	})
}

var sheetFormats = map[string]daysheetv1.PrintDaySheetRequest_Format{"text": daysheetv1.PrintDaySheetRequest_FORMAT_TEXT,
	"csv": daysheetv1.PrintDaySheetRequest_FORMAT_CSV, "html": daysheetv1.PrintDaySheetRequest_FORMAT_HTML}

var sheetPapers = map[string]daysheetv1.PrintDaySheetRequest_Paper{"A4": daysheetv1.PrintDaySheetRequest_PAPER_A4, "Letter": daysheetv1.PrintDaySheetRequest_PAPER_LETTER}

// write writes to the file that is asked for, or to out.
func (c *sheetCmd) write(out io.Writer, do func(io.Writer) error) error {
	if c.Out == "" {
		return do(out)
	}
	f, err := os.OpenFile(c.Out, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return usageError(fmt.Sprintf("the file %s cannot be written (%v)", c.Out, err))
	}
	if err := do(f); err != nil {
		_ = f.Close()
		return fmt.Errorf("write %s: %w", c.Out, err)
	}
	return f.Close()
}

type feedCmd struct {
	New    feedNewCmd    `cmd:"" help:"Make a calendar feed of a trainer's days, and print its private address this once."`
	List   feedListCmd   `cmd:"" help:"List calendar feeds, and when each was read last."`
	Revoke feedRevokeCmd `cmd:"" help:"Shut the address of a feed for good."`
}

type feedNewCmd struct {
	Trainer string `required:"" help:"Code of the trainer." placeholder:"CODE"`
}

// Run makes a feed.
func (c *feedNewCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withSheets(ctx, o, std, func(client daysheetv1.DaySheetServiceClient) error {
		got, err := client.MakeFeed(ctx, &daysheetv1.MakeFeedRequest{TrainerCode: c.Trainer})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		fmt.Fprintf(std.out, "Feed %s of %s. Its path on the HTTP server, which cannot be shown again:\n\n  %s\n\n", got.GetFeed().GetId(), got.GetFeed().GetTrainerCode(), got.GetPath())
		fmt.Fprintln(std.out, "Put the server's address before it, and subscribe to it in a calendar program.")
		fmt.Fprintln(std.out, "Whoever has the address reads the feed without a password: give it to the trainer alone,")
		fmt.Fprintf(std.out, "and shut it when a phone is lost: %s\n", o.command("feed revoke "+got.GetFeed().GetId()))
		return nil
	})
}

type feedListCmd struct {
	Trainer string `help:"Only those of this trainer." placeholder:"CODE"`
}

// Run lists feeds.
func (c *feedListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withSheets(ctx, o, std, func(client daysheetv1.DaySheetServiceClient) error {
		got, err := client.ListFeeds(ctx, &daysheetv1.ListFeedsRequest{TrainerCode: c.Trainer})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		if len(got.GetFeeds()) == 0 {
			fmt.Fprintf(std.out, "There is no feed yet. This makes one: %s\n", o.command("feed new --trainer CODE"))
			return nil
		}
		printFeeds(std.out, got.GetFeeds())
		return nil
	})
}

type feedRevokeCmd struct {
	ID string `arg:"" help:"ID of the feed, as the list has it." placeholder:"ID"`
}

// Run revokes a feed.
func (c *feedRevokeCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withSheets(ctx, o, std, func(client daysheetv1.DaySheetServiceClient) error {
		got, err := client.RevokeFeed(ctx, &daysheetv1.RevokeFeedRequest{FeedId: c.ID})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		fmt.Fprintf(std.out, "Feed %s of %s is shut. Calendar programs keep what they have read until they look again.\n", got.GetFeed().GetId(), got.GetFeed().GetTrainerCode())
		return nil
	})
}

func printFeeds(out io.Writer, feeds []*daysheetv1.Feed) {
	t := newTable(out, "feed", "trainer", "made", "by", "read last", "shut")
	for _, f := range feeds {
		shut, read := "", f.GetLastRead()
		if f.GetRevokedAt() != nil {
			shut = f.GetRevokedAt().AsTime().Format("2006-01-02 15:04Z") + " by " + f.GetRevokedBy()
		}
		if read == "" {
			read = "never"
		}
		t.AppendRow(table.Row{f.GetId(), f.GetTrainerCode(), f.GetMadeAt().AsTime().Format("2006-01-02 15:04Z"), f.GetMadeBy(), read, shut})
	}
	t.Render()
}
