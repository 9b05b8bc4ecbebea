package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strconv"
	"strings"

	"github.com/longlead/longlead/services/apperr"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type planCmd struct {
	Draft   planDraftCmd   `cmd:"" help:"Draft a month and follow the work until it is done."`
	List    planListCmd    `cmd:"" help:"List plans, newest first."`
	Show    planShowCmd    `cmd:"" help:"Show a plan: totals by site, placements, wait list."`
	Compare planCompareCmd `cmd:"" help:"Say what differs between two plans of a month."`
	Explain planExplainCmd `cmd:"" help:"Say why a request was placed as it was, or why it waits."`
	Moves   planMovesCmd   `cmd:"" help:"Say how much more a month could hold if promises moved: none, one, two and so on."`
	Worth   planWorthCmd   `cmd:"" help:"Say what one more run, place or trainer would be worth, by site and week."`
	Pin     planPinCmd     `cmd:"" help:"Hold a request to a site and day; show what that costs with --preview, do it with --commit."`
	Unpin   planUnpinCmd   `cmd:"" help:"Take a request's pin away."`
	Pins    planPinsCmd    `cmd:"" help:"List the pins of a month."`
	Wish    planWishCmd    `cmd:"" help:"Say what other days or sites of a request would gain or cost; nothing is changed."`
	Publish planPublishCmd `cmd:"" help:"Turn a draft into promises."`
	Finish  planFinishCmd  `cmd:"" help:"Stop a draft that is being worked on and keep the best plan found so far."`
	Cancel  planCancelCmd  `cmd:"" help:"Stop a draft that is being worked on and keep nothing."`
}

// withPlanner runs a command on the planner, of this process or of --server.
func withPlanner(ctx context.Context, o *Options, std streams, do func(client plannerv1.PlannerServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(plannerv1.NewPlannerServiceClient(a.conn))
}

// planHelp says how plans are named on the command line.
const planHelp = "A plan: 2027-03 for the newest of that month, 2027-03/2 for its second, or an ID."

type planDraftCmd struct {
	Month      string `arg:"" help:"Month, written 2027-03."`
	Seconds    int32  `help:"Most seconds of solving, for each region if there are several; 1 to 600." default:"10"`
	Seed       int64  `help:"Seed of the search." default:"1"`
	Iterations int32  `help:"Most iterations of the search, for a result that can be repeated; 0 for no limit." default:"0"`
}

// Run drafts.
func (c *planDraftCmd) Run(ctx context.Context, o *Options, std streams) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	if err := a.work(ctx, false); err != nil {
		return err
	}
	client := plannerv1.NewPlannerServiceClient(a.conn)
	plan, err := draft(ctx, client, &plannerv1.DraftPlanRequest{Month: c.Month, Seconds: c.Seconds, Seed: c.Seed, Iterations: c.Iterations}, std)
	if err != nil {
		return err
	}
	return showPlan(ctx, client, plan.GetId(), o, std, showTotals)
}

// draft starts a draft and follows it. When the caller is interrupted the draft is cancelled: nobody waits for it any more.
func draft(ctx context.Context, client plannerv1.PlannerServiceClient, req *plannerv1.DraftPlanRequest, std streams) (*plannerv1.Plan, error) {
	started, err := client.DraftPlan(ctx, req)
	if err != nil {
		return nil, err
	}
	id := started.GetPlan().GetId()
	plan, err := follow(ctx, client, id, int64(req.GetSeconds()), std)
	if err != nil {
		if ctx.Err() != nil {
			_, cancelErr := client.CancelDraft(context.WithoutCancel(ctx), &plannerv1.CancelDraftRequest{PlanId: id})
			return nil, errors.Join(fmt.Errorf("interrupted; draft %d of %s is cancelled", started.GetPlan().GetNumber(), req.GetMonth()), cancelErr)
		}
		return nil, err
	}
	switch plan.GetState() {
	case plannerv1.PlanState_PLAN_STATE_FAILED:
		return nil, fmt.Errorf("draft %d of %s failed: %s", plan.GetNumber(), plan.GetMonth(), plan.GetFailure())
	case plannerv1.PlanState_PLAN_STATE_CANCELLED:
		return nil, fmt.Errorf("draft %d of %s was cancelled", plan.GetNumber(), plan.GetMonth())
	}
	return plan, nil
}

