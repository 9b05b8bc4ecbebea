package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"path/filepath"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/testdata/scenario"

	exchangev1 "github.com/longlead/longlead/proto/longlead/exchange/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

type demoCmd struct {
	ListenOptions
	MailOptions
	Once    bool  `help:"Print the plan and stop, without serving."`
	Seconds int32 `help:"Most seconds of solving." default:"10"`
}

// Run shows the whole job on the invented school: import, plan, publish, arrange handovers, write to owners, serve. A data folder that holds the school already
// is kept as it is.
func (c *demoCmd) Run(ctx context.Context, o *Options, std streams) error {
	if o.Server != "" {
		return usageError("the demo works here, so --server makes no sense with it")
	}
	if o.Data == defaultDataDir() {
		o.Data = filepath.Join(o.Data, "demo") // the demo must not mix with a real school
	}
	if o.PublicURL == defaultPublicURL && !strings.HasSuffix(c.HTTP, ":0") {
		o.PublicURL = "http://" + c.HTTP // the links in letters open here
	}
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	if _, err := a.useMail(o, &c.MailOptions, true); err != nil {
		return err
	}
	if err := a.work(ctx, !c.Once); err != nil {
		return err
	}
	if err := loadScenario(ctx, a, o, std); err != nil {
		return err
	}
	client := plannerv1.NewPlannerServiceClient(a.conn)
	id, err := c.planMonth(ctx, client, o, std)
	if err != nil {
		return err
	}
	if err := showPlan(ctx, client, id, o, std, showTotals); err != nil {
		return err
	}
	if err := c.arrangeMonth(ctx, a, o, std); err != nil {
		return err
	}
	if c.Once {
		return nil
	}
	if err := letPeopleIn(ctx, a, o, std); err != nil {
		return err
	}
	return serve(ctx, a, o, c.ListenOptions, std)
}

// loadScenario imports the invented school through the same import that users have, unless there is a school already.
func loadScenario(ctx context.Context, a *app, o *Options, std streams) error {
	sites, err := facilityv1.NewFacilityServiceClient(a.conn).ListSites(ctx, &facilityv1.ListSitesRequest{})
	if err != nil {
		return err
	}
	if n := len(sites.GetSites()); n > 0 {
		if err := requireInvented(sites.GetSites()); err != nil {
			return err
		}
		fmt.Fprintf(o.notes(std), "The invented school of %d sites is here already; it is kept as it is.\n", n)
		return nil
	}
	names, err := tablesIn(scenario.FS)
	if err != nil {
		return fmt.Errorf("read the scenario: %w", err)
	}
	req := &exchangev1.ImportRequest{}
	for _, name := range names {
		content, err := fs.ReadFile(scenario.FS, name)
		if err != nil {
			return fmt.Errorf("read the scenario: %w", err)
		}
		req.Files = append(req.Files, &exchangev1.ImportFile{Name: name, Content: content})
	}
	report, err := importFiles(ctx, a, req, std)
	if err != nil {
		return err
	}
	if !report.GetImported() {
		printImport(std.err, o, report, false, false)
		return errors.New("the scenario has faults, which must not be: please report this")
	}
	rows := int32(0)
	for _, f := range report.GetFiles() {
		rows += f.GetTaken()
	}
	fmt.Fprintf(o.notes(std), "Imported an invented school: %d rows of %d files.\n", rows, len(report.GetFiles()))
	return nil
}

// requireInvented refuses a school that is not the demo's own: the demo publishes a plan, and a real school's promises are not
// for trying things out.
func requireInvented(sites []*facilityv1.Site) error {
	list, err := fs.ReadFile(scenario.FS, "sites.csv")
	if err != nil {
		return fmt.Errorf("read the scenario: %w", err)
	}
	for _, site := range sites {
		if !strings.Contains(string(list), "\n"+site.GetCode()+",") {
			return apperr.Preconditionf("ANOTHER_SCHOOL", "another school is here, with a site %s, and the demo would publish a plan for it: "+
				"give the demo a data folder or database of its own", site.GetCode())
		}
	}
	return nil
}

// planMonth drafts and publishes the scenario's month, unless it is published already. It returns the plan's ID.
func (c *demoCmd) planMonth(ctx context.Context, client plannerv1.PlannerServiceClient, o *Options, std streams) (string, error) {
	list, err := client.ListPlans(ctx, &plannerv1.ListPlansRequest{Month: scenario.Month})
	if err != nil {
		return "", err
	}
	for _, p := range list.GetPlans() {
		if p.GetState() == plannerv1.PlanState_PLAN_STATE_PUBLISHED {
			fmt.Fprintf(o.notes(std), "Plan %s is published already.\n\n", planName(p))
			return p.GetId(), nil
		}
	}
	plan, err := draft(ctx, client, &plannerv1.DraftPlanRequest{Month: scenario.Month, Seconds: c.Seconds}, std)
	if err != nil {
		return "", err
	}
	result, err := client.PublishPlan(ctx, &plannerv1.PublishPlanRequest{PlanId: plan.GetId()})
	if err != nil {
		return "", err
	}
	printPublished(o.notes(std), o, result)
	fmt.Fprintln(o.notes(std))
	return plan.GetId(), nil
}
