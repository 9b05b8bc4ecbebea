package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"

	"github.com/jedib0t/go-pretty/v6/table"
	"github.com/jedib0t/go-pretty/v6/text"

	graduationv1 "github.com/longlead/longlead/proto/longlead/graduation/v1"
)

type handoverArrangeCmd struct {
	Site    string `required:"" help:"Code of the site." placeholder:"CODE"`
	Month   string `required:"" help:"Month of the graduation days, written 2027-03." placeholder:"MONTH"`
	Preview bool   `help:"Look only: place nothing, and write to nobody."`
}

// Run arranges a month of a site.
func (c *handoverArrangeCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	got, err := graduationv1.NewGraduationServiceClient(a.conn).ArrangeHandovers(ctx, &graduationv1.ArrangeHandoversRequest{SiteCode: c.Site, Month: c.Month, Preview: c.Preview})
	return showReply(o, std, got, err, func(got *graduationv1.ArrangeHandoversResponse) { printArranged(std.out, o, c, got) })
}

var arrangedWords = map[graduationv1.Arranged_Outcome]string{graduationv1.Arranged_OUTCOME_PLACED: "new", graduationv1.Arranged_OUTCOME_MOVED: "moved",
	graduationv1.Arranged_OUTCOME_KEPT: "as before", graduationv1.Arranged_OUTCOME_MISSING: "no time"}

// printArranged writes who has which time, and for whom there is none and why.
func printArranged(out io.Writer, o *Options, c *handoverArrangeCmd, got *graduationv1.ArrangeHandoversResponse) {
	if len(got.GetArranged()) == 0 {
		printSentence(out, "No dog is to graduate at %s in %s from today on.", c.Site, c.Month)
		return
	}
	t := newTable(out, "day", "begins", "ends", "dog", "trainer", "area", "gate", "choices", "time")
	for _, x := range got.GetArranged() {
		trainer := x.GetTrainerCode()
		if trainer != "" && !x.GetOwnTrainer() {
			trainer += " (cover)"
		}
		t.AppendRow(table.Row{x.GetDay(), x.GetStarts(), x.GetEnds(), x.GetDogCode() + " " + text.Trim(x.GetDogName(), 12), trainer, x.GetAreaCode(), x.GetGate(), x.GetOffers(),
			arrangedWords[x.GetOutcome()]})
	}
	t.Render()
	for _, x := range got.GetArranged() {
		if x.GetReason() != "" {
			printSentence(out, "%s %s, %s: %s. What would help: %s.", x.GetDogCode(), x.GetDogName(), x.GetDay(), x.GetReason(), x.GetRemedy())
		}
	}
	proof := "no choice of times costs less"
	if got.GetGap() > 0 {
		proof = fmt.Sprintf("another choice could cost %d less at most", got.GetGap())
	}
	printSentence(out, "%d new, %d moved, %d as before, %d without a time. The times cost %d points, and %s.", got.GetPlaced(), got.GetMoved(), got.GetKept(), got.GetMissing(), got.GetCost(), proof)
	if c.Preview {
		printSentence(out, "Nothing was placed, and nobody is written to. This does it: %s", o.command("handover arrange --site "+c.Site+" --month "+c.Month))
	}
}

type handoverRemindCmd struct {
	Site   string `help:"Code of the site; all of them are listed when it is left out." placeholder:"CODE"`
	Letter string `help:"Kind of letter to set: enrolment, arrival, week-before or day-before." placeholder:"KIND"`
	Line   string `xor:"line" help:"When these letters go, by the site's clocks: minute, hour, day of month, month, day of week, such as '30 9 * * *'." placeholder:"LINE"`
	Days   int32  `default:"-1" help:"How many days ahead they go." placeholder:"N"`
	Off    bool   `xor:"line" help:"Let none of them go."`
}

// Run sets when letters of a kind go, or lists all.
func (c *handoverRemindCmd) Run(ctx context.Context, o *Options, std streams) error {
	sets := c.Line != "" || c.Off
	if sets != (c.Letter != "") || sets && c.Site == "" {
		return usageError("handover remind needs --site, --letter and one of --line and --off to set when letters go, and no more than --site to list it")
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	client := graduationv1.NewGraduationServiceClient(a.conn)
	if sets {
		req := &graduationv1.SetReminderRequest{SiteCode: c.Site, Letter: c.Letter, Line: c.Line, Off: c.Off}
		if c.Days >= 0 {
			req.Days = &c.Days
		}
		if _, err := client.SetReminder(ctx, req); err != nil {
			return err
		}
	}
	got, err := client.ListReminders(ctx, &graduationv1.ListRemindersRequest{SiteCode: c.Site})
	return showReply(o, std, got, err, func(got *graduationv1.ListRemindersResponse) { printReminders(std.out, got) })
}

// printReminders writes when letters go.
func printReminders(out io.Writer, got *graduationv1.ListRemindersResponse) {
	t := newTable(out, "site", "letter", "goes at", "days ahead", "next, local", "set by")
	for _, r := range got.GetReminders() {
		line, by, days := r.GetLine(), r.GetChangedBy(), fmt.Sprint(r.GetDays())
		if line == "" {
			line = "off"
		}
		if r.GetUsual() {
			by = "usual"
		}
		if r.GetDays() == 0 {
			days = "at once"
		}
		t.AppendRow(table.Row{r.GetSiteCode(), r.GetLetter(), line, days, r.GetNext(), by})
	}
	t.Render()
	printSentence(out, "A line is minute, hour, day of month, month and day of week, by the clocks of the site. Letters go while `longlead serve` runs; what it missed goes when it runs again.")
}
