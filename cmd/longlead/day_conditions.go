package main

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

type dayClosedCmd struct {
	Site   string `required:"" help:"Code of the site." placeholder:"CODE"`
	Area   string `required:"" help:"Code of the training area." placeholder:"CODE"`
	Date   string `required:"" help:"Day, written 2027-03-08." placeholder:"DAY"`
	From   string `help:"From when on, such as 10:00; the beginning of the day when it is left out." placeholder:"TIME"`
	To     string `help:"Until when; the end of the day when it is left out." placeholder:"TIME"`
	Reason string `required:"" help:"Why, for people."`
	Since  string `help:"What begins before this time stays as it is; now when it is left out." placeholder:"TIME"`
}

// Run records the closure and plans the rest of the day by it.
func (c *dayClosedCmd) Run(ctx context.Context, o *Options, std streams) error {
	return withDays(ctx, o, std, func(_ *app, client dayplanv1.DayPlanServiceClient) error {
		got, err := client.CloseArea(ctx, &dayplanv1.CloseAreaRequest{SiteCode: c.Site, Day: c.Date, AreaCode: c.Area, From: c.From, To: c.To, Reason: c.Reason, Since: c.Since})
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printRepair(std.out, fmt.Sprintf("%s, %s without %s %s", c.Site, c.Date, c.Area, partOfDay(c.From, c.To)), repaired{Repair: got.GetRepair(), condition: "the closure"})
		return nil
	})
}

type dayHeatCmd struct {
	Site   string   `required:"" help:"Code of the site." placeholder:"CODE"`
	Date   string   `required:"" help:"Day, written 2027-03-08." placeholder:"DAY"`
	Hour   []string `required:"" help:"Forecast of an hour: 14:00=97F/45 or 14:00=36.1C/45, which is the time at which it begins, the temperature in the shade and the relative humidity in percent. Repeat it for each hour." placeholder:"HOUR" sep:"none"`
	Source string   `help:"Where the figures are from." default:"entered by hand"`
	Since  string   `help:"What begins before this time stays as it is; now when it is left out." placeholder:"TIME"`
}

// Run records the forecast and plans the rest of the day by it.
func (c *dayHeatCmd) Run(ctx context.Context, o *Options, std streams) error {
	req := &dayplanv1.EnterForecastRequest{SiteCode: c.Site, Day: c.Date, Source: c.Source, Since: c.Since}
	for _, text := range c.Hour {
		h, err := parseHour(text)
		if err != nil {
			return err
		}
		req.Hours = append(req.Hours, h)
	}
	return withDays(ctx, o, std, func(_ *app, client dayplanv1.DayPlanServiceClient) error {
		got, err := client.EnterForecast(ctx, req)
		if err != nil {
			return err
		}
		if o.JSON {
			return printJSON(std.out, got)
		}
		printRepair(std.out, fmt.Sprintf("%s, %s in the heat", c.Site, c.Date), repaired{Repair: got.GetRepair(), condition: "the forecast"})
		return nil
	})
}

var hourForm = regexp.MustCompile(`^(\d{1,2}:\d{2})=(-?\d{1,3}(?:\.\d)?)([FCfc])/(\d{1,3})%?$`)

// parseHour reads 14:00=97F/45.
func parseHour(text string) (*dayplanv1.ForecastHour, error) {
	parts := hourForm.FindStringSubmatch(strings.TrimSpace(text))
	if parts == nil {
		return nil, usageError(fmt.Sprintf("--hour %q: write the time, the temperature with its unit and the humidity, such as 14:00=97F/45 or 14:00=36.1C/45", text))
	}
	degrees, err := strconv.ParseFloat(parts[2], 64)
	if err != nil {
		return nil, usageError(err.Error())
	}
	humidity, err := strconv.Atoi(parts[4])
	if err != nil {
		return nil, usageError(err.Error())
	}
	clock := parts[1]
	if len(clock) == len("8:00") {
		clock = "0" + clock
	}
	return &dayplanv1.ForecastHour{Hour: clock, TemperatureTenths: int32(math.Round(10 * degrees)), Unit: strings.ToUpper(parts[3]), Humidity: int32(humidity)}, nil
}

// partOfDay writes from when until when.
func partOfDay(from, to string) string {
	switch {
	case from == "" && to == "":
		return "all day"
	case to == "":
		return "from " + from
	case from == "":
		return "until " + to
	}
	return from + " to " + to
}
