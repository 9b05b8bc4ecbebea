package dayplan

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/longlead/longlead/services/apperr"
	"github.com/longlead/longlead/services/dayblocks"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/workload"
)

// forecastMinutes is what one entry of a forecast speaks for.
const forecastMinutes = 60

// ordinary is a dog that heat puts at no special risk.
var ordinary = workload.HeatDog{AgeMonths: 36, WeightGrams: 20_000, FlatFaced: workload.No, Overweight: workload.No}

// heatDog is what heat asks of a guest on the day.
func (t *task) heatDog(i int) workload.HeatDog {
	g := &t.in.Guests[i]
	// A dog in its first month has 0 completed months, which there means that the age is unknown.
	return workload.HeatDog{AgeMonths: max(1, g.Case.Dog.AgeMonths(t.in.Day)), WeightGrams: g.Case.Dog.WeightG,
		FlatFaced: g.Traits.FlatFaced, Overweight: g.Traits.Overweight}
}

// addHeat closes work outdoors for each dog in the hours whose weather is above its limit, and says what people should know. Hours and days
// without a forecast close nothing and are told.
func (t *task) addHeat() error {
	t.hot = make([][]dayblocks.Span, len(t.in.Guests))
	if err := t.in.Site.HeatLimits().Validate(); err != nil {
		return apperr.Preconditionf("HEAT_LIMITS", "the heat limits of site %s cannot be (%v): correct heat_closed_f and heat_sensitive_f", t.in.Site.Code, err)
	}
	for i := range t.in.Guests {
		hot, err := t.tooHot(t.heatDog(i))
		if err != nil {
			return err
		}
		t.hot[i] = hot
	}
	return t.noteHeat()
}

// tooHot is when work outdoors is closed for a dog.
func (t *task) tooHot(dog workload.HeatDog) (hot []dayblocks.Span, err error) {
	for _, h := range t.in.Forecast {
		answer, err := workload.OutdoorWork(dog, h.TemperatureF(), float64(h.Humidity), t.in.Site.HeatLimits())
		if err != nil {
			return nil, err
		}
		if answer.Closed {
			hot = append(hot, t.hourOf(h))
		}
	}
	return joined(hot), nil
}

// hourOf is the minutes of the day that an entry of the forecast speaks for.
func (t *task) hourOf(h facility.ForecastHour) dayblocks.Span {
	from := t.clock.minute(h.Hour)
	return t.within(from/step*step, from+forecastMinutes)
}