func follow(ctx context.Context, client plannerv1.PlannerServiceClient, id string, seconds int64, std streams) (*plannerv1.Plan, error) {
	stream, err := client.WatchDraft(ctx, &plannerv1.WatchDraftRequest{PlanId: id})
	if err != nil {
		return nil, err
	}
	show := newProgress(std.err, "Planning")
	defer show.stop()
	var last *plannerv1.Plan
	for {
		event, err := stream.Recv()
		if err == io.EOF {
			return last, nil
		}
		if err != nil {
			return nil, err
		}
		last = event.GetPlan()
		text := event.GetPhase()
		if last.GetValue() > 0 {
			text = fmt.Sprintf("%s: %d placed, value %d, gap %.2f %%", event.GetPhase(), last.GetPlaced(), last.GetValue(), last.GetGapPercent())
		}
		show.update(text, int64(10*last.GetSeconds()), 10*seconds)
	}
}

type planListCmd struct {
	Month string `arg:"" optional:"" help:"Month, written 2027-03; all when there is none."`
}

// Run lists plans.
func (c *planListCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		list, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{Month: c.Month})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, list)
		}
		printPlans(std.out, o, list.GetPlans())
		return nil
	})
}

type planShowCmd struct {
	Plan string `arg:"" help:"${planhelp}"`
	Uses bool   `help:"Show the use of every resource by day as well."`
}

// Run shows a plan.
func (c *planShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		detail := showPlacements
		if c.Uses {
			detail = showUses
		}
		return showPlan(ctx, client, id, o, std, detail)
	})
}

// How much of a plan is shown.
const (
	showTotals = iota
	showPlacements
	showUses
)

func showPlan(ctx context.Context, client plannerv1.PlannerServiceClient, id string, o *Options, std streams, detail int) error {
	plan, err := client.ReadPlan(ctx, &plannerv1.ReadPlanRequest{PlanId: id, WithUses: detail == showUses})
	if err != nil {
		return err
	}
	if o.JSON {
		return printJSON(std.out, plan)
	}
	printPlan(std.out, o, plan, detail)
	return nil
}

// findPlan turns what a person writes into the ID of a plan.
func findPlan(ctx context.Context, client plannerv1.PlannerServiceClient, text string) (string, error) {
	month, number, numbered := strings.Cut(text, "/")
	if len(month) != len("2027-03") {
		return text, nil
	}
	list, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{Month: month})
	if err != nil {
		return "", err
	}
	n := 0
	if numbered {
		if n, err = strconv.Atoi(number); err != nil {
			return "", usageError(fmt.Sprintf("plan %q: write a number after the slash, such as %s/2", text, month))
		}
	}
	for _, p := range list.GetPlans() {
		if !numbered || int(p.GetNumber()) == n {
			return p.GetId(), nil
		}
	}
	return "", apperr.NotFoundf("PLAN_UNKNOWN", "there is no plan %s: `longlead plan list %s` shows the plans of the month", text, month)
}

type planCompareCmd struct {
	First  string `arg:"" help:"${planhelp}"`
	Second string `arg:"" help:"Another plan of the same month."`
}

// Run compares.
func (c *planCompareCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		first, err := findPlan(ctx, client, c.First)
		if err != nil {
			return err
		}
		second, err := findPlan(ctx, client, c.Second)
		if err != nil {
			return err
		}
		compared, err := client.ComparePlans(ctx, &plannerv1.ComparePlansRequest{PlanId: first, OtherPlanId: second})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, compared)
		}
		printComparison(std.out, compared)
		return nil
	})
}

type planExplainCmd struct {
	Plan    string `arg:"" help:"${planhelp}"`
	Request string `arg:"" help:"Code of a request."`
	Seconds int32  `help:"Seconds of solving anew for a request that waits: what the best plan with it would be; at most 60." default:"0"`
}

// Run explains.
func (c *planExplainCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		why, err := client.ExplainRequest(ctx, &plannerv1.ExplainRequestRequest{PlanId: id, RequestCode: c.Request, Seconds: c.Seconds})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, why)
		}
		printExplanation(std.out, why)
		return nil
	})
}

type planPublishCmd struct {
	Plan string `arg:"" help:"${planhelp}"`
}

// Run publishes.
func (c *planPublishCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		result, err := client.PublishPlan(ctx, &plannerv1.PublishPlanRequest{PlanId: id})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, result)
		}
		printPublished(std.out, o, result)
		return nil
	})
}

type planCancelCmd struct {
	Plan string `arg:"" help:"${planhelp}"`
}

// Run cancels.
func (c *planCancelCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		result, err := client.CancelDraft(ctx, &plannerv1.CancelDraftRequest{PlanId: id})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, result)
		}
		fmt.Fprintf(std.out, "Draft %d of %s is cancelled.\n", result.GetPlan().GetNumber(), result.GetPlan().GetMonth())
		return nil
	})
}
