package main

import (
	"context"
	"fmt"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type planFinishCmd struct {
	Plan string `arg:"" help:"${planhelp}"`
}

// Run asks for the best plan found so far.
func (c *planFinishCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withPlanner(ctx, o, std, func(client plannerv1.PlannerServiceClient) error {
		id, err := findPlan(ctx, client, c.Plan)
		if err != nil {
			return err
		}
		result, err := client.FinishDraft(ctx, &plannerv1.FinishDraftRequest{PlanId: id})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, result)
		}
		p := result.GetPlan()
		if p.GetState() == plannerv1.PlanState_PLAN_STATE_DRAFTING {
			fmt.Fprintf(std.out, "Draft %d of %s ends with the best plan found so far; its worker needs a moment.\n", p.GetNumber(), p.GetMonth())
			return nil
		}
		fmt.Fprintf(std.out, "Plan %d of %s is done already: nothing was changed.\n", p.GetNumber(), p.GetMonth())
		return nil
	})
}
