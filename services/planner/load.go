package planner

import (
	"cmp"
	"slices"

	"github.com/longlead/longlead/services/calendar"
	"github.com/longlead/longlead/services/facility"
	"github.com/longlead/longlead/services/ids"
)

// spans are the days of a month in spans of one day or one week.
type spans struct {
	month calendar.Span
	// of is the span of each day of the month.
	of   []int
	days []calendar.Span
}

// newSpans cuts a month into days, or into weeks from Monday of which the first and last may be shorter.
func newSpans(month calendar.Month, byDay bool) spans {
	s := spans{month: month.Span()}
	for day := range s.month.Dates() {
		if n := len(s.days); n > 0 && !byDay && day.ISOWeekday() != 1 {
			s.days[n-1].To = day.AddDays(1)
		} else {
			s.days = append(s.days, calendar.Span{From: day, To: day.AddDays(1)})
		}
		s.of = append(s.of, len(s.days)-1)
	}
	return s
}

// load is the load of one resource by span; see LoadLine in the proto.
type load struct {
	site           ids.SiteID
	resource, unit string
	used, capacity []int64
	full           []int32
	price          []float32
}

// perDay is the use of a resource on each day of a month.
type perDay struct {
	used, capacity []int64
	price          []float32
}

func newPerDay(days int) *perDay {
	return &perDay{used: make([]int64, days), capacity: make([]int64, days), price: make([]float32, days)}
}

func (d *perDay) add(l *loadLine) {
	for day := range l.Used {
		d.used[day] += int64(l.Used[day])
		d.capacity[day] += int64(l.Capacity[day])
		d.price[day] = max(d.price[day], l.Price[day])
	}
}

// sum adds days up over spans. A day on which there is nothing and nothing is used is not full.
func (s spans) sum(site ids.SiteID, resource, unit string, d *perDay) load {
	n := len(s.days)
	out := load{site: site, resource: resource, unit: unit, used: make([]int64, n), capacity: make([]int64, n), full: make([]int32, n), price: make([]float32, n)}
	for day, at := range s.of {
		out.used[at] += d.used[day]
		out.capacity[at] += d.capacity[day]
		out.price[at] = max(out.price[at], d.price[day])
		if d.used[day] >= d.capacity[day] && d.used[day]+d.capacity[day] > 0 {
			out.full[at]++
		}
	}
	return out
}

// loads adds lines up over spans, with one more line for the minutes of all trainers of each site, in the order in which they are shown.
func (s spans) loads(lines []loadLine, sites []facility.Site) []load {
	var out []load
	together := map[ids.SiteID]*perDay{}
	for i := range lines {
		l := &lines[i]
		d := newPerDay(len(s.of))
		d.add(l)
		out = append(out, s.sum(l.SiteID, l.Resource, l.Unit, d))
		if l.Resource == UseTrainerMinutes {
			if together[l.SiteID] == nil {
				together[l.SiteID] = newPerDay(len(s.of))
			}
			together[l.SiteID].add(l)
		}
	}
	for site, d := range together {
		out = append(out, s.sum(site, UseTrainerMinutes, "", d))
	}
	at := map[ids.SiteID]int{}
	for i := range sites {
		at[sites[i].ID] = i
	}
	slices.SortFunc(out, func(a, b load) int {
		return cmp.Or(cmp.Compare(at[a.site], at[b.site]), cmp.Compare(slices.Index(resourceOrder, a.resource), slices.Index(resourceOrder, b.resource)),
			cmp.Compare(classRank(facility.Class(a.unit)), classRank(facility.Class(b.unit))), cmp.Compare(a.unit, b.unit))
	})
	return out
}

// resourceOrder is the order in which resources are shown.
var resourceOrder = []string{UseRuns, UseTrainerMinutes, UseIntake, UseHandover, UseSiteMinutes}
