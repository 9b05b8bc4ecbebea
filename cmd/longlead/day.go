package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/longlead/longlead/services/calendar"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
	facilityv1 "github.com/longlead/longlead/proto/longlead/facility/v1"
)

type dayCmd struct {
	Show    dayShowCmd    `cmd:"" help:"Show the plan of a site's day; without one, what planning it now gives."`
	Plan    dayPlanCmd    `cmd:"" help:"Plan a day, or every day of a month, and keep the plans."`
	Absent  dayAbsentCmd  `cmd:"" help:"Plan the rest of a day anew with a trainer gone, and show only what is otherwise."`
	Closed  dayClosedCmd  `cmd:"" help:"Record that a training area is closed, plan the rest of the day anew, and show only what is otherwise."`
	Heat    dayHeatCmd    `cmd:"" help:"Record a forecast, plan the rest of the day anew by it, and show only what is otherwise."`
	Evening dayEveningCmd `cmd:"" help:"List or set when each site's next day is planned by itself, and what came of it."`
}

// withDays runs a command on the day planner, of this process or of --server.
func withDays(ctx context.Context, o *Options, std streams, do func(a *app, client dayplanv1.DayPlanServiceClient) error) error {
	a, err := openApp(ctx, o, std, slog.LevelWarn)
	if err != nil {
		return err
	}
	defer a.Close()
	return do(a, dayplanv1.NewDayPlanServiceClient(a.conn))
}

type dayShowCmd struct {
	Site string `required:"" help:"Code of the site." placeholder:"CODE"`
	Date string `required:"" help:"Day, written 2027-03-08." placeholder:"DAY"`
}

// Run shows a day.
func (c *dayShowCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withDays(ctx, o, std, func(_ *app, client dayplanv1.DayPlanServiceClient) error {
		got, err := client.GetDay(ctx, &dayplanv1.GetDayRequest{SiteCode: c.Site, Day: c.Date})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printDay(std.out, o, got.GetPlan())
		return nil
	})
}

type dayPlanCmd struct {
	Site    string  `help:"Code of the site; all of them when it is left out." placeholder:"CODE"`
	Month   string  `xor:"when" help:"Every day of a month, written 2027-03." placeholder:"MONTH"`
	Date    string  `xor:"when" help:"One day, written 2027-03-08." placeholder:"DAY"`
	Seconds float64 `help:"Most seconds of solving for each day: 2 for one day and 0.4 for each of a month when it is left out. A day that is proven best takes less."`
	Seed    int64   `help:"Seed of the search." default:"1"`
	Anew    bool    `help:"Replace plans whose day has begun as well."`
}

// Run plans days.
func (c *dayPlanCmd) Run(ctx context.Context, o *Options, std streams) error {
	days, err := c.days()
	if err != nil {
		return err
	}
	return withDays(ctx, o, std, func(a *app, client dayplanv1.DayPlanServiceClient) error {
		sites := []string{c.Site}
		if c.Site == "" {
			if sites, err = siteCodes(ctx, a); err != nil {
				return err
			}
		}
		if c.Seconds == 0 && c.Month != "" {
			c.Seconds = monthSeconds
		}
		var asked []*dayplanv1.PlanDayRequest
		for day := range days.Dates() {
			for _, site := range sites {
				asked = append(asked, &dayplanv1.PlanDayRequest{SiteCode: site, Day: day.String(), LimitMs: int32(1000 * c.Seconds), Seed: c.Seed, EvenIfBegun: c.Anew})
			}
		}
		began := time.Now()
		done, err := planDays(ctx, client, asked, std)
		if err != nil {
			return err
		}
		done.Seconds = time.Since(began).Seconds()
		return printDays(std.out, o, done)
	})
}

// days are the days that a command line asks for.
func (c *dayPlanCmd) days() (calendar.Span, error) {
	switch {
	case c.Month != "":
		month, err := calendar.ParseMonth(c.Month)
		if err != nil {
			return calendar.Span{}, usageError(err.Error())
		}
		return month.Span(), nil
	case c.Date != "":
		day, err := calendar.ParseDate(c.Date)
		if err != nil {
			return calendar.Span{}, usageError(err.Error())
		}
		return calendar.Span{From: day, To: day.AddDays(1)}, nil
	}
	return calendar.Span{}, usageError("day plan needs --month or --date")
}