// joined is spans, in order of their starts, with those that touch made one.
func joined(spans []dayblocks.Span) (out []dayblocks.Span) {
	for _, s := range spans {
		if n := len(out); n > 0 && s.From <= out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// spanWords writes spans of the day by the site's clocks.
func (t *task) spanWords(spans []dayblocks.Span) string {
	var words []string
	for _, s := range spans {
		words = append(words, t.clock.local(t.clock.instant(s.From))+" to "+t.clock.local(t.clock.instant(s.To)))
	}
	return strings.Join(words, ", ")
}

// noteHeat says what was planned for and what was not, and the cautions of package workload, also on a cool day.
func (t *task) noteHeat() error {
	var outdoors []string
	for _, a := range t.in.Areas {
		if a.Outdoors {
			outdoors = append(outdoors, a.Code)
		}
	}
	where := strings.Join(outdoors, ", ")
	switch {
	case len(outdoors) == 0:
		t.note("No area of the site is outdoors, so heat closes none. Indoors it counts as well: a person looks at it.")
	case len(t.in.Forecast) == 0:
		t.note("Heat was not planned for: nobody entered a forecast of this day. Look at one before anybody works outdoors (%s); "+
			"`longlead day heat` takes it in and plans the day by it.", where)
	default:
		if err := t.noteForecast(where); err != nil {
			return err
		}
	}
	return t.noteCautions()
}

// noteForecast says when which dogs may not work outdoors, by whose word, and which hours nobody spoke of.
func (t *task) noteForecast(where string) error {
	all, err := t.tooHot(ordinary)
	if err != nil {
		return err
	}
	risky, err := t.tooHot(workload.HeatDog{})
	if err != nil {
		return err
	}
	answer, hour, err := t.hottest()
	if err != nil {
		return err
	}
	words := func(spans []dayblocks.Span) string {
		if len(spans) == 0 {
			return "not closed"
		}
		return "closed " + t.spanWords(spans)
	}
	var sources []string
	for _, h := range t.in.Forecast {
		sources = append(sources, h.Source)
	}
	slices.Sort(sources)
	t.note("Heat, outdoors (%s): %s for all dogs, %s for those with the lower limit. It feels like %.1f F at most, from %s on; the forecast is from: %s. "+
		"It is somebody's word of what may come: look at the sky and a thermometer as well.", where, words(all), words(risky), answer.FeltF,
		t.clock.local(t.clock.instant(t.hourOf(hour).From)), strings.Join(slices.Compact(sources), "; "))
	open, _, err := t.clock.span(areasOpen, areasClose)
	if err != nil {
		return err
	}
	var silent []dayblocks.Span
	for from := open.From; from < open.To; from += step {
		if !slices.ContainsFunc(t.in.Forecast, func(h facility.ForecastHour) bool { s := t.hourOf(h); return s.From <= from && from < s.To }) {
			silent = append(silent, dayblocks.Span{From: from, To: from + step})
		}
	}
	if silent = joined(silent); len(silent) > 0 {
		t.note("No forecast for %s: heat was not planned for then. Look at one before anybody works outdoors.", t.spanWords(silent))
	}
	return nil
}

// hottest is the answer for an ordinary dog in the hour that feels hottest.
func (t *task) hottest() (most workload.HeatAnswer, at facility.ForecastHour, err error) {
	for n, h := range t.in.Forecast {
		answer, err := workload.OutdoorWork(ordinary, h.TemperatureF(), float64(h.Humidity), t.in.Site.HeatLimits())
		if err != nil {
			return most, at, err
		}
		if n == 0 || answer.FeltF > most.FeltF {
			most, at = answer, h
		}
	}
	return most, at, nil
}

// mildF and mildHumidity are weather in which only the cautions remain that hold in any.
const (
	mildF        = 60
	mildHumidity = 50
)

// noteCautions names the dogs with the lower limit and why, and passes the cautions on.
func (t *task) noteCautions() error {
	limits := t.in.Site.HeatLimits()
	general, err := workload.OutdoorWork(ordinary, mildF, mildHumidity, limits)
	if err != nil {
		return err
	}
	if len(t.in.Forecast) > 0 {
		if general, _, err = t.hottest(); err != nil {
			return err
		}
	}
	dogs := map[string][]string{}
	var reasons []string
	for i, g := range t.in.Guests {
		why := strings.Join(t.heatDog(i).SensitiveTo(), ", ")
		if why == "" {
			continue
		}
		if dogs[why] == nil {
			reasons = append(reasons, why)
		}
		dogs[why] = append(dogs[why], g.Case.Dog.Code)
	}
	slices.SortFunc(reasons, func(a, b string) int { return cmp.Compare(dogs[a][0], dogs[b][0]) })
	var list []string
	for _, why := range reasons {
		list = append(list, fmt.Sprintf("%s (%s)", strings.Join(dogs[why], ", "), why))
	}
	if len(list) > 0 {
		risky, err := workload.OutdoorWork(workload.HeatDog{}, mildF, mildHumidity, limits)
		if err != nil {
			return err
		}
		t.note("The lower limit of %d F is for: %s.", risky.LimitF, strings.Join(list, "; "))
		t.note("For each of them: %s", risky.Cautions[0])
	}
	for _, caution := range general.Cautions {
		t.note("%s", caution)
	}
	return nil
}
