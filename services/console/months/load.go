package months

import (
	"cmp"
	"math"
	"slices"
	"strings"

	plannerv1 "github.com/longlead/longlead/proto/longlead/planner/v1"
)

// Resources, as the planner names them.
const (
	runs           = "runs"
	trainerMinutes = "trainer minutes"
	intakePlaces   = "intake places"
	handoverPlaces = "handover places"
	siteMinutes    = "site minutes"
)

// load is the load of a month against capacity, a row for each site.
type load struct {
	Columns []column
	Sites   []siteLoad
	// Weeks are the first days of the bars.
	Weeks []string
	// Draft says that bars are a proposal.
	Draft bool
	// ByCode says that sites stand by their codes, else those first that bind most.
	ByCode bool
	// Path is that of the plan.
	Path string
}

// column is a resource that at least one site has.
type column struct {
	// Head is its name, FullOf what is counted when it is used up.
	Head, FullOf string
	resource     string
	unit         string
}

// siteLoad is a row of the picture.
type siteLoad struct {
	Code, Name, Path string
	Placed, Waiting  int32
	Cells            []cell
	full             int32
}

// cell is one resource of one site over the weeks of the month.
type cell struct {
	Has     bool
	Bars    drawing
	Percent int64
	Full    int32
}

// weekly is one line of load as it comes.
type weekly struct {
	used, capacity []int64
	full           []int32
}

// key names a line: a resource of a site, and its class or trainer.
type key struct{ site, resource, unit string }

// allColumns are the columns in the order of a stay: it needs a run, then somebody's time, and it comes and goes.
func allColumns() []column {
	return []column{
		{Head: "Runs S", FullOf: "day", resource: runs, unit: "S"}, {Head: "Runs M", FullOf: "day", resource: runs, unit: "M"},
		{Head: "Runs L", FullOf: "day", resource: runs, unit: "L"}, {Head: "Runs XL", FullOf: "day", resource: runs, unit: "XL"},
		{Head: "Trainers", FullOf: "trainer day", resource: trainerMinutes},
		{Head: "Intake", FullOf: "day", resource: intakePlaces}, {Head: "Handovers", FullOf: "day", resource: handoverPlaces},
	}
}

// loadOf lays the weeks of a plan out by site.
func loadOf(reply *plannerv1.ReadLoadResponse, totals []*plannerv1.SiteTotals, names map[string]string, plan string, draft, byCode bool) load {
	lines := map[key]weekly{}
	held := map[string]weekly{}
	for _, l := range reply.GetLines() {
		w := weekly{l.GetUsed(), l.GetCapacity(), l.GetFullDays()}
		lines[key{l.GetSiteCode(), l.GetResource(), l.GetUnit()}] = w
		if l.GetResource() == trainerMinutes && l.GetUnit() != "" {
			held[l.GetSiteCode()] = addFull(held[l.GetSiteCode()], w, reply.GetDays())
		}
	}
	out := load{Weeks: reply.GetFirstDays(), Draft: draft, ByCode: byCode, Path: plan}
	for _, c := range allColumns() {
		if slices.ContainsFunc(reply.GetLines(), func(l *plannerv1.LoadLine) bool { return l.GetResource() == c.resource && l.GetUnit() == c.unit }) {
			out.Columns = append(out.Columns, c)
		}
	}
	for _, t := range totals {
		row := siteLoad{Code: t.GetSiteCode(), Name: names[t.GetSiteCode()], Path: path(plan+"/site", t.GetSiteCode()), Placed: t.GetPlaced(), Waiting: t.GetWaiting()}
		for _, c := range out.Columns {
			w, has := lines[key{row.Code, c.resource, c.unit}]
			days := reply.GetDays()
			if c.resource == trainerMinutes {
				// A site's trainers are full one by one: the cap says how many of their days are.
				w.full, days = held[row.Code].full, clamped(held[row.Code].capacity)
			}
			made := cellOf(w, has, days, draft)
			row.full += made.Full
			row.Cells = append(row.Cells, made)
		}
		out.Sites = append(out.Sites, row)
	}
	slices.SortStableFunc(out.Sites, func(a, b siteLoad) int {
		if byCode || a.tightness() == b.tightness() {
			return strings.Compare(a.Code, b.Code)
		}
		return cmp.Compare(b.tightness(), a.tightness())
	})
	return out
}

// addFull counts the full days of several trainers together: full are those, capacity all of their days.
func addFull(sum, w weekly, days []int32) weekly {
	if sum.full == nil {
		sum = weekly{capacity: make([]int64, len(days)), full: make([]int32, len(days))}
	}
	for i := range days {
		if i < len(w.full) {
			sum.full[i] += w.full[i]
			sum.capacity[i] += int64(days[i])
		}
	}
	return sum
}

func clamped(wide []int64) []int32 {
	narrow := make([]int32, len(wide))
	for i, n := range wide {
		narrow[i] = int32(min(n, math.MaxInt32))
	}
	return narrow
}

// tightness orders sites: those first where most is used up.
func (s siteLoad) tightness() int32 { return s.full }

func cellOf(w weekly, has bool, days []int32, draft bool) cell {
	var used, capacity int64
	made := cell{Has: has}
	for i := range w.used {
		used += w.used[i]
		capacity += w.capacity[i]
	}
	for _, f := range w.full {
		made.Full += f
	}
	if made.Has = has && capacity > 0; !made.Has {
		return cell{}
	}
	made.Percent = (100*used + capacity/2) / capacity
	made.Bars = weekBars(w, days, draft)
	return made
}

// binding is something that binds, for the list that stands before the picture.
type binding struct {
	Site, What string
	Path       string
	// Full is on how many days of the month it is used up.
	Full int32
	// Of is the number of days of the month.
	Of int32
	// Worth is the price of its dearest day in points, 0 for none.
	Worth int64
	sum   float64
}

// bindings are the resources that bind most, by the plan's prices, then by full days; at most so many.
func bindings(reply *plannerv1.ReadLoadResponse, plan string, most int) []binding {
	var all []binding
	var month int32
	for _, d := range reply.GetDays() {
		month += d
	}
	for _, l := range reply.GetLines() {
		if l.GetResource() == trainerMinutes && l.GetUnit() == "" {
			continue
		}
		b := binding{Site: l.GetSiteCode(), What: resourceWords(l.GetResource(), l.GetUnit()), Path: path(plan+"/site", l.GetSiteCode()), Of: month}
		for i, f := range l.GetFullDays() {
			b.Full += f
			if i < len(l.GetPrice()) {
				b.sum += float64(l.GetPrice()[i])
				b.Worth = max(b.Worth, int64(math.Round(float64(l.GetPrice()[i])*perPiece(l.GetResource()))))
			}
		}
		if b.Full > 0 && b.Worth > 0 {
			b.sum *= perPiece(l.GetResource())
			all = append(all, b)
		}
	}
	slices.SortStableFunc(all, func(a, b binding) int { return cmp.Or(cmp.Compare(b.sum, a.sum), cmp.Compare(b.Full, a.Full)) })
	return all[:min(most, len(all))]
}

// perPiece is how much of a resource people think of as one more: an hour of somebody's time, else one.
func perPiece(resource string) float64 {
	if resource == trainerMinutes || resource == siteMinutes {
		return 60
	}
	return 1
}

// resourceWords names a resource as people speak of it.
func resourceWords(resource, unit string) string {
	switch resource {
	case runs:
		return "runs of class " + unit
	case trainerMinutes:
		if unit == "" {
			return "trainers’ time"
		}
		return "time of " + unit
	case siteMinutes:
		return "all trainers’ time together"
	}
	return resource
}
