package dayplan

import (
	"math"
	"time"

	"github.com/longlead/longlead/services/workload"

	dayplanv1 "github.com/longlead/longlead/proto/longlead/dayplan/v1"
)

// conditionsToProto shows what counts on the day, whether or not it is planned.
func (got *snapshot) conditionsToProto() (*dayplanv1.Conditions, error) {
	in := &got.in
	clock, err := newClock(in.Day, in.Site.Zone)
	if err != nil {
		return nil, err
	}
	out := &dayplanv1.Conditions{Zone: in.Site.Zone, Dogs: int32(len(in.Guests))}
	for _, a := range in.Areas {
		out.Areas = append(out.Areas, &dayplanv1.Area{Code: a.Code, Kind: a.Kind, DogsAtOnce: int32(a.DogsAtOnce), Outdoors: a.Outdoors})
	}
	first, end := clock.instant(0), clock.instant(clock.minutes)
	within := func(t time.Time) string {
		if t.Before(first) {
			t = first
		}
		if t.After(end) {
			t = end
		}
		return clock.local(t)
	}
	for _, c := range in.Closures {
		out.Closures = append(out.Closures, &dayplanv1.Closure{AreaCode: got.names.areas[c.AreaID], From: within(c.From), To: within(c.To), Reason: c.Reason})
	}
	limits := in.Site.HeatLimits()
	hours := in.Forecast
	if limits.Validate() != nil { // planning the day says what is wrong with them
		hours = nil
	}
	for _, h := range hours {
		all, err := workload.OutdoorWork(ordinary, h.TemperatureF(), float64(h.Humidity), limits)
		if err != nil {
			return nil, err
		}
		risky, err := workload.OutdoorWork(workload.HeatDog{}, h.TemperatureF(), float64(h.Humidity), limits)
		if err != nil {
			return nil, err
		}
		out.Heat = append(out.Heat, &dayplanv1.HeatHour{From: within(h.Hour), To: within(h.Hour.Add(forecastMinutes * time.Minute)),
			FeltTenthsF: int32(math.Round(all.FeltF * 10)), Closed: all.Closed, ClosedSensitive: risky.Closed, Source: h.Source})
	}
	for _, t := range got.names.roster {
		for _, a := range got.names.away {
			if a.TrainerID == t.ID && t.HomeSiteID == in.Site.ID {
				out.Away = append(out.Away, &dayplanv1.Away{TrainerCode: t.Code, TrainerName: t.Name, Kind: a.Kind, LastDay: a.Days.To.AddDays(-1).String()})
			}
		}
	}
	for _, x := range in.Shifts {
		out.Workers = append(out.Workers, &dayplanv1.Worker{TrainerCode: x.Trainer.Code, TrainerName: x.Trainer.Name})
	}
	return out, nil
}