func siteCodes(ctx context.Context, a *app) (codes []string, err error) {
	list, err := facilityv1.NewFacilityServiceClient(a.conn).ListSites(ctx, &facilityv1.ListSitesRequest{})
	for _, s := range list.GetSites() {
		codes = append(codes, s.GetCode())
	}
	return codes, err
}

// monthSeconds is what a day of a month is given: longer searches of the demo's days held no session more.
const monthSeconds = 0.4

// daysAtOnce is how many days are planned at a time.
const daysAtOnce = 2

// daysPlanned sums up what was planned.
type daysPlanned struct {
	Days     int      `json:"days"`
	Held     int      `json:"sessions_held"`
	Dropped  int      `json:"sessions_dropped"`
	WorstGap float64  `json:"worst_gap_percent"`
	WorstDay string   `json:"worst_day"`
	Seconds  float64  `json:"seconds"`
	Begun    []string `json:"left_as_begun"`
}

// planDays plans days, a few at a time. A day that has begun is left as it is and told; any other failure ends the work.
func planDays(ctx context.Context, client dayplanv1.DayPlanServiceClient, asked []*dayplanv1.PlanDayRequest, std streams) (sum daysPlanned, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	show := newProgress(std.err, "Planning days")
	defer show.stop()
	var (
		lock sync.Mutex
		work = make(chan *dayplanv1.PlanDayRequest)
		all  sync.WaitGroup
		seen int64
	)
	one := func(req *dayplanv1.PlanDayRequest) {
		got, failed := client.PlanDay(ctx, req)
		lock.Lock()
		defer lock.Unlock()
		seen++
		switch {
		case status.Code(failed) == codes.FailedPrecondition && len(asked) > 1 && begunAlready(failed):
			sum.Begun = append(sum.Begun, req.GetSiteCode()+" "+req.GetDay())
		case failed != nil:
			if err == nil {
				err = failed
			}
			cancel()
		default:
			sum.add(got.GetPlan())
		}
		show.update(fmt.Sprintf("%d held, %d dropped", sum.Held, sum.Dropped), seen, int64(len(asked)))
	}
	for range min(daysAtOnce, len(asked)) {
		all.Go(func() {
			for req := range work {
				one(req)
			}
		})
	}
	for _, req := range asked {
		if ctx.Err() != nil {
			break
		}
		work <- req
	}
	close(work)
	all.Wait()
	if err == nil {
		err = ctx.Err()
	}
	return sum, err
}

func (s *daysPlanned) add(p *dayplanv1.DayPlan) {
	s.Days++
	s.Held += len(p.GetBlocks())
	s.Dropped += len(p.GetDrops())
	if gap := p.GetGapPercent(); gap >= s.WorstGap {
		s.WorstGap, s.WorstDay = gap, p.GetSiteCode()+" "+p.GetDay()
	}
}

type dayAbsentCmd struct {
	Trainer string `required:"" help:"Code of the trainer." placeholder:"CODE"`
	Date    string `required:"" help:"Day, written 2027-03-08." placeholder:"DAY"`
	From    string `help:"From when on, such as 10:00; the whole day when it is left out." placeholder:"TIME"`
	Keep    bool   `help:"Keep the new plan of the day. Without it nothing is changed."`
}

// Run plans a day anew.
func (c *dayAbsentCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withDays(ctx, o, std, func(_ *app, client dayplanv1.DayPlanServiceClient) error {
		got, err := client.CoverAbsence(ctx, &dayplanv1.CoverAbsenceRequest{TrainerCode: c.Trainer, Day: c.Date, From: c.From, Keep: c.Keep})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		repair := &dayplanv1.Repair{SiteCode: got.GetSiteCode(), Differences: got.GetDifferences(), Moved: got.GetMoved(), Dropped: got.GetDropped(),
			WithOthers: got.GetWithOthers(), Points: got.GetPoints(), Gap: got.GetGap(), Seconds: got.GetSeconds(), Notes: got.GetNotes(), Plan: got.GetPlan()}
		printRepair(std.out, fmt.Sprintf("%s, %s without %s %s", got.GetSiteCode(), c.Date, c.Trainer, partOfDay(c.From, "")), repaired{Repair: repair, covered: got.GetCovered()})
		return nil
	})
}
