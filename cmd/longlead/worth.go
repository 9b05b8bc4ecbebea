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

type planWorthCmd struct {
	Plan    string `arg:"" help:"${planhelp}"`
	Lines   int32  `help:"Most lines." default:"20"`
	Check   int32  `help:"How many of the first lines to check by solving again; at most 10." default:"3"`
	Seconds int32  `help:"Seconds of solving for each of them; 1 to 60." default:"5"`
}

// Run lists what one more of each resource would be worth.
func (c *planWorthCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		worth, err := client.ReadWorth(ctx, &plannerv1.ReadWorthRequest{PlanId: id, Lines: c.Lines, Check: c.Check, Seconds: c.Seconds})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, worth)
		}
		printWorth(std.out, worth)
		return nil
	})
}

func printWorth(out io.Writer, worth *plannerv1.ReadWorthResponse) {
	p := worth.GetPlan()
	if len(worth.GetLines()) == 0 {
		fmt.Fprintf(out, "Plan %s has room to spare of everything: one more of nothing would be worth anything.\n", planName(p))
		return
	}
	fmt.Fprintf(out, "What one more would be worth to plan %s (value %d, bound %d), in points:\n", planName(p), p.GetValue(), p.GetBound())
	t := newTable(out, "site", "from", "to", "what", "price", "solved", "proven within")
	for _, l := range worth.GetLines() {
		found, within := "", ""
		if l.GetChecked() {
			found, within = fmt.Sprintf("%+d", l.GetGainFound()), fmt.Sprintf("%d to %d", l.GetGainLeast(), l.GetGainMost())
		}
		t.AppendRow(table.Row{l.GetSiteCode(), l.GetFirstDay(), l.GetLastDay(), text.WrapSoft(l.GetText(), 44), fmt.Sprintf("%.1f", l.GetPrice()), found, within})
	}
	t.Render()
	printSentence(out, "A price holds for small changes near the relaxed optimum. \"solved\" is what a plan found with it is worth more, a further search included; the true gain is proven to lie within.")
}

// printSentence writes a sentence in lines that fit a terminal.
func printSentence(out io.Writer, format string, args ...any) {
	fmt.Fprintln(out, text.WrapSoft(fmt.Sprintf(format, args...), 116))
}

// printChanges lists what would have admitted a request, and what letting it in would do.
func printChanges(out io.Writer, w *plannerv1.Wait) {
	if d := w.GetDisplaced(); d != nil {
		printSentence(out, "Letting it in as things are: %s.", displacedWords(d))
	}
	if len(w.GetChanges()) == 0 {
		return
	}
	printSentence(out, "Each of these would have admitted it with every other placement as it is; each was tried on the plan and the plan recounted:")
	t := newTable(out, "what", "site", "arrival", "trainer", "points")
	for _, c := range w.GetChanges() {
		t.AppendRow(table.Row{text.WrapSoft(c.GetText(), 66), c.GetSiteCode(), c.GetArrival(), c.GetTrainerCode(), fmt.Sprintf("%+d", c.GetPoints())})
	}
	t.Render()
}

func displacedWords(d *plannerv1.Displaced) string {
	words := fmt.Sprintf("at %s from %s", d.GetSiteCode(), d.GetArrival())
	if len(d.GetGivenUp()) > 0 {
		words += ", giving up " + strings.Join(d.GetGivenUp(), " ")
	}
	if len(d.GetMoved()) > 0 {
		words += ", moving " + heldBy(d.GetMoved())
	}
	if d.GetPoints() < 0 {
		return words + fmt.Sprintf(", for %d points more", -d.GetPoints())
	}
	return words + fmt.Sprintf(", for %d points less", d.GetPoints())
}

// printWeighing tells what solving anew has shown.
func printWeighing(out io.Writer, w *plannerv1.Weighing) {
	if w == nil {
		return
	}
	fmt.Fprintln(out, "\nSolved anew:")
	switch w.GetWithEverybody() {
	case "found":
		fmt.Fprintln(out, " - There is a plan with it and everybody who is placed, with others moved to other places of theirs.")
	case "impossible":
		fmt.Fprintln(out, " - It cannot be placed without dropping somebody: that is proven.")
	default:
		fmt.Fprintln(out, " - No plan with it and everybody who is placed was found; that there is none is not proven.")
	}
	if w.GetNoPlace() {
		fmt.Fprintln(out, " - No place for it was found that others could make room for.")
	} else {
		fmt.Fprintf(out, " - The best plan found with it: %s.\n", displacedWords(w.GetBest()))
		fmt.Fprintf(out, " - Taking it in costs the month between %d and %d points: that is proven.\n", w.GetLostLeast(), w.GetLostMost())
	}
	if c := w.GetChange(); c != nil {
		fmt.Fprintf(out, " - With %s: the plan found is worth %+d points. The change gains between %d and %d points: that is proven.\n", c.GetText(), w.GetGainFound(), w.GetGainLeast(), w.GetGainMost())
	}
}
