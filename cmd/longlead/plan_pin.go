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

type planPinCmd struct {
	Plan    string `arg:"" help:"${planhelp}"`
	Request string `arg:"" help:"Code of the request."`
	Site    string `help:"Code of the site." required:""`
	Arrival string `help:"Arrival day, written 2027-03-08." required:"" placeholder:"DAY"`
	Class   string `help:"Class of run: S, M, L or XL; any that suits when left out."`
	Trainer string `help:"Code of the trainer; any who suits when left out."`
	Preview bool   `help:"Show what it would cost, and change nothing."`
	Seconds int32  `help:"Seconds of solving for the preview; 1 to 60." default:"5"`
	Commit  string `help:"Pin it as a preview with this fingerprint showed." placeholder:"FINGERPRINT"`
	Note    string `help:"Why, for whoever reads it later."`
}

// Run previews a pin, or makes one.
func (c *planPinCmd) Run(ctx context.Context, o *Options, std streams) error {
	if c.Preview == (c.Commit != "") {
		return usageError("plan pin: --preview shows what the pin costs; --commit with the fingerprint of a preview makes it")
	}
	at := &plannerv1.PinAt{SiteCode: c.Site, Arrival: c.Arrival, RunClass: strings.ToUpper(c.Class), TrainerCode: c.Trainer}
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		if c.Commit != "" {
			made, err := client.PinPlacement(ctx, &plannerv1.PinPlacementRequest{RequestCode: c.Request, Pin: at, Fingerprint: c.Commit, Note: c.Note})
			if err != nil {
				return err
			}
			if o.JSON {
				return printJSON(std.out, made)
			}
			fmt.Fprintf(std.out, "%s is pinned to %s: drafts place it nowhere else. Draft the month again.\n", c.Request, pinWords(made.GetPin().GetAt()))
			return nil
		}
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		seen, err := client.PreviewPlacement(ctx, &plannerv1.PreviewPlacementRequest{PlanId: id, RequestCode: c.Request, Seconds: c.Seconds,
			Change: &plannerv1.PreviewPlacementRequest_Pin{Pin: at}})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, seen)
		}
		printPreview(std.out, c.Request, seen)
		fmt.Fprintf(std.out, "\nThis pins it, unless anything has changed meanwhile:\n%s\n", o.command(c.words(seen.GetFingerprint())))
		return nil
	})
}

// words is the command that keeps what was previewed.
func (c *planPinCmd) words(fingerprint string) string {
	words := fmt.Sprintf("plan pin %s %s --site %s --arrival %s", c.Plan, c.Request, c.Site, c.Arrival)
	if c.Class != "" {
		words += " --class " + c.Class
	}
	if c.Trainer != "" {
		words += " --trainer " + c.Trainer
	}
	return words + " --commit " + fingerprint
}

type planWishCmd struct {
	Plan    string   `arg:"" help:"${planhelp}"`
	Request string   `arg:"" help:"Code of the request."`
	From    string   `help:"First arrival day, written 2027-03-08." placeholder:"DAY"`
	To      string   `help:"Last arrival day." placeholder:"DAY"`
	Site    []string `help:"Code of a site that the owner would accept; may be given again. Those of the request when left out."`
	Seconds int32    `help:"Seconds of solving; 1 to 60." default:"5"`
}

// Run says what another wish would gain or cost. It changes nothing: a wish is changed where requests are entered.
func (c *planWishCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		seen, err := client.PreviewPlacement(ctx, &plannerv1.PreviewPlacementRequest{PlanId: id, RequestCode: c.Request, Seconds: c.Seconds,
			Change: &plannerv1.PreviewPlacementRequest_Wish{Wish: &plannerv1.Wish{FirstDay: c.From, LastDay: c.To, SiteCodes: c.Site}}})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, seen)
		}
		printPreview(std.out, c.Request, seen)
		return nil
	})
}

type planUnpinCmd struct {
	Request string `arg:"" help:"Code of the request."`
}

// Run takes a pin away.
func (c *planUnpinCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		done, err := client.Unpin(ctx, &plannerv1.UnpinRequest{RequestCode: c.Request})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, done)
		}
		fmt.Fprintf(std.out, "%s is pinned no more; it was to %s. Draft the month again.\n", c.Request, pinWords(done.GetPin().GetAt()))
		return nil
	})
}

type planPinsCmd struct {
	Month string `arg:"" help:"Month, written 2027-03."`
	Ended bool   `help:"Show those that were taken away as well."`
}

// Run lists pins.
func (c *planPinsCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		list, err := client.ListPins(ctx, &plannerv1.ListPinsRequest{Month: c.Month, WithEnded: c.Ended})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, list)
		}
		if len(list.GetPins()) == 0 {
			fmt.Fprintf(std.out, "No request is pinned in %s.\n", c.Month)
			return nil
		}
		t := newTable(std.out, "request", "dog", "pinned to", "by", "note", "taken away by")
		for _, p := range list.GetPins() {
			t.AppendRow(table.Row{p.GetRequestCode(), p.GetDogName(), pinWords(p.GetAt()), p.GetMadeBy(), text.WrapSoft(p.GetNote(), 40), p.GetEndedBy()})
		}
		t.Render()
		return nil
	})
}

// pinWords is a pin in one line.
func pinWords(at *plannerv1.PinAt) string {
	words := fmt.Sprintf("%s from %s", at.GetSiteCode(), at.GetArrival())
	if at.GetRunClass() != "" {
		words += ", run of class " + at.GetRunClass()
	}
	if at.GetTrainerCode() != "" {
		words += ", with " + at.GetTrainerCode()
	}
	return words
}

func placedWords(at *plannerv1.PlacedAt) string {
	if at == nil {
		return "waits"
	}
	return fmt.Sprintf("%s %s to %s, %s, %s", at.GetSiteCode(), at.GetArrival(), at.GetGraduation(), at.GetRunClass(), at.GetTrainerCode())
}

// printPreview writes what a pin or another wish would do.
func printPreview(out io.Writer, code string, p *plannerv1.PreviewPlacementResponse) {
	if p.GetPlacement() == nil {
		printSentence(out, "%s would wait: %s.", code, p.GetReason())
	} else {
		printSentence(out, "%s would be placed: %s.", code, placedWords(p.GetPlacement()))
	}
	printSentence(out, "The plan has %d points; the one found with the change has %d (%+d). For the best plans the difference is proven to lie between %+d and %+d.",
		p.GetPointsBefore(), p.GetPointsAfter(), p.GetPointsAfter()-p.GetPointsBefore(), p.GetGainLeast(), p.GetGainMost())
	if s := p.GetSmallest(); s != nil {
		printSentence(out, "The smallest step from this plan costs %d points; %s would lose their place, %s would be placed otherwise.", s.GetPoints(), listed(s.GetDisplaced()), listed(s.GetMoved()))
	}
	if len(p.GetShifts()) == 0 {
		return
	}
	fmt.Fprintln(out, "\nPlaced otherwise in the plan that was found:")
	t := newTable(out, "request", "dog", "now", "then")
	for _, s := range p.GetShifts() {
		t.AppendRow(table.Row{s.GetRequestCode(), s.GetDogName(), placedWords(s.GetBefore()), placedWords(s.GetAfter())})
	}
	t.Render()
}

// listed writes codes, or that there are none.
func listed(codes []string) string {
	if len(codes) == 0 {
		return "none"
	}
	return strings.Join(codes, ", ")
}
